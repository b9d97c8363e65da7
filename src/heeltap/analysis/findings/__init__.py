"""Findings: statements about a take that its numbers defend, in plain words, with error control over the whole list.

Public: `findings`, and the table of kinds `FINDING_KINDS` with `kind_of`. How it works stands in
`heeltap.core.findings.witnesses`.
"""

from heeltap.core.findings.asking import MIN_TAKE, findings
from heeltap.core.findings.kinds import FINDING_KINDS, NOTHING, Kind, kind_of

__all__ = ["FINDING_KINDS", "MIN_TAKE", "NOTHING", "Kind", "findings", "kind_of"]
