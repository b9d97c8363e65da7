"""Does the take follow this click at all, and at this tempo?

A take on a grid keeps its phase: summed over a block of pulses, the phasors of its strokes at two, three, four and six
to the pulse add up. Turning the phasors by a rate asks the same of a slightly different tempo. The best path of rates
through the blocks is the tempo as played. Strokes at random add up to the square root of their number only.

The statistic is Rayleigh's (Mardia & Jupp 2000, Directional Statistics, section 6.3, from memory) at four harmonics;
the search, the path and the limits are ours.

Inside: `PlayedTempo`, `played_tempo`, `warp_for`, `is_steady`, `warp_price`, `off_grid_reason`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["PlayedTempo", "is_steady", "off_grid_reason", "played_tempo", "warp_for", "warp_price"]

_HARMONICS = np.array([2.0, 3.0, 4.0, 6.0])
_BLOCK, _HOP = 32, 16
"""Pulses in a block, and from block to block: long enough to tell 0.1 %, short enough to follow a drift."""

_RATES = np.arange(-30, 31) * 0.001
"""Tempi tried, relative: 3 % to either side. A block tells 0.5 % apart at six to the pulse; what is left over is
refined."""

_LEAST_IN_BLOCK = 6
"""Blocks with fewer strokes say nothing."""

_WARP_NATS = 3.0
"""Price of a change of the rate by 0.1 % between blocks, in units of the statistic."""


@dataclass(frozen=True, slots=True, eq=False)
class PlayedTempo:
    """How well a take keeps its phase, and with which tempo."""

    centre: FloatArray
    """Middle of each block, pulses from the first row."""
    rate: FloatArray
    """Relative tempo of each block on the best path: 0.003 is 0.3 % faster than written."""
    strength: float
    """Mean power at that path over what strokes at random give; 1 is chance."""
    strength_as_written: float
    """The same at the tempo as written."""
    usual: float
    """Median power over all the tempi tried: what this take's own regularity gives at a wrong tempo."""
    strokes: int
    """Strokes that the statistic rests on."""


