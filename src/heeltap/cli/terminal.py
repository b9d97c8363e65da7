"""What the terminal can do: draw screens and moving bars, or print plain lines only.

Inside: `can_draw`, `can_move`.
"""

import os
import sys

__all__ = ["can_draw", "can_move"]


def can_draw() -> bool:
    """Whether heeltap may draw a screen: somebody sits at a terminal that can move its cursor (``TERM`` is not dumb)."""
    return sys.stdin.isatty() and sys.stdout.isatty() and not _dumb()


def can_move() -> bool:
    """Whether a moving bar may be drawn on stderr."""
    return sys.stderr.isatty() and not _dumb()


def _dumb() -> bool:
    return os.environ.get("TERM") == "dumb"
