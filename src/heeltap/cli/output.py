"""The files that you ask a command for: `--json`, `--html`, `--csv`, `--out`. heeltap writes over none by surprise.

Inside: `save`, `check`, `save_json`, `RESULT`.
"""

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

from heeltap.safe_text import safe_file
from heeltap.write import check_asked, write_asked

__all__ = ["RESULT", "check", "save", "save_json"]

RESULT = b'{"format":"heeltap.result/2"}'
"""What the JSON of a result is like, to ask whether it may be written before there is one."""


def save(args: argparse.Namespace, path: str | Path, data: bytes, inputs: Iterable[str | Path] = ()) -> None:
    """Write a file that was asked for; raises `InputFileError` as `heeltap.write.check_asked`."""
    write_asked(path, data, inputs=inputs, force=args.force)


def check(args: argparse.Namespace, path: str | None, like: bytes, inputs: Iterable[str | Path] = ()) -> None:
    """Raise before the work what `save` would raise after it; stdout and no file at all need no asking."""
    if path is not None and path != "-":
        check_asked(path, like, inputs=inputs, force=args.force)


def save_json(args: argparse.Namespace, data: bytes, inputs: Iterable[str | Path] = ()) -> None:
    """Put JSON where `--json` says: to stdout, into a file, or nowhere."""
    if args.json == "-":
        sys.stdout.write(safe_file(data).decode() + ("" if data.endswith(b"\n") else "\n"))
    elif args.json:
        save(args, args.json, data, inputs)
