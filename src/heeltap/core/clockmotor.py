"""Where unevenness comes from: the inner clock, the hand, or the way one follows the click.

Two models, two uses:

* `clock_and_motor` splits the intervals of a stretch *without* a click (silent bars, continuation) into an even clock
  with noise and a hand with noise. It must not be used on strokes that follow a click: correcting breaks the model.
* `phase_correction` says which share of the last error one takes back at the next stroke of an even click: 0 drifts, 1
  takes all of it back at once, above 1 chases the click.

Both decline, with a reason in words, wherever the published conditions are not met; they never clip silently.

Conventions: milliseconds; an asynchrony is played minus click, negative is early.

Inside: `ClockMotor`, `PhaseCorrection`, `clock_and_motor`, `phase_correction`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.core.arrays import FloatArray

__all__ = ["MIN_INTERVALS", "MIN_STROKES", "ClockMotor", "PhaseCorrection", "clock_and_motor", "phase_correction"]

MIN_INTERVALS = 100
"""With 64 intervals 7 % of true takes fall outside the model's bound, with 128 2.6 % (simulated, 10 and 5 ms)."""

MIN_STROKES = 60
"""With 30 strokes alpha scatters by 0.2, with 60 by 0.12-0.19 (simulation)."""

FAR_MS = 200.0
"""An asynchrony beyond this is a lost beat, not a correction: the mean stands in for it, as in the published method."""

MANY_FAR = 0.05
"""More lost beats than this share and there is nothing to estimate."""


@dataclass(frozen=True, slots=True)
class ClockMotor:
    """The split, or why there is none."""

    clock_sd_ms: float | None
    """Standard deviation of the inner clock's intervals."""
    motor_sd_ms: float | None
    """Standard deviation of the delay from clock to hand."""
    lag1: float | None
    """Autocorrelation of neighbouring intervals after drift is taken out; the model needs -0.5 to 0."""
    drift_ms_per_interval: float | None
    """Slope that was taken out; positive is slowing down."""
    n: int
    """Intervals."""
    reason: str
    """Empty where the model fits, else why nothing is said."""


@dataclass(frozen=True, slots=True)
class PhaseCorrection:
    """The share of an error that is taken back, or why it is not known."""

    alpha: float | None
    """One decimal: finer is not supported by one take."""
    n: int
    """Asynchronies."""
    reason: str
    """Empty, or why nothing is said."""


def clock_and_motor(interval_ms: npt.ArrayLike, *, detrend: bool = True, least: int = MIN_INTERVALS) -> ClockMotor:
    """Split the variability of unpaced intervals into clock and motor parts.

    Parameters
    ----------
    interval_ms : float, shape (n,)
        Successive intervals of equal intent, ms, without a click.
    detrend : bool
        Take a straight slope out first; off only to compare with worked examples.
    least : int
        Intervals below which nothing is said.

    Notes
    -----
    Wing & Kristofferson (1973), Percept. Psychophys. 14, 5-12 (formulas from memory; the bound as in Doumas & Wing
    2007, J. Exp. Psychol. HPP 33, 442-455): with autocovariances g0 and g1 (divided by n), motor variance = -g1 and
    clock variance = g0 + 2 g1. Plain moments; a likelihood may do better where the motor part is the larger.
    """
    interval = np.asarray(interval_ms, dtype=np.float64).ravel()
    n = interval.size
    if n < max(least, 3):
        return _no_split(n, f"{n} intervals; the split needs {max(least, 3)} in one stretch without the click")
    if not np.all(np.isfinite(interval)):
        return _no_split(n, "some intervals are missing; the split needs an unbroken stretch")
    x = np.arange(n) - (n - 1) / 2.0
    drift = float(x @ interval / (x @ x)) if detrend else 0.0
    rest = interval - interval.mean() - drift * x
    g0, g1 = float(rest @ rest) / n, float(rest[:-1] @ rest[1:]) / n
    if g0 <= 0.0:
        return _no_split(n, "the intervals are all equal: nobody plays so evenly")
    clock, lag1 = g0 + 2.0 * g1, g1 / g0
    if g1 > 0.0:
        return _no_split(n, "model does not fit this take: long follows long, so the tempo wanders", lag1, drift)
    if clock < 0.0:
        return _no_split(n, "model does not fit this take: long and short alternate too strictly", lag1, drift)
    return ClockMotor(float(np.sqrt(clock)), float(np.sqrt(-g1)), lag1, drift, n, "")


def _no_split(n: int, reason: str, lag1: float | None = None, drift: float | None = None) -> ClockMotor:
    """The answer without numbers."""
    return ClockMotor(None, None, lag1, drift, n, reason)


def phase_correction(asynchrony_ms: npt.ArrayLike, *, least: int = MIN_STROKES) -> PhaseCorrection:
    """Share of the last asynchrony that is taken back at the next stroke, to one decimal.

    Parameters
    ----------
    asynchrony_ms : float, shape (n,)
        Played minus click at successive clicks of one even pulse, ms; nan where no stroke was matched.
    least : int
        Asynchronies below which nothing is said.

    Notes
    -----
    Bounded generalised least squares: Jacoby, Tishby, Repp, Ahissar & Keller (2015), Timing & Time Percept. 3, 52-87,
    written from its equations. One take reads 0.1 too high at 60 strokes and 0.05 at 120 (simulation).
    """
    data = np.asarray(asynchrony_ms, dtype=np.float64).ravel()
    n = data.size
    if n < max(least, 4):
        return PhaseCorrection(None, n, f"{n} strokes on the pulse; this needs {max(least, 4)} in a row")
    known = np.isfinite(data)
    lost = ~known
    lost[known] = np.abs(data[known]) > FAR_MS
    if lost.mean() > MANY_FAR:
        return PhaseCorrection(None, n, f"{int(lost.sum())} of {n} pulses are missed or more than {FAR_MS:.0f} ms away")
    data = np.where(lost, data[~lost].mean(), data)
    if float(np.ptp(data)) == 0.0:
        return PhaseCorrection(None, n, "the strokes are all equally far from the click: nobody plays so evenly")
    return PhaseCorrection(round(_bounded_least_squares(data), 1), n, "")


def _bounded_least_squares(asynchrony: FloatArray) -> float:
    """Alpha of A[n+1] = (1 - alpha) A[n] + T + M[n+1] - M[n], with the noise kept to timer >= motor.

    T is the clock's noise, M the hand's, so that the noise has covariances k11 = T + 2 M and k12 = -M (as variances);
    alternates between the regression given them and the two given its residuals.
    """
    from scipy.linalg import solveh_banded

    before, after = asynchrony[:-1] - asynchrony.mean(), asynchrony[1:] - asynchrony.mean()
    k11, k12, share = 1.0, 0.0, 0.0
    for _ in range(20):
        band = np.array([np.full(before.size, k12), np.full(before.size, k11)])
        white = solveh_banded(band, before)
        previous, share = share, float(white @ after / (white @ before))
        noise = after - share * before
        first, second = noise[:-1] - noise[:-1].mean(), noise[1:] - noise[1:].mean()
        k11 = float(first @ first + second @ second) / (2.0 * (first.size - 1))
        k12 = min(float(first @ second) / (first.size - 1), 0.0)
        k11 = max(k11, -3.0 * k12)
        if abs(share - previous) < 1e-3:
            break
    return 1.0 - share
