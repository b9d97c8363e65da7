"""The written guide says what the program does: commands, README and demo cannot drift apart."""

import re
from pathlib import Path

from heeltap.cli import COMMANDS
from tests.makers.commands import TARGET, commands_page
from tests.makers.report import README, with_excerpt
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


def test_every_path_that_the_developers_page_names_exists() -> None:
    """A file or folder in the tables and lists of DEVELOPERS.md is in the project; a star stands for any name."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = {text for text in re.findall(r"`([a-z_./*-]+/[a-z_./*-]*|[a-z_]+\.py)`", page) if not text.startswith("..")}
    homes = (ROOT, ROOT / "src" / "heeltap")

    assert len(named) > 30
    assert [] == sorted(text for text in named if not any(list(home.glob(text.rstrip("/"))) for home in homes))
