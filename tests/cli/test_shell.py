"""The man page and the tab completions are the parser's own, and a shell takes them."""

import shutil
import subprocess

import pytest

from heeltap.cli import COMMANDS
from tests.makers.shell import SHARE, completion, files, man_page


def test_the_shell_files_are_the_parsers_own() -> None:
    """``python -m tests.makers.shell`` writes everything under ``share/``."""
    pytest.importorskip("shtab", reason="shtab writes the completions")

    assert [] == [name for name, text in files().items() if (SHARE / name).read_text(encoding="utf-8") != text]


@pytest.mark.live
@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["heeltap", "sco"], ["score"]),
        (["heeltap", "score", "--pl"], ["--plan"]),
        (["heeltap", "set", "ch"], ["check"]),
        (["heeltap", "make", "tu"], ["turn"]),
        (["heeltap", "drill", "--feedback", "str"], ["stroke"]),
    ],
)
@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_bash_completes_what_was_begun(typed: list[str], offered: list[str]) -> None:
    """Commands, options, and the words that an argument takes."""
    words = " ".join(f"'{word}'" for word in typed)
    script = (
        f"source '{SHARE / 'completions' / 'heeltap.bash'}'; COMP_WORDS=({words}); COMP_CWORD={len(typed) - 1}; "
        "_shtab_heeltap; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)

    assert offered == [line.strip() for line in done.stdout.splitlines()]


def test_every_shell_knows_every_command() -> None:
    """Bash, zsh and fish."""
    pytest.importorskip("shtab", reason="shtab writes the completions")
    for shell in ("bash", "zsh", "fish"):
        text = completion(shell)
        assert [] == [command for command in COMMANDS if command not in text]


@pytest.mark.live
def test_the_man_page_has_every_command_and_reads_without_a_warning() -> None:
    """groff's own warnings, where groff is."""
    text = man_page()

    assert [] == [command for command in COMMANDS if f".SS heeltap {command}\n" not in text]
    if shutil.which("groff"):
        done = subprocess.run(["groff", "-man", "-ww", "-z"], input=text, capture_output=True, text=True, check=True)
        assert "" == done.stderr
