"""One step of tempo: what every advice to play faster or slower means.

Inside: `faster`, `slower`.
"""

__all__ = ["faster", "slower"]

_UP, _DOWN = 1.045, 0.955
"""4-5 %: a step that a player hears and that costs nobody the groove. Teachers' convention, no source."""


def faster(tempo_bpm: float, limit_bpm: float) -> float:
    """The tempo one step up, a whole number of quarter notes a minute.

    Parameters
    ----------
    tempo_bpm : float
        The present tempo, quarter notes a minute.
    limit_bpm : float
        The step goes no further than this.

    Returns
    -------
    float
        Quarter notes a minute, at most ``limit_bpm``.

    Examples
    --------
    >>> faster(96.0, 200.0), faster(96.0, 98.0)
    (100.0, 98.0)
    """
    return min(float(round(tempo_bpm * _UP)), limit_bpm)


def slower(tempo_bpm: float) -> float:
    """The tempo one step down, a whole number of quarter notes a minute.

    Parameters
    ----------
    tempo_bpm : float
        The present tempo, quarter notes a minute.

    Returns
    -------
    float
        Quarter notes a minute.

    Examples
    --------
    >>> slower(96.0)
    92.0
    """
    return float(round(tempo_bpm * _DOWN))
