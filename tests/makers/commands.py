"""Writes docs/guide/commands.md from the parser itself: ``python -m tests.makers.commands``."""

import argparse
from pathlib import Path

from heeltap.cli import build_parser

TARGET = Path(__file__).resolve().parents[2] / "docs" / "guide" / "commands.md"


_HEAD = (
    "`heeltap` alone opens the screens. `heeltap COMMAND --help` says in the terminal what stands here.",
    "",
    "Exit codes: 0 done; 1 a fault in heeltap; 2 the command line is wrong; 3 a file is wrong; 4 no such port or sound device;",
    "5 heeltap cannot build the exercise that you asked for; 6 the history cannot be read; 130 you pressed Ctrl-C.",
)


def commands_page() -> str:
    """The command reference as Markdown; the same on every Python, unlike argparse's own help page."""
    (commands,) = [action for action in build_parser()._actions if action.dest == "command"]
    assert commands.choices is not None
    helps = {choice.dest: choice.help for choice in commands._get_subactions()}
    lines = ["# Commands", "", *_HEAD, ""]
    for name, parser in commands.choices.items():
        lines += [f"## heeltap {name}", "", f"{parser.description or helps[name]}", ""]
        if parser.epilog:
            lines += [parser.epilog, ""]
        lines += [f"For example: `{parser.example}`", ""]
        rows = [row for action in parser._actions if (row := _row(action))]
        lines += ["| argument | what it does |", "|---|---|", *rows, ""]
    return "\n".join(lines)


def _row(action: argparse.Action) -> str:
    """One line of a table; empty for --help, which every command has."""
    if isinstance(action, argparse._HelpAction):
        return ""
    name = ", ".join(action.option_strings) or str(action.metavar or action.dest)
    value = action.metavar or ("|".join(map(str, action.choices)) if action.choices else "")
    takes = f" {value}" if action.option_strings and action.nargs != 0 and value else ""
    return f"| `{name}{takes}` | {(action.help or '').replace('|', chr(92) + '|')} |".replace("%%", "%")


if __name__ == "__main__":
    TARGET.write_text(commands_page(), encoding="utf-8")
