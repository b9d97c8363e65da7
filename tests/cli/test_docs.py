"""The written guide says what the program does: commands, README and demo cannot drift apart."""

import contextlib
import importlib.metadata
import re
import shlex
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from heeltap.cli import COMMANDS, build_parser
from tests.makers.commands import TARGET, commands_page
from tests.makers.guide_screens import pages, with_screens
from tests.makers.report import CHART, README, demo_result, with_excerpt
from tests.makers.screens import readme_screen

ROOT = Path(__file__).resolve().parents[2]


def test_the_command_reference_is_the_parsers_own() -> None:
    """docs/guide/commands.md is written by ``python -m tests.makers.commands`` and nothing else."""
    assert commands_page() == TARGET.read_text(encoding="utf-8")


def test_the_readme_names_only_commands_that_exist() -> None:
    """Every ``heeltap WORD`` in a code block of the README is a command."""
    blocks = re.findall(r"```\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    named = set(re.findall(r"(?:^|bin/)heeltap ([a-z]+)", "\n".join(blocks), re.M))

    assert named
    assert set() == named - set(COMMANDS)


def test_the_readme_shows_what_the_demo_prints_of_the_song() -> None:
    """The excerpt of the song's report is the report's own; ``python -m tests.makers.report`` writes both."""
    text = README.read_text(encoding="utf-8")

    assert with_excerpt(text) == text


def test_the_readme_shows_the_drill_screen_as_it_is() -> None:
    """``python -m tests.makers.screens`` draws it."""
    assert f"```\n{readme_screen()}```" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_licences_of_all_that_is_installed_are_listed() -> None:
    """Every package that heeltap needs here, directly or through another, has a row in docs/licences.md."""
    page = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    listed = {
        name.strip()
        for row in re.findall(r"^\| ([a-z0-9_, -]+?)(?: \(.*?\))? \|", page, re.M)
        for name in row.split(",")
    }
    needed = _needed("heeltap", {"", "audio"})

    assert "numpy" in needed
    assert set() == needed - listed


def _needed(name: str, extras: set[str]) -> set[str]:
    """The packages that a distribution needs on this machine, and those that they need."""
    found: set[str] = set()
    waiting = [Requirement(text) for text in importlib.metadata.requires(name) or ()]
    while waiting:
        one = waiting.pop()
        key = one.name.lower().replace("_", "-").replace(".", "-")
        wanted = one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in extras)
        if not wanted or key in found:
            continue
        found.add(key)
        with contextlib.suppress(importlib.metadata.PackageNotFoundError):  # an extra that is not installed here
            waiting += [Requirement(text) for text in importlib.metadata.requires(one.name) or ()]
    return found


def test_the_guides_links_lead_somewhere() -> None:
    """Every relative link of a page leads to a file of the project."""
    pages = [README, ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *(ROOT / "docs").rglob("*.md")]
    links = [
        (page, link) for page in pages for link in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8"))
    ]

    assert len(links) > 20
    assert [] == [(page.name, link) for page, link in links if not (page.parent / link).exists()]


def test_the_guides_first_page_leads_to_every_page() -> None:
    """No page of the guide is lost."""
    first = (ROOT / "docs" / "guide" / "README.md").read_text(encoding="utf-8")

    assert [] == [
        page.name
        for page in (ROOT / "docs" / "guide").glob("*.md")
        if page.name not in ("README.md", *re.findall(r"\(([^)]*)\)", first))
    ]


def test_the_guide_shows_the_screens_as_they_are() -> None:
    """``python -m tests.makers.screens`` draws the approved pictures, and the guide's from them."""
    assert len(pages()) > 0
    for page in pages():
        text = page.read_text(encoding="utf-8")
        assert with_screens(text) == text


def test_the_guide_names_every_format() -> None:
    """Whatever file carries a name and version of ours is in docs/guide/formats.md."""
    page = (ROOT / "docs" / "guide" / "formats.md").read_text(encoding="utf-8")
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.py")]
    # An assignment or a first line: what is written now, not what a docstring tells of former versions.
    ours = {found for text in texts for found in re.findall(r"= \"(heeltap\.[a-z]+/\d)\"$", text, re.M)}

    assert "heeltap.set/1" in ours
    assert [] == sorted(name for name in ours if name not in page)


def test_every_command_in_the_guide_is_one_that_the_parser_takes() -> None:
    """Lines of code blocks that begin with heeltap parse; placeholders in capitals and comments behind them are let be."""
    lines = [
        (page.name, re.split(r"\s{2,}|\s+#", line.strip())[0])
        for page in (README, *(ROOT / "docs" / "guide").glob("*.md"))
        for block in re.findall(r"^```\n(.*?)^```", page.read_text(encoding="utf-8"), re.S | re.M)
        for line in block.splitlines()
        if re.match(r"heeltap [a-z]+( |$)", line)
    ]

    assert len(lines) > 25
    for page, line in lines:
        try:
            build_parser().parse_args(shlex.split(line)[1:])
        except SystemExit:
            pytest.fail(f"{page}: {line}")


def test_the_readmes_picture_is_of_the_demos_take() -> None:
    """How matplotlib writes an SVG changes with its version, so the picture is held to its words only."""
    words = CHART.read_text(encoding="utf-8")

    assert [] == [row.name for row in demo_result().by_section if f">{row.name}<" not in words]
    assert "early (-)" in words


def test_every_path_that_a_document_names_exists() -> None:
    """A file or folder in backticks is in the project; a star stands for any name."""
    homes = (ROOT, ROOT / "src" / "heeltap", ROOT / "demo")
    pages = (README, ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md"))
    named = {
        (page.name, text)
        for page in pages
        for text in re.findall(r"`([a-z_*-]+/[a-z0-9_./*-]*|[a-z_]+\.py)`", page.read_text(encoding="utf-8"))
    }
    # Folders of the user's and of a take, not of the project.
    ours = {(page, text) for page, text in named if not text.startswith(("takes/", "tests/bench/"))}

    assert len(ours) > 60
    assert [] == sorted((page, text) for page, text in ours if not any(list(home.glob(text)) for home in homes))
