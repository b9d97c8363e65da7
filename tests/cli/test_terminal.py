"""A terminal that cannot move its cursor gets plain lines."""

import sys

import pytest

from heeltap.cli.terminal import can_draw, can_move


@pytest.mark.parametrize(
    ("term", "tty", "able"), [("xterm", True, True), ("dumb", True, False), ("xterm", False, False), (None, True, True)]
)
def test_a_dumb_terminal_gets_plain_lines(
    term: str | None, tty: bool, able: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Screens and moving bars need a terminal and a TERM other than dumb; Windows sets none."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: tty, raising=False)
    monkeypatch.delenv("TERM", raising=False)
    if term is not None:
        monkeypatch.setenv("TERM", term)

    assert (able, able) == (can_draw(), can_move())
