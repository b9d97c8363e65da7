"""Findings: statements about a take that its numbers defend, in plain words, with error control over the whole list.

Public: `findings`, and the table of kinds `FINDING_KINDS` with `kind_of`. How it works stands in
`heeltap.analysis.findings.hypothesis_tests`.
"""

from heeltap.analysis.findings.catalogue import FINDING_KINDS, NOTHING, Kind, kind_of
from heeltap.analysis.findings.findings import MIN_TAKE, findings

__all__ = ["FINDING_KINDS", "MIN_TAKE", "NOTHING", "Kind", "findings", "kind_of"]
