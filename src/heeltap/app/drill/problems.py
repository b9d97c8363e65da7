"""Why a take could not be kept, so that a narrow screen shows the reason whole.

Inside: `problem_of`.
"""

from pathlib import Path

from heeltap.errors import HeeltapError
from heeltap.files.takes.disk import unwritten_reason

__all__ = ["problem_of"]


def problem_of(error: HeeltapError, folder: Path) -> str:
    """Why a take could not be kept: where the system refused to write, its reason comes before the path.

    Parameters
    ----------
    error : HeeltapError
    folder : Path
        Of the take.

    Returns
    -------
    str
    """
    cause = error.__cause__
    if not isinstance(cause, OSError) or not cause.errno:
        return str(error)
    return f"{unwritten_reason(cause.errno)}, so the take is not whole in {folder}"
