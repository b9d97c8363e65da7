"""The command line: one module for each command. heeltap imports nothing heavy before a command runs.

A command module has ``add(commands)``, which describes its arguments, and ``run(args) -> int``, which imports what it
needs, does the work through `heeltap.app`, prints, and returns the exit code.
"""

import argparse
import importlib
import os
import shlex
import signal
import sys
import traceback
from collections.abc import Sequence
from types import ModuleType
from typing import NoReturn

from heeltap import __version__
from heeltap.cli.parser import Parser
from heeltap.cli.safe_stream import safe_streams
from heeltap.cli.terminal import can_draw
from heeltap.errors import HeeltapError, fault

__all__ = ["COMMANDS", "main"]

COMMANDS = (
    "demo",
    "drill",
    "score",
    "compare",
    "song",
    "comp",
    "listen",
    "ear",
    "history",
    "make",
    "simplify",
    "set",
    "handin",
    "class",
    "ports",
    "pads",
    "calibrate",
    "selftest",
)
"""Commands in the order of the help page; each is a module under `heeltap.cli` (see `_module`)."""

_RESERVED = {"class": "class_"}
"""Modules of the commands whose name is a word of Python's."""

INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells expect."""

_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""How the libraries under numpy are told to use one thread; they read it when they are loaded."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; every error is one line on stderr."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    # Our products are small: more threads save no time, take twice the work, and keep a second process from any gain
    # (two processes against one: 0.9 without this, 1.7 with it). Who sets these names keeps what they set.
    for name in _ONE_THREAD:
        os.environ.setdefault(name, "1")
    with safe_streams():
        return _run(arguments)


def _run(arguments: list[str]) -> int:
    try:
        if not arguments:
            return _home()
        args = build_parser().parse_args(arguments)
        args.command_line = shlex.join(["heeltap", *arguments])
        command = _module(args.command)
        return int(command.run(args))
    except SystemExit as leave:  # argparse: 0 after --help, 2 after a usage error
        return leave.code if isinstance(leave.code, int) else 2
    except HeeltapError as error:
        if "--debug" in arguments:
            traceback.print_exc()
        print(f"heeltap: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("heeltap: interrupted", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        return _pipe_closed()
    except Exception as error:  # what nobody foresaw is one line, too; --debug shows all of it
        if "--debug" in arguments:
            traceback.print_exc()
        else:
            print(f"heeltap: {fault(' '.join(arguments), error)}", file=sys.stderr)
        return HeeltapError.exit_code


def _home() -> int:
    """Without a command: the start screen on a terminal, else the help."""
    if not can_draw():
        build_parser().print_help()
        return 0
    # By name, as in `heeltap drill`: only those who look at the screens pay for loading them.
    return int(importlib.import_module("heeltap.tui.running").run_home())


def build_parser() -> Parser:
    """The parser with every command; also what the command reference is generated from."""
    parser = Parser(
        prog="heeltap",
        description="heeltap trains your timing on keyboard and pads, and scores recorded MIDI.",
        example="heeltap",
        epilog="heeltap alone opens the screens: what to play next, your takes, your gear. heeltap COMMAND --help explains "
        "a command.",
    )
    parser.add_argument(
        "--version", action=_Version, nargs=0, help="show the version, and what of heeltap is installed here"
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for name in COMMANDS:
        _module(name).add(commands)
    for command in commands.choices.values():
        command.add_argument("--debug", action="store_true", help="show where in the code an error arose")
    return parser


class _Version(argparse.Action):
    """Print the version and what is installed beside it; nothing is looked up before somebody asks."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        """Print and leave."""
        print("\n".join(_version_lines()))
        parser.exit()


def _version_lines() -> list[str]:
    import platform
    from importlib.metadata import PackageNotFoundError, version

    lines = [f"heeltap {__version__} on Python {platform.python_version()}"]
    for what, packages, otherwise in _PARTS:
        for package in packages:
            try:
                lines.append(f"  {what:<12} {package} {version(package)}")
                break
            except PackageNotFoundError:
                continue
        else:
            lines.append(f"  {what:<12} not installed: {otherwise}")
    return lines


_PARTS = (
    ("MIDI ports", ("python-rtmidi", "rtmidi2"), "pip install python-rtmidi, or rtmidi2 on Python 3.13 and later"),
    ("sound", ("sounddevice",), "pip install sounddevice"),
)
"""What may be missing on a machine: in words, the packages that do it, and how to get it."""


def _module(command: str) -> ModuleType:
    """The module of a command."""
    return importlib.import_module(f"heeltap.cli.{_RESERVED.get(command, command)}")


def _pipe_closed() -> int:
    """Leave quietly when the reader of our output has gone (``heeltap score x.mid | head``)."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 128 + signal.SIGPIPE if hasattr(signal, "SIGPIPE") else 1
