"""Ordinary things that happen to takes of a plan: a bar left out, a file that begins at bar 9, an octave, another piece.

Parts and players are invented. Inside: `SITUATIONS`, `a_part`, `a_take`, `situation`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import BoolArray, IntArray
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of_part
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.units import TICKS_PER_QUARTER

BARS = 32


def a_part(
    seed: int, *, bpm: float = 104.0, metre: tuple[int, int] = (4, 4), sparse: bool = False, ppq: int = 480
) -> Plan:
    """A part of chords and runs: sections repeat, with small changes."""
    rng = np.random.default_rng(seed)
    quarters = metre[0] * 4 / metre[1]
    slots = np.arange(0, quarters, 0.5)
    patterns = [
        np.sort(rng.choice(slots, max(2, int(slots.size * (0.35 if sparse else 0.7))), replace=False)) for _ in range(4)
    ]
    roots = [48, 53, 55, 45, 50, 52]
    rows = []
    for bar in range(BARS):
        pattern = (
            patterns[(bar // 4) % 4]
            if rng.random() < 0.7
            else np.sort(rng.choice(slots, patterns[0].size, replace=False))
        )
        root = roots[(bar * 5 + bar // 8) % len(roots)]
        for at in pattern.tolist():
            chord = (
                (root, root + 16, root + 19) if rng.random() < 0.4 else (root + int(rng.choice([12, 14, 16, 19, 21])),)
            )
            rows += [(bar * quarters + at, key) for key in chord]
    tick = np.array([round(at * ppq) for at, _ in rows])
    tempo = steady_tempo(bpm, ticks_per_quarter=ppq)
    return plan_of_part(tick, np.array([key for _, key in rows]), tempo=tempo, metre=steady_metre(*metre), bars=BARS)


def a_groove(seed: int, *, bpm: float = 104.0) -> Plan:
    """Drums: the same two bars throughout, and a fill in every fourth."""
    rng = np.random.default_rng(seed)
    rows = []
    for bar in range(BARS):
        at = 4.0 * bar
        rows += [(at + one / 2, 42) for one in range(8)] + [(at + 1, 38), (at + 3, 38), (at, 36)]
        rows.append((at + (2.5 if bar % 2 else 2.0), 36))
        if bar % 4 == 3:
            rows += [(at + 3 + one / 4, int(key)) for one, key in enumerate(rng.choice([41, 45, 47, 50], 4))]
    rows = sorted(set(rows))
    tempo = steady_tempo(bpm, ticks_per_quarter=480)
    tick = np.array([round(at * 480) for at, _ in rows])
    return plan_of_part(tick, np.array([key for _, key in rows]), tempo=tempo, metre=steady_metre(4, 4), bars=BARS)


def a_take(plan: Plan, seed: int, bias_ms: float = 4.0) -> tuple[IntArray, IntArray]:
    """Times and keys of a good take: spread 9 ms, a few wrong and missing notes."""
    rng = np.random.default_rng(seed)
    strokes = rng.normal(bias_ms, 9.0, int(plan.stroke.max()) + 1)
    at = plan.at_us + np.round(1000 * strokes[plan.stroke] + rng.normal(0, 1500, len(plan))).astype(np.int64)
    pitch = np.where(rng.random(len(plan)) < 0.01, plan.pitch + 1, plan.pitch)
    return at, pitch


@dataclass(frozen=True)
class Bars:
    """What a situation is made from."""

    at_us: IntArray
    pitch: IntArray
    bar: IntArray
    bar_us: int

    def moved(self, rows: BoolArray, bars: float = 0.0) -> tuple[IntArray, IntArray]:
        """Some notes, so many bars later."""
        return self.at_us[rows] + round(bars * self.bar_us), self.pitch[rows]


def _joined(*parts: tuple[IntArray, IntArray]) -> tuple[IntArray, IntArray]:
    return np.concatenate([one[0] for one in parts]), np.concatenate([one[1] for one in parts])


def _all(made: Bars) -> BoolArray:
    return np.ones(made.bar.size, bool)


_Act = Callable[[Bars], tuple[IntArray, IntArray]]

SITUATIONS: dict[str, tuple[_Act, str]] = {
    "as planned": (lambda m: m.moved(_all(m)), ""),
    "bar 13 left out": (lambda m: _joined(m.moved(m.bar < 13), m.moved(m.bar > 13, -1)), "Bar 13 was left out"),
    "bars 13-16 left out": (
        lambda m: _joined(m.moved(m.bar < 13), m.moved(m.bar > 16, -4)),
        "Bars 13 to 16 were left out",
    ),
    "cut at bar 9": (lambda m: m.moved(m.bar >= 9, -8), "The file begins at bar 9 of the plan."),
    "two bars late": (lambda m: m.moved(_all(m), 2), "Everything lies 2 bars late"),
    "four bars, then from the top": (
        lambda m: _joined(m.moved(m.bar <= 4), m.moved(_all(m), 5)),
        "you began again at bar 1",
    ),
    "first eight bars twice": (lambda m: _joined(m.moved(m.bar <= 8), m.moved(_all(m), 8)), "you began again at bar 1"),
    "a bar of rest before bar 20": (lambda m: _joined(m.moved(m.bar < 20), m.moved(m.bar >= 20, 1)), "is a bar late"),
    "350 ms late": (lambda m: (m.at_us + 350_000, m.pitch), "looks like the recording"),
    "230 ms early": (lambda m: (m.at_us - 230_000, m.pitch), "looks like the recording"),
    "an octave up": (lambda m: (m.at_us, m.pitch + 12), "an octave higher than the plan"),
    "an octave down": (lambda m: (m.at_us, m.pitch - 12), "an octave lower than the plan"),
    "a fifth up": (lambda m: (m.at_us, m.pitch + 7), "a fifth higher than the plan"),
    "three semitones down": (lambda m: (m.at_us, m.pitch - 3), "3 semitones lower than the plan"),
    "half tempo": (lambda m: (m.at_us * 2, m.pitch), "and the plan is written at"),
    "double tempo": (lambda m: (m.at_us // 2, m.pitch), "and the plan is written at"),
    "four per cent slower": (
        lambda m: (np.round(m.at_us * 1.0385).astype(np.int64), m.pitch),
        "and the plan is written at",
    ),
    "an octave up, cut at bar 9": (
        lambda m: (m.moved(m.bar >= 9, -8)[0], m.moved(m.bar >= 9)[1] + 12),
        "begins at bar 9",
    ),
}
"""By name: what is done to a take, and what has to be said; nothing where it is ordinary."""


def situation(name: str, plan: Plan, seed: int) -> Notes:
    """A take of a plan to which something happened."""
    at, pitch = a_take(plan, seed)
    bar, _ = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)
    ends = plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(np.array([1, 2])))
    return sorted_notes(*SITUATIONS[name][0](Bars(at, pitch, bar, round(float(ends[1] - ends[0])))))


def sorted_notes(at: IntArray, pitch: IntArray) -> Notes:
    """Notes in the order of time."""
    order = np.argsort(at, kind="stable")
    return make_notes(at[order], pitch[order], np.full(at.size, 80))
