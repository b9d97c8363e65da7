"""Train and score the timing of MIDI performances.

The names below are the public contract; everything else may change. They load on first use, so that importing the package
(and ``heeltap --help``) costs no numpy.
"""

import importlib
from typing import TYPE_CHECKING, Any

from heeltap.errors import HeeltapError

if TYPE_CHECKING:
    from heeltap.analysis.align import align, align_free
    from heeltap.analysis.findings import findings
    from heeltap.analysis.quantise import quantise
    from heeltap.analysis.quantise import quantise as place
    from heeltap.app.score.score import score_file
    from heeltap.files.smf import read_midi

__all__ = ["HeeltapError", "align", "align_free", "findings", "place", "quantise", "read_midi", "score_file"]

__version__ = "0.1.0"

_HOMES = {
    "align": "heeltap.analysis.align",
    "align_free": "heeltap.analysis.align",
    "findings": "heeltap.analysis.findings",
    "quantise": "heeltap.analysis.quantise",
    "read_midi": "heeltap.files.smf",
    "score_file": "heeltap.app.score.score",
}


_ALIASES = {"place": "quantise"}
"""`quantise` was published as ``place``; scripts that use that name go on working."""


def __getattr__(name: str) -> Any:
    name = _ALIASES.get(name, name)
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'heeltap' has no attribute {name!r}")
