"""Writes docs/guide/commands.md from the parser itself: ``python -m tests.makers.commands``."""

import argparse
from pathlib import Path

from heeltap.cli import build_parser
from heeltap.cli.parser import Parser

__all__ = ["EXIT_CODES", "TARGET", "command_parsers", "commands_page", "value_of"]

TARGET = Path(__file__).resolve().parents[2] / "docs" / "guide" / "commands.md"

EXIT_CODES = {
    0: "done",
    1: "a fault in heeltap",
    2: "the command line is wrong",
    3: "a file is wrong, or heeltap could not write your take",
    4: "no such port or sound device, or a device or the engine broke while you played",
    5: "heeltap cannot build the exercise that you asked for",
    6: "heeltap cannot read its history",
    130: "you pressed Ctrl-C",
}

_HEAD = """\
`heeltap` alone opens the screens. `heeltap COMMAND --help` says in the terminal what stands here, and `man heeltap` does, too,
where the manual is installed.

Your shell completes commands, options and files with the tab key once you have told it where the completion lies. It came with
heeltap into `share` of the environment that you installed it into, such as `.venv`:

```
source .venv/share/bash-completion/completions/heeltap                                    # bash, in ~/.bashrc
fpath=(.venv/share/zsh/site-functions $fpath)                                             # zsh, before compinit
cp .venv/share/fish/vendor_completions.d/heeltap.fish ~/.config/fish/completions/         # fish
```

`TERM=dumb` gives plain lines instead of drawn screens.
"""


def commands_page() -> str:
    """The command reference as Markdown; the same on every Python, unlike argparse's own help page."""
    codes = "; ".join(f"{code} {meaning}" for code, meaning in EXIT_CODES.items())
    lines = ["# Commands", "", *_HEAD.splitlines(), "", f"Exit codes: {codes}.", ""]
    for name, parser in command_parsers(build_parser()).items():
        lines += [f"## heeltap {name}", "", parser.description or "", ""]
        if parser.epilog:
            lines += [parser.epilog, ""]
        lines += [f"For example: `{parser.example}`", ""]
        rows = [row for action in parser._actions if (row := _row(action))]
        lines += ["| argument | what it does |", "|---|---|", *rows, ""]
    return "\n".join(lines)


def command_parsers(parser: Parser) -> dict[str, Parser]:
    """The parser of each command, in the order of the help page."""
    (commands,) = [action for action in parser._actions if action.dest == "command"]
    return dict(commands.choices or {})


def value_of(action: argparse.Action) -> str:
    """What stands for an argument's value in the help; empty for a switch."""
    if action.nargs == 0:
        return ""
    return str(action.metavar or "|".join(map(str, action.choices or ())) or action.dest.upper())


def _row(action: argparse.Action) -> str:
    """One line of a table; empty for --help, which every command has."""
    if isinstance(action, argparse._HelpAction):
        return ""
    name = ", ".join(action.option_strings) or value_of(action)
    takes = f" {value_of(action)}" if action.option_strings and action.nargs != 0 else ""
    return f"| `{name}{takes}` | {(action.help or '').replace('|', chr(92) + '|')} |".replace("%%", "%")


if __name__ == "__main__":
    TARGET.write_text(commands_page(), encoding="utf-8")
