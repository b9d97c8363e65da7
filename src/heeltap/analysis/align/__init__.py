"""Which played note answers which planned one: to a click, and at free tempo.

Public: `align`, `align_free`, `Match`. How it works stands in `heeltap.analysis.align.align`.
"""

from heeltap.analysis.align.align import Match, align, align_free

__all__ = ["Match", "align", "align_free"]
