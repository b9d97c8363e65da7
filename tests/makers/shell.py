"""Writes ``share/``: the man page and the tab completion of bash, zsh and fish: ``python -m tests.makers.shell``.

All of it comes from the parser that runs the commands, so none of it can lag behind. shtab writes the completions; it is
needed here only, never on a user's machine.
"""

import argparse
from collections.abc import Iterator
from pathlib import Path

from heeltap.cli import build_parser
from heeltap.cli.parser import Parser
from tests.makers.commands import EXIT_CODES, command_parsers, value_of

__all__ = ["SHARE", "completion", "files", "man_page"]

SHARE = Path(__file__).resolve().parents[2] / "share"

_FILES = {"FILE", "PART.mid", "TAKE", "EXERCISE", "SET"}
"""Arguments that a file name may stand for."""

_FAMILIES = ("anchor", "split", "turn")


def files() -> dict[str, str]:
    """Name under ``share/`` and text of every file that this maker writes."""
    shells = {"completions/heeltap.bash": "bash", "completions/_heeltap": "zsh", "completions/heeltap.fish": "fish"}
    return {"man/heeltap.1": man_page(), **{name: completion(shell) for name, shell in shells.items()}}


def completion(shell: str) -> str:
    """The completion script of a shell: commands, options, their words, and files where files are wanted."""
    import shtab

    parser = build_parser()
    for command in (parser, *command_parsers(parser).values()):
        for action in command._actions:
            if action.metavar in _FILES:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
            elif action.metavar == "FOLDER":
                action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
            elif action.metavar == "FAMILY":
                action.choices = _FAMILIES
    text: str = shtab.complete(parser, shell)
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def man_page() -> str:
    """The manual in the format that ``man`` reads (man(7))."""
    parser = build_parser()
    lines = [
        '.TH HEELTAP 1 "" "heeltap" "User commands"',
        ".SH NAME",
        r"heeltap \- train and score the timing of keyboard and pad players",
        ".SH SYNOPSIS",
        ".B heeltap",
        ".br",
        ".B heeltap",
        ".I COMMAND",
        "[argument ...]",
        ".SH DESCRIPTION",
        _escaped(parser.description or ""),
        _escaped(parser.epilog or ""),
        ".SH COMMANDS",
    ]
    for name, command in command_parsers(parser).items():
        lines += _command(name, command)
    lines += [".SH EXIT STATUS"]
    for code, meaning in EXIT_CODES.items():
        lines += [".TP", str(code), _escaped(meaning)]
    lines += [".SH ENVIRONMENT"]
    for name, meaning in _ENVIRONMENT.items():
        lines += [".TP", f".B {name}", _escaped(meaning)]
    return "\n".join(line for line in lines if line) + "\n"


_ENVIRONMENT = {
    "HEELTAP_HOME": "The folder in which heeltap keeps your takes and settings.",
    "HEELTAP_MIDI_API": "The MIDI system that heeltap asks: alsa, jack, core or windows; empty asks all.",
    "HEELTAP_MOUSE": "off leaves the mouse to the terminal.",
    "TERM": "dumb gives plain lines instead of drawn screens.",
}


def _command(name: str, command: Parser) -> Iterator[str]:
    yield from (f".SS heeltap {name}", _escaped(command.description or ""))
    for action in command._actions:
        if isinstance(action, argparse._HelpAction):
            continue
        yield ".TP"
        names = ", ".join(action.option_strings) or value_of(action) or action.dest
        value = f" {value_of(action)}" if action.option_strings and value_of(action) else ""
        yield rf"\fB{_escaped(names)}\fR\fI{_escaped(value)}\fR"
        yield _escaped((action.help or "").replace("%%", "%"))
    if command.epilog:
        yield from (".PP", _escaped(command.epilog))
    yield from (".PP", "Example:", ".PP", ".nf", f".RS\n{_escaped(command.example)}\n.RE", ".fi")


def _escaped(text: str) -> str:
    """Text as roff shows it unchanged: backslashes and hyphens escaped, no line that begins like a request."""
    text = text.replace("\\", r"\e").replace("-", r"\-")
    return rf"\&{text}" if text.startswith((".", "'")) else text


if __name__ == "__main__":
    for name, text in files().items():
        target = SHARE / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
