"""Train and score the timing of MIDI performances.

The names below are the public contract; everything else may change. They load on first use, so that importing the package
(and ``heeltap --help``) costs no numpy.
"""

import importlib
from typing import TYPE_CHECKING, Any

from heeltap.errors import HeeltapError

if TYPE_CHECKING:
    from heeltap.core.align import align, align_free
    from heeltap.core.findings import findings
    from heeltap.core.grid import place
    from heeltap.files.smf import read_midi
    from heeltap.jobs.scoring import score_file

__all__ = ["HeeltapError", "align", "align_free", "findings", "place", "read_midi", "score_file"]

__version__ = "0.1.0"

_HOMES = {
    "align": "heeltap.core.align",
    "align_free": "heeltap.core.align",
    "findings": "heeltap.core.findings",
    "place": "heeltap.core.grid",
    "read_midi": "heeltap.files.smf",
    "score_file": "heeltap.jobs.scoring",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'heeltap' has no attribute {name!r}")
