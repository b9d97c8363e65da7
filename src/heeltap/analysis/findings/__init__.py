"""Findings: statements about a take that hold beyond chance, in plain words, with error control over the whole list.

Public: `findings`, and the table of kinds `FINDING_KINDS` with `kind_of`. How it works stands in
`heeltap.analysis.findings.hypothesis_tests`.
"""

from heeltap.analysis.findings.catalogue import FINDING_KINDS, NOTHING, kind_of
from heeltap.analysis.findings.contrasts import FindingKind
from heeltap.analysis.findings.findings import findings
from heeltap.analysis.findings.other_kinds import MIN_TAKE

__all__ = ["FINDING_KINDS", "MIN_TAKE", "NOTHING", "FindingKind", "findings", "kind_of"]