def played_tempo(position: FloatArray, pulses: int) -> PlayedTempo:
    """Pace of strokes at these places (pulses from the first row, increasing).

    Parameters
    ----------
    position : float64, shape (strokes,)
        Positions, pulses, increasing.
    pulses : int
        Pulses under the take.

    Returns
    -------
    PlayedTempo
        One row a block of pulses.
    """
    starts = np.arange(0, max(pulses - _BLOCK, 0) + 1, _HOP)
    rows = starts[:, None] + np.arange(_BLOCK)[None]
    strokes = np.bincount(np.floor(position).astype(np.int64), minlength=pulses + _BLOCK)[rows].sum(1)
    enough = strokes >= _LEAST_IN_BLOCK
    if not enough.any():
        return PlayedTempo(np.zeros(0), np.zeros(0), np.inf, np.inf, 1.0, int(position.size))
    starts, rows, strokes = starts[enough], rows[enough], strokes[enough]
    turn = np.exp(2j * np.pi * _HARMONICS[:, None, None] * np.arange(_BLOCK)[None, :, None] * _RATES[None, None])
    power = (np.abs(_phasors(position, pulses + _BLOCK)[:, rows] @ turn) ** 2).sum(0) / strokes[:, None]
    path = _best_path(power)
    scale = power.shape[0] * _HARMONICS.size
    return PlayedTempo(
        centre=starts + min(_BLOCK, pulses) / 2,
        rate=np.asarray(_RATES[path], dtype=np.float64),
        strength=float(power[np.arange(path.size), path].sum()) / scale,
        strength_as_written=float(power[:, _RATES.size // 2].sum()) / scale,
        usual=float(np.median(power.sum(0))) / scale,
        strokes=int(position.size),
    )


def _phasors(position: FloatArray, pulses: int) -> npt.NDArray[np.complex128]:
    """Sum of the strokes' phasors in each pulse, shape (harmonics, pulses)."""
    row = np.floor(position).astype(np.int64)
    out = np.empty((_HARMONICS.size, pulses), dtype=np.complex128)
    for i, harmonic in enumerate(_HARMONICS):
        angle = 2 * np.pi * harmonic * position
        out[i].real = np.bincount(row, np.cos(angle), minlength=pulses)[:pulses]
        out[i].imag = np.bincount(row, np.sin(angle), minlength=pulses)[:pulses]
    return out


def _best_path(power: FloatArray) -> IntArray:
    """Index of the rate in each block: most power, less the price of changes."""
    price = _WARP_NATS * np.abs(_RATES[:, None] - _RATES[None]) / 0.001
    total, came = power[0], []
    for row in power[1:]:
        options = total[:, None] - price
        came.append(np.argmax(options, axis=0))
        total = options.max(0) + row
    path = [int(np.argmax(total))]
    for back in reversed(came):
        path.append(int(back[path[-1]]))
    return np.array(path[::-1])


def warp_for(tempo_path: PlayedTempo, pulses: int) -> FloatArray:
    """Positions as played (in pulses) at each whole pulse of the grid as written, by the path's rates.

    Parameters
    ----------
    tempo_path : PlayedTempo
        The tempo as played.
    pulses : int
        Pulses under the take.

    Returns
    -------
    float64, shape (pulses + 1,)
        Pulses.
    """
    rate = np.interp(np.arange(pulses) + 0.5, tempo_path.centre, tempo_path.rate)
    return np.concatenate([np.zeros(1), np.cumsum(1.0 + rate)])


_STEADY = 0.06
"""Pulses by which a path may leave a straight line and still be one tempo throughout."""


def is_steady(tempo_path: PlayedTempo, pulses: int) -> bool:
    """Whether the tempo as played is one throughout, so that the click may have run at it; a player's own tempo moves.

    Parameters
    ----------
    tempo_path : PlayedTempo
        The tempo as played.
    pulses : int
        Pulses under the take.

    Returns
    -------
    bool
    """
    if tempo_path.centre.size == 0:
        return False
    at = np.arange(pulses + 1.0)
    shift = warp_for(tempo_path, pulses) - at
    slope, level = np.polyfit(at, shift, 1)
    return float(np.abs(shift - slope * at - level).max()) <= _STEADY


_LEAST_STROKES = 12
"""From fewer strokes nothing is said about the grid."""


def off_grid_reason(tempo_path: PlayedTempo, *, warped: bool) -> str:
    """Why the take may not be on this grid, as a sentence; empty where it keeps phase far better than chance.

    The power at the click is set against chance and against the take's own regularity at other tempi; it has to be three
    standard errors above. Recorded drummers reach 6 to 28 times chance, other music laid over a click 0.2 to 2.2.

    Parameters
    ----------
    tempo_path : PlayedTempo
        The tempo as played.
    warped : bool
        The clock was warped to it.

    Returns
    -------
    str
        One sentence, or nothing.

    Notes
    -----
    Ours.
    """
    if tempo_path.centre.size == 0 or tempo_path.strokes < _LEAST_STROKES:
        return ""
    power = tempo_path.strength if warped else tempo_path.strength_as_written
    blocks = 1 + 0.5 * (tempo_path.centre.size - 1)
    least = (1.0 + 3.0 / np.sqrt(blocks * _HARMONICS.size)) * max(tempo_path.usual, 1.0)
    if power >= least:
        return ""
    return (
        f"this take is not on this grid: its strokes keep to it {power:.1f} times as well as strokes at random (at least"
        f" {least:.1f} expected); check the tempo, the metre and where bar 1 begins"
    )


_LEAST_SHIFT, _LEAST_SHIFT_MS = 0.14, 65.0
_LEAST_GAIN, _LEAST_BETTER, _FAR = 10.0, 1.05, 0.35
_LEAST_STRENGTH, _LEAST_STRENGTH_RISE = 2.0, 120.0
_FAINT_STRENGTH, _FAINT_RATE = 1.4, 0.015
_PRICE, _FAINT_PRICE, _FAINT_PRICE_RISE = -10.0, 6.0, 600.0


def warp_price(tempo_path: PlayedTempo, pulses: int, pulse_ms: float) -> float:
    """Log likelihood that reading the take at its own tempo has to gain before that tempo is believed; inf: not to be tried.

    The path has to lead at least 65 ms and 14 % of a pulse away over the take (a player with the click comes back before
    that) and to raise the power by 10 over all blocks at four harmonics (overlapping blocks count half), and by 5 % where it
    leads less than 35 % of a pulse away: a recorded player who wanders raises it by 3 %.

    Where the path is clearly a grid, the more so the further it is from what is written, the reading need not be likelier,
    for readings follow the player anyway; it may cost 10. Piano at free tempo finds a path with 2.2 times its usual power
    1 % away, so a fainter one within 1.5 % has to earn 6 nats and 6 for each per cent.

    Parameters
    ----------
    tempo_path : PlayedTempo
        The tempo as played.
    pulses : int
        Pulses under the take.
    pulse_ms : float
        Length of a pulse, ms.

    Returns
    -------
    float
        Nats.

    Notes
    -----
    Ours.
    """
    if tempo_path.centre.size == 0 or tempo_path.strokes < _LEAST_STROKES:
        return np.inf
    shift = warp_for(tempo_path, pulses) - np.arange(pulses + 1)
    moved = max(abs(float(shift[-1])), float(np.ptp(shift)) / 3.0)  # to and fro is wandering about the click
    blocks = 0.5 * (tempo_path.centre.size + 1)
    gain = (tempo_path.strength - tempo_path.strength_as_written) * _HARMONICS.size * blocks
    far = abs(float(shift[-1])) > _FAR or tempo_path.strength > _LEAST_BETTER * tempo_path.strength_as_written
    if not far or moved <= max(_LEAST_SHIFT, _LEAST_SHIFT_MS / pulse_ms) or gain <= _LEAST_GAIN:
        return np.inf
    rate, strength = abs(float(tempo_path.rate.mean())), tempo_path.strength / max(tempo_path.usual, 1.0)
    if strength > _LEAST_STRENGTH + _LEAST_STRENGTH_RISE * rate:
        return _PRICE
    return _FAINT_PRICE + _FAINT_PRICE_RISE * rate if strength > _FAINT_STRENGTH and rate <= _FAINT_RATE else np.inf
