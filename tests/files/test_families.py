"""The shipped graded data, and what is said of a family with mistakes."""

from pathlib import Path

import pytest

from heeltap.errors import PlanError, SetFileError
from heeltap.files.toml.families import FAMILIES, read_cells, read_family, read_family_file
from heeltap.model.counting import parse_counting
from heeltap.model.timeline import Metre

FAMILY = """\
format = "heeltap.family/2"
name = "mine"
title = "Mine"
aim = "To try."
[[grade]]
name = "first"
number = 1
title = "One"
aim = "Something."
tempo_bpm = 80
most_per_s = 4
openings = [["all:beat", "-"]]
[[grade.section]]
name = "groove"
bars = 8
phrase = ["back:beat"]
"""


def test_every_cell_of_a_long_beat_fits_it() -> None:
    """Cells of one, two and three units have text for each, and start no later than the unit's end."""
    for texts in read_cells().values():
        for units, text in enumerate(texts, 1):
            metre = Metre(units, 4 if units == 1 else 8)
            assert parse_counting(text, metre).at_tick


def test_an_unknown_family_names_the_nearest() -> None:
    """The hint can be typed."""
    with pytest.raises(PlanError, match=r"'anker'.*one of anchor, split, turn .nearest: anchor"):
        read_family("anker")


@pytest.mark.parametrize("name", FAMILIES)
def test_the_shipped_files_bear_their_familys_name(name: str) -> None:
    """The name inside is the name asked for."""
    assert name == read_family(name).name


def test_a_family_of_ones_own_is_read(tmp_path: Path) -> None:
    """Any file in the same form will do."""
    path = tmp_path / "mine.toml"
    path.write_text(FAMILY, encoding="utf-8")

    family = read_family_file(path)

    assert ("mine", 1, 8) == (family.name, len(family.grades), family.grades[0].sections[0].bars)


def test_every_mistake_of_a_family_is_told(tmp_path: Path) -> None:
    """Word, number and key slips come together, each with its line."""
    path = tmp_path / "mine.toml"
    wrong = (
        FAMILY.replace("back:beat", "bak:beat")
        .replace("= 80", "= 8")
        .replace("family/2", "family/3")
        .replace("most_per_s", "most")
    )
    path.write_text(wrong + 'clik = "one"\n[[grade]]\nname = "First"\nclick = "to"\n', encoding="utf-8")

    with pytest.raises(SetFileError) as caught:
        read_family_file(path)

    told = str(caught.value)
    for part in (
        "line 16, grade[1].section[1].phrase: recipe 'bak:beat': beat word 'bak'; expected one of one, strong,",
        "line 10, grade[1].tempo_bpm: 8; expected a number from 20 to 300",
        "line 1, format: 'heeltap.family/3'; expected \"heeltap.family/2\"",
        "line 11, grade[1].most: key 'most'",
        "line 17, grade[1].section[1].clik: key 'clik'",
        "line 20, grade[2].click: click: 'to'",
        "line 18, grade[2].title: nothing",
        "line 19, grade[2].name: 'First'; expected small letters, digits and hyphens",
    ):
        assert part in told
