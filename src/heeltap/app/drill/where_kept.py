"""Where a take lies, in a sentence.

Inside: `where_kept`.
"""

from heeltap.app.drill.run import DrillOutcome
from heeltap.files.takes.folder import is_open

__all__ = ["where_kept"]


def where_kept(outcome: DrillOutcome) -> str:
    """Where the take lies; empty where nothing was kept.

    Parameters
    ----------
    outcome : DrillOutcome

    Returns
    -------
    str
    """
    if outcome.passes:
        takes = outcome.passes[0].parent
        return f"Your {len(outcome.passes)} passes are takes of their own in {takes}; the whole loop is in {outcome.folder}"
    if outcome.folder is not None and is_open(outcome.folder):
        return f"What there is of the take lies in {outcome.folder}; the next drill tries to finish it."
    return "" if outcome.folder is None else f"Your take is in {outcome.folder}"
