"""Which strokes of the drummer really sounded in a take, and when.

Inside: `drums_that_sounded`.
"""

from heeltap.engine.deadlines import SKIP_US
from heeltap.files.takes.journal import Journal
from heeltap.files.takes.metadata import DrumsOut

__all__ = ["drums_that_sounded"]


def drums_that_sounded(due: DrumsOut | None, journal: Journal) -> DrumsOut | None:
    """The drum strokes that the engine sent, each at the moment at which it was sent.

    Parameters
    ----------
    due : DrumsOut, optional
        The strokes as they were to be sent.
    journal : Journal

    Returns
    -------
    DrumsOut or None
        None where no drums were to sound.
    """
    if due is None:
        return None
    columns = zip(
        journal.click_due_us.tolist(), journal.click_key.tolist(), journal.click_sent_us.tolist(), strict=True
    )
    sent = {(at, key): when for at, key, when in columns if when - at <= SKIP_US}
    rows = [
        (sent[at, key], key, velocity)
        for at, key, velocity in zip(due.at_us, due.key, due.velocity, strict=True)
        if (at, key) in sent
    ]
    rows.sort()
    return DrumsOut(due.name, [row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows])
