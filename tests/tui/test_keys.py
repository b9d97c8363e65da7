"""Keys as data: the bottom line, the mouse and the help read the same rows."""

from itertools import groupby, product

import pytest

from heeltap.devices.computer_keys import KEYS
from heeltap.session.session import Feedback, Phase
from heeltap.tui.keys import HELP, QUIT, Key, bottom_lines, key_at
from heeltap.tui.screens.drill_keys import REPORT_KEYS, drill_keys, report_keys
from heeltap.tui.screens.history import HISTORY_KEYS
from heeltap.tui.screens.set_up import SETUP_KEYS
from heeltap.tui.screens.start import START_KEYS
from heeltap.tui.screens.take import TAKE_KEYS
from heeltap.views.bar_sheet import plain

TABLES = [START_KEYS, HISTORY_KEYS, TAKE_KEYS, SETUP_KEYS, REPORT_KEYS, *(drill_keys(p, Feedback.BAR) for p in Phase)]


@pytest.mark.parametrize("lines", [1, 2])
def test_help_and_quit_stay_however_narrow_the_terminal(lines: int) -> None:
    """Keys that do not fit are left to the help."""
    for keys in TABLES:
        for width in (60, 80, 120):
            rows = plain(bottom_lines(keys, width, lines))
            assert len(rows) == lines
            assert max(map(len, rows)) <= width
            assert "  ".join(row.strip() for row in rows if row).endswith("? help  q quit")


@pytest.mark.parametrize("lines", [1, 2])
def test_a_click_on_a_words_column_is_that_key(lines: int) -> None:
    """Every key that is written is found under its own words, nothing between them."""
    for keys in TABLES:
        found = []
        for number, row in enumerate(plain(bottom_lines(keys, 80, lines))):
            under = [key_at(keys, 80, column, number, lines) for column in range(81)]
            assert under[0] is None
            assert under[len(row)] is None
            found += [key for key, _ in groupby(under) if key is not None]
        assert [key for key in keys if key in found] == found
        assert " ".join(" ".join(plain(bottom_lines(keys, 80, lines))).split()) == " ".join(key.text for key in found)


def test_every_key_of_the_drill_is_read_at_eighty_columns() -> None:
    """None of them is behind the help: the tempo, the numbers with their label, and the way back."""
    both = [False, True]
    tables = [drill_keys(*one) for one in product(Phase, Feedback)]
    tables += [drill_keys(*one, part=True, stands=True) for one in product(Phase, Feedback)]
    tables += [report_keys(measure=a, worst=b, part=c) for a, b, c in product(both, both, both)]
    for keys in tables:
        shown = "  ".join(row.strip() for row in plain(bottom_lines(keys, 80, 2)))
        assert shown == "  ".join(key.text for key in keys)


def test_two_keys_that_share_a_word_stand_side_by_side() -> None:
    """A line never ends between them."""
    keys = [Key("a", "does something", "x"), Key("minus", "", "x", "-"), Key("plus", "tempo", "x", "+"), HELP, QUIT]

    rows = [plain(bottom_lines(keys, width, 2)) for width in range(20, 60)]

    assert any(row[1].startswith("  -  + tempo") for row in rows)
    assert not any(row[0].endswith("  -") for row in rows)


def test_a_key_means_the_same_on_every_screen() -> None:
    """Quit, help and moving are one row each; no command of a drill is a pad of the computer's keyboard."""
    for keys in TABLES:
        assert HELP in keys
        assert QUIT in keys
        names = [key.name for key in keys]
        assert len(names) == len(set(names))
    playing = {key.name for one in (Phase.PLAYING, Phase.PAUSED) for key in drill_keys(one, Feedback.BAR)}
    assert playing.isdisjoint(set(KEYS) - {" "})


def test_every_key_is_explained() -> None:
    """The help has a sentence for each."""
    assert all(key.explained and (key.does or key.shown) for keys in TABLES for key in keys)
