"""The sheet of a set as text and page, from values alone."""

import re
from dataclasses import replace

from heeltap.model.counted_bars import CountedBar, CountedVoice
from heeltap.model.counting import Syllable
from heeltap.views.practice_sheet import Sheet, SheetItem, sheet_html, sheet_text

BAR = CountedBar(
    (1, 2),
    "groove",
    4.0,
    1.0,
    tuple(Syllable(at, str(at + 1)) for at in range(4)),
    (CountedVoice("", (1.0, 3.0), (False, True)),),
    3.0,
)
ITEM = SheetItem(
    number=1,
    title="Two and four",
    aim="Sit on the backbeat.",
    how="4/4; 2 bars",
    target="Aim at the click itself.",
    done="Done after 2 takes.",
    notes=("Count aloud.",),
    command="heeltap drill week:1",
    steps=("72 bpm", "76 bpm"),
    takes=2,
    bars=(BAR,),
    left_out=3,
)
SHEET = Sheet("Week one", "beginners", ("Ten minutes a day.",), 4, "0123456789ab", (ITEM,))

TEXT = """\
Week one
========
For beginners. 1 exercise, 4 minutes of playing. Set 0123456789ab.
Ten minutes a day.


1. Two and four
---------------
Sit on the backbeat.
4/4; 2 bars. Aim at the click itself.
Done after 2 takes.
Count aloud.

groove:
bars 1-2    1  2  3  4
               o     #
fill                 ~~
... and 3 more bars of other kinds

 72 bpm  [ ] [ ]
 76 bpm  [ ] [ ]

Play it: heeltap drill week:1
Notes: ____________________________________________________________
       ____________________________________________________________
"""


def test_the_plain_sheet_has_everything_in_reading_order() -> None:
    """Head, aim, marks, counting lines, tempo steps with a box a take, room for notes."""
    assert TEXT == sheet_text(SHEET)


def test_the_page_has_the_same_and_needs_nothing_else() -> None:
    """A box for each take at each tempo, marks at their places, print rules, no address to load anything from."""
    page = sheet_html(SHEET)

    assert 4 == page.count('class="box"')
    assert ["24.25", "72.75"] == re.findall(r'left:([\d.]+)%">[●◆]', page)
    assert "@media print" in page
    assert "@page" in page
    assert not re.search(r"https?:|<script|<link|url\(", page)
    for text in ("Week one", "For beginners.", "Count aloud.", "72 bpm", "heeltap drill week:1", "3 more bars"):
        assert text in page


def test_what_is_empty_leaves_no_line() -> None:
    """No audience, no aim, no notes."""
    bare = replace(SHEET, audience="", notes=(), items=(replace(ITEM, aim="", notes=(), left_out=0),))

    assert "For" not in sheet_text(bare)
    assert "more bar" not in sheet_text(bare)
    assert '<p class="aim">' not in sheet_html(bare)
