"""Following the MIDI clock of another device: from its clock messages to tempo and phase, with their uncertainty.

A clock comes 24 times a quarter note and arrives with a jitter of some milliseconds. While playing, an alpha-beta filter
(a phase-locked loop of the second order) tells where the music stands now; when the take is over, all clocks together
tell where every beat was (`smooth_clock`).

Sources: the steady gains from the tracking index: Kalata (1984), The tracking index, IEEE Transactions on Aerospace and
Electronic Systems AES-20, 174-182. The gains of the beginning, which make the filter the least-squares line through all
clocks so far: expanding-memory filter, Brookner (1998), Tracking and Kalman filtering made easy, section 1.2.10.
Filtering message times by such a loop: Adriaensen (2005), Using a DLL to filter time, Linux Audio Conference. A step in
tempo is found by cumulated sums: Page (1954), Biometrika 41, 100-115. The whole take: l1 trend filtering, Kim, Koh, Boyd
& Gorinevsky (2009), SIAM Review 51, 339-360. All from memory; the settings are ours.

Inside: `Follow`, `Standing`, `follow`, `clock_lost`, `smooth_clock`, `CLOCKS_PER_QUARTER`.
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["CLOCKS_PER_QUARTER", "Follow", "Standing", "clock_lost", "follow", "smooth_clock"]

CLOCKS_PER_QUARTER = 24

_STEADY = 0.08
"""Steady gain of the phase: with white jitter the phase has a spread of its root, 0.28, of the jitter, and a tempo that
drifts by 1 % a second at 120 bpm is followed 1.2 ms late."""

_LEAST_JITTER_US = 100.0
"""A port has at least so much jitter."""

_FIRST_JITTER_US = 1_000.0
"""What is believed before anything is known."""

_SLACK, _ALARM = 0.75, 8.0
"""Cumulated sums, in standard deviations of an innovation: what each may exceed by chance, and where a step is found."""

_RECENT = 1 / 16
"""Share of the newest innovation in their running mean."""

_KEPT = 48
"""Clocks looked back to when a step is found: two beats."""

_LEAST_LINE = 6
"""Clocks at least in the first line after a step."""

_LOST_CLOCKS, _LOST_US = 12, 200_000
"""The clock is lost after half a beat without one, but not before 0.2 s."""

_TREND = 60.0
"""Weight of a change of tempo against the jitter, in standard deviations. Tried on simulated clocks with a jitter of
2 ms: 20, 60 and 200 gave 0.3-0.4, 0.2-0.4 and 0.2-0.6 ms at beats that were steady, drifting, waving and stepping."""


class Standing(StrEnum):
    """Where the other device stands."""

    WAITING = "waiting"
    """It has not started yet."""
    RUNNING = "running"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Follow:
    """What is known of a clock after its last message; times are microseconds on any one clock."""

    standing: Standing = Standing.WAITING
    position: int = -1
    """Clocks since the start message, of the last one; the first after it is 0."""
    at_us: float = 0.0
    """When the last clock was meant, freed of its jitter."""
    period_us: float = 0.0
    """Between two clocks; 0 while not known."""
    jitter_us: float = _FIRST_JITTER_US
    """Standard deviation of the arrivals around where they were meant."""
    memory: int = 0
    """Clocks since the last new beginning."""
    steps: int = 0
    """How often the tempo was found to have stepped."""
    recent_us: tuple[int, ...] = ()
    """Arrivals of the last clocks."""
    rise: float = 0.0
    fall: float = 0.0
    """Cumulated sums of the innovations, late and early."""
    lean_us: float = 0.0
    """Mean of the last innovations: where the tempo is changing, the filter stays behind by about so much."""
    run: tuple[int, int] = (0, 0)
    """Clocks since each of them was 0."""
    heard_us: int = 0
    """Arrival of the last clock."""

    @property
    def us_per_quarter(self) -> float:
        """Tempo; 0 while not known."""
        return self.period_us * CLOCKS_PER_QUARTER

    @property
    def phase_sd_us(self) -> float:
        """Standard uncertainty of ``at_us``; infinite while not known."""
        if self.memory < 2:
            return math.inf
        alpha = _gains(self.memory)[0]
        chance = self.jitter_us**2 / (1 - min(alpha, 0.9)) * _RECENT / (2 - _RECENT)
        behind = max(0.0, self.lean_us**2 - chance) * (1 - alpha) ** 2
        return math.sqrt(alpha * self.jitter_us**2 + behind)

    @property
    def tempo_sd(self) -> float:
        """Standard uncertainty of the tempo as a share of it; infinite while not known."""
        if self.memory < 3 or self.period_us <= 0:
            return math.inf
        alpha, beta = _gains(self.memory)
        if alpha > _STEADY:
            share = 12 / (self.memory * (self.memory**2 - 1))
        else:  # Bar-Shalom, Li & Kirubarajan (2001), Estimation with applications, section 6.5 (from memory)
            share = beta * (alpha - beta / 2) / (1 - alpha)
        return self.jitter_us * math.sqrt(share) / self.period_us

    def quarter_at(self, at_us: float) -> float:
        """Position at a moment, in quarter notes since the start; it stands still when the clock is lost or stopped.

        Before the start it is just under 0.
        """
        if self.position < 0 or self.period_us <= 0:
            return max(self.position, 0) / CLOCKS_PER_QUARTER - 1e-6 * (self.position < 0)
        ahead = (at_us - self.at_us) / self.period_us
        most = 1.0 if self.standing is Standing.STOPPED else float(_LOST_CLOCKS)
        return (self.position + min(ahead, most)) / CLOCKS_PER_QUARTER


def clock_lost(state: Follow, now_us: float) -> bool:
    """Whether a running clock has been silent for too long."""
    limit = max(_LOST_CLOCKS * state.period_us, _LOST_US)
    return state.standing is Standing.RUNNING and now_us - state.heard_us > limit


def follow(state: Follow, status: int, at_us: int, *, sixteenths: int = 0) -> Follow:
    """The state after a message.

    Parameters
    ----------
    state : Follow
    status : int
        F8 clock, FA start, FB continue, FC stop, F2 song position; others change nothing.
    at_us : int
        Stamp of the message.
    sixteenths : int
        Of a song position.
    """
    match status:
        case 0xFA:
            return replace(state, standing=Standing.RUNNING, position=-1, heard_us=at_us)
        case 0xFB:
            return replace(state, standing=Standing.RUNNING, heard_us=at_us)
        case 0xFC:
            return replace(state, standing=Standing.STOPPED)
        case 0xF2:
            return replace(state, position=sixteenths * CLOCKS_PER_QUARTER // 4 - 1, heard_us=at_us)
        case 0xF8:
            return _clock(state, at_us)
    return state


def _clock(state: Follow, at_us: int) -> Follow:
    """A clock: it also runs before the start, and tells the tempo then.

    After a gap without a stop the device has played on: the clocks that did not come count, by tempo and elapsed time.
    """
    position = state.position + (state.standing is Standing.RUNNING)
    if state.position >= 0 and state.period_us > 0 and clock_lost(state, at_us):
        position = state.position + max(1, round((at_us - state.at_us) / state.period_us))
    silent = at_us - state.at_us > max(_LOST_CLOCKS * state.period_us, _LOST_US)
    if state.memory == 0 or silent:
        fresh = Follow(state.standing, position, float(at_us), jitter_us=state.jitter_us, steps=state.steps)
        return replace(fresh, memory=1, period_us=state.period_us, recent_us=(at_us,), heard_us=at_us)
    recent = (*state.recent_us[1 - _KEPT :], at_us)
    state = replace(state, position=position, recent_us=recent, heard_us=at_us)
    if state.memory == 1:
        return replace(state, at_us=float(at_us), period_us=float(at_us - recent[-2]), memory=2)
    moved, sure = _update(state, at_us)
    if max(moved.rise, moved.fall) <= _ALARM or not sure:
        return moved
    count = max(_LEAST_LINE, moved.run[0] if moved.rise > moved.fall else moved.run[1])
    return _anew(moved, min(count, len(recent)))


def _update(state: Follow, at_us: int) -> tuple[Follow, bool]:
    """One step of the filter, and whether its memory is long enough to find a step in tempo."""
    memory = state.memory + 1
    alpha, beta = _gains(memory)
    told = state.at_us + state.period_us
    off = at_us - told
    spread = state.jitter_us / math.sqrt(1 - alpha) if alpha < 1 else math.inf
    score = off / spread
    rise, fall = max(0.0, state.rise + score - _SLACK), max(0.0, state.fall - score - _SLACK)
    sure = memory > _LEAST_LINE
    jitter_us = state.jitter_us
    if memory > 3:
        share = 1 / min(memory, _KEPT)
        calm = max(-3.0, min(3.0, score))  # a single stumble must not blunt the filter
        jitter_us = max(_LEAST_JITTER_US, jitter_us * math.sqrt(1 + share * (calm * calm - 1)))
    moved = replace(
        state,
        at_us=told + alpha * off,
        period_us=max(1.0, state.period_us + beta * off),
        jitter_us=jitter_us,
        memory=memory,
        lean_us=state.lean_us + _RECENT * (off - state.lean_us) if sure else 0.0,
        rise=rise if sure else 0.0,
        fall=fall if sure else 0.0,
        run=(state.run[0] + 1 if rise else 0, state.run[1] + 1 if fall else 0),
    )
    return moved, sure


def _anew(state: Follow, count: int) -> Follow:
    """The line through the last clocks only: the tempo has stepped."""
    times = state.recent_us[-count:]
    middle = (count - 1) / 2
    mean = sum(times) / count
    slope = sum((k - middle) * (at - mean) for k, at in enumerate(times)) * 12 / (count * (count * count - 1))
    return replace(
        state,
        at_us=mean + slope * middle,
        period_us=max(1.0, slope),
        memory=count,
        steps=state.steps + 1,
        lean_us=0.0,
        rise=0.0,
        fall=0.0,
        run=(0, 0),
    )


def _gains(memory: int) -> tuple[float, float]:
    """Gains of phase and period after so many clocks: those of the growing line until the steady ones are reached."""
    alpha = 2 * (2 * memory - 1) / (memory * (memory + 1)) if memory > 1 else 1.0
    if alpha <= _STEADY:
        return _STEADY, 2 * (2 - _STEADY) - 4 * math.sqrt(1 - _STEADY)
    return min(alpha, 1.0), min(6 / (memory * (memory + 1)), 1.0)


def smooth_clock(arrival_us: IntArray) -> FloatArray:
    """When each clock of a stretch without a gap was meant, microseconds as floats.

    The times closest to the arrivals among those whose tempo changes seldom: the sum of squared distances plus a price
    on every change of the period, in proportion to its size, so that a step stays a step.

    Parameters
    ----------
    arrival_us : int64, shape (n,)
        Stamps of the clocks, in order.
    """
    count = arrival_us.size
    if count < 4:
        return arrival_us.astype(np.float64)
    steady = np.arange(count) * ((arrival_us[-1] - arrival_us[0]) / (count - 1)) + arrival_us[0]
    rest = arrival_us - steady
    bend = np.diff(rest, 2)
    jitter = max(float(np.median(np.abs(bend))) * 1.4826 / math.sqrt(6), 1.0)
    smooth = _bent(rest, np.full(count - 2, 1e6))
    for _ in range(12):  # reweighted least squares; later rounds moved no beat by more than 0.05 ms
        smooth = _bent(rest, _TREND * jitter / (np.abs(np.diff(smooth, 2)) + 1e-4 * jitter))
    return np.asarray(smooth + steady)


def _bent(values: FloatArray, price: FloatArray) -> FloatArray:
    """The curve near the values whose squared second differences, times their price, are small."""
    from scipy.linalg import solveh_banded

    count = values.size
    bands = np.zeros((3, count))
    bands[2] = 1.0
    bands[2, :-2] += price
    bands[2, 1:-1] += 4 * price
    bands[2, 2:] += price
    bands[1, 1:-1] -= 2 * price
    bands[1, 2:] -= 2 * price
    bands[0, 2:] = price
    return np.asarray(solveh_banded(bands, values))
