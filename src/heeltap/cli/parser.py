"""The argument parser: argparse with one-line errors that name the nearest valid word.

Inside: `Parser`, and the types of arguments: `milliseconds`, `positive`, `lean`.
"""

import argparse
import difflib
import re
import sys
from typing import NoReturn

__all__ = ["Parser", "lean", "milliseconds", "positive"]


class Parser(argparse.ArgumentParser):
    """An `ArgumentParser` whose errors are one line, with the nearest valid option or command."""

    def error(self, message: str) -> NoReturn:
        """Print one line to stderr and leave with exit code 2."""
        print(f"{self.prog}: {message}{self._nearest(message)} (see {self.prog} --help)", file=sys.stderr)
        raise SystemExit(2)

    def _nearest(self, message: str) -> str:
        wrong = re.search(r"invalid choice: '([^']*)'|unrecognized arguments: (\S+)", message)
        if wrong is None:
            return ""
        word = wrong.group(1) or wrong.group(2)
        known = difflib.get_close_matches(word.split("=")[0], self._words(), n=1, cutoff=0.6)
        return f"; did you mean {known[0]}?" if known else ""

    def _words(self) -> list[str]:
        words = list(self._option_string_actions)
        for action in self._actions:
            if action.choices is None:
                continue
            words += [str(choice) for choice in action.choices]
            if isinstance(action, argparse._SubParsersAction):
                for command in action.choices.values():
                    words += list(command._option_string_actions)
        return words


def milliseconds(text: str) -> float:
    """A finite number of milliseconds; a usage error names what was found."""
    try:
        value = float(text.removesuffix("ms"))
    except ValueError:
        value = float("nan")
    if not abs(value) <= 10_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of milliseconds between -10000 and 10000")
    return value


def positive(text: str) -> float:
    """A number of milliseconds above 0."""
    value = milliseconds(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be more than 0 ms")
    return value


def lean(text: str) -> float | None:
    """``auto`` (as None) or a number of milliseconds; plus is behind the beat."""
    if text == "auto":
        return None
    value = milliseconds(text)
    if abs(value) > 100:
        raise argparse.ArgumentTypeError(f"{text!r} is outside -100..100 ms (a lean is usually 0 to 30)")
    return value
