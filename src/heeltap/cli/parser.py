"""The argument parser: argparse with an example in every help, and one-line errors that name the nearest valid word.

Inside: `Parser`, `Commands`.
"""

import argparse
import difflib
import re
import sys
from typing import TYPE_CHECKING, Any, NoReturn, TypeAlias

from heeltap.safe_text import safe_line

__all__ = ["Commands", "Parser"]


class Parser(argparse.ArgumentParser):
    """An `ArgumentParser` with an example, whose errors are one line with the nearest valid option or command."""

    def __init__(self, *args: Any, example: str = "", **kwargs: Any) -> None:
        self.example = example
        super().__init__(*args, **kwargs)

    def format_help(self) -> str:
        """argparse's help, with the example behind it."""
        return super().format_help() + (f"\nexample:\n  {self.example}\n" if self.example else "")

    def error(self, message: str) -> NoReturn:
        """Print one line to stderr and leave with exit code 2."""
        line = f"{self.prog}: {message}{self._nearest(message)} (see {self.prog} --help)"
        print(safe_line(line), file=sys.stderr)
        raise SystemExit(2)

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        """argparse's, but a word that nobody takes is the mistake of the command that was named, not of heeltap."""
        found, left = self.parse_known_args(args, namespace)
        if left:
            command = self._commands().get(getattr(found, "command", ""), self)
            command.error(f"unrecognized arguments: {' '.join(left)}{self._elsewhere(left[0], command)}")
        return found

    def _commands(self) -> "dict[str, Parser]":
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                return dict(action.choices)
        return {}

    def _elsewhere(self, word: str, command: "Parser") -> str:
        """Which other commands take an option that this one refuses."""
        option = word.split("=")[0]
        others = [other.prog for other in self._commands().values() if option in other._option_string_actions]
        return f"; only {', '.join(others)} can do that" if others and command is not self else ""

    def _nearest(self, message: str) -> str:
        wrong = re.search(r"invalid choice: '([^']*)'|unrecognized arguments: (\S+?)(?:=\S*)?(?: |$)", message)
        if wrong is None or "; only " in message:
            return ""
        known = difflib.get_close_matches(wrong.group(1) or wrong.group(2), self._words(), n=1, cutoff=0.6)
        return f"; did you mean {known[0]}?" if known else ""

    def _words(self) -> list[str]:
        """The options and choices of this parser."""
        words = list(self._option_string_actions)
        for action in self._actions:
            words += [str(choice) for choice in action.choices or ()]
        return words


if TYPE_CHECKING:
    Commands: TypeAlias = argparse._SubParsersAction[Parser]
    """What a command module adds itself to."""
else:
    Commands = argparse._SubParsersAction
