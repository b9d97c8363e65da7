"""All kinds of finding in one table, which the tests, the sentences, the class page, the advice and the guide read.

To add a kind, add its row and what makes its contrasts to one of the four files of kinds, and a test. The guide's table
is made from the rows (``python -m tests.makers.guide_tables``).

Ours, where no source is named.

Inside: `FINDING_KINDS`, `NOTHING`, `kind_of`.
"""

from heeltap.analysis.findings.change_kinds import CHANGE_KINDS
from heeltap.analysis.findings.contrasts import FindingKind
from heeltap.analysis.findings.other_kinds import NOTHING, OTHER_KINDS
from heeltap.analysis.findings.spread_kinds import SPREAD_KINDS
from heeltap.analysis.findings.steady_kinds import STEADY_KINDS

__all__ = ["FINDING_KINDS", "NOTHING", "kind_of"]

FINDING_KINDS: tuple[FindingKind, ...] = (*STEADY_KINDS, *CHANGE_KINDS, *SPREAD_KINDS, *OTHER_KINDS)
"""All kinds, in the order of the guide."""

_BY_CODE = {kind.code: kind for kind in FINDING_KINDS}


def kind_of(code: str) -> FindingKind:
    """The row of a code.

    Parameters
    ----------
    code : str
        As in ``Finding.code``.

    Returns
    -------
    FindingKind

    Raises
    ------
    KeyError
        The code is not in the table.
    """
    return _BY_CODE[code]
