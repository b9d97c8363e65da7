"""The demo: a simulated player for a drill, and the shipped song with its takes. It needs no hardware.

Inside: `demo_drill`, `demo_take`, `demo_song`, `simulated_player`.
"""

import numpy as np

from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.run import Settings
from heeltap.app.score.score import score_file
from heeltap.app.song.answer import Answer, answer
from heeltap.app.song.open_song import open_song
from heeltap.app.song.takes import takes_of
from heeltap.devices.fake import script_from_notes
from heeltap.files.paths import shipped
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import Plan
from heeltap.model.result import Result

__all__ = ["demo_drill", "demo_song", "demo_take", "simulated_player"]

_KEY = 60
"""What the simulated player strikes where any key will do."""


def demo_drill(*, seed: int = 1) -> tuple[Drill, Settings]:
    """A drill of twelve seconds, and the settings in which a simulated player plays it through the fake port."""
    drill = drill_of(str(shipped("demo/warm-up.toml")))
    script = script_from_notes(simulated_player(drill.plan, np.random.default_rng(seed)))
    return drill, Settings(in_port="fake:simulated player", script=script, delay_ms=0.0)


def demo_song() -> Answer:
    """The whole answer on the shipped song and its eight takes."""
    opened = open_song(str(shipped("demo/tollgate-road.song.toml")))
    takes, problems = takes_of(opened)
    return answer(opened, takes, problems)


def demo_take() -> Result:
    """The first take of the shipped song's keys against the part as written."""
    song, take = shipped("demo/tollgate-road.mid"), shipped("demo/tollgate-road-take-1.mid")
    return score_file(take, part="keys", plan=song, delay_ms=0.0)


def simulated_player(
    plan: Plan, rng: np.random.Generator, *, bias_ms: float = 6.0, spread_ms: float = 11.0, missing: float = 0.03
) -> Notes:
    """A take of the plan by a player who wanders around a bias, as people do.

    The wander is slow (0.9 from stroke to stroke) with a fifth of white noise on it.

    Parameters
    ----------
    bias_ms, spread_ms : float
        Average offset and its standard deviation; minus is early.
    missing : float
        Share of strokes left out, 0-1; the first is always played.
    """
    at_us, first = np.unique(plan.at_us, return_index=True)
    wander = np.zeros(at_us.size)
    for i in range(1, at_us.size):
        wander[i] = 0.9 * wander[i - 1] + rng.normal(0.0, np.sqrt(1 - 0.81))
    offset_ms = bias_ms + spread_ms * (np.sqrt(0.8) * wander + np.sqrt(0.2) * rng.normal(size=at_us.size))
    played = rng.random(at_us.size) >= missing
    played[:1] = True
    stroke = np.repeat(np.arange(at_us.size), np.diff(np.append(first, len(plan))))
    rows = played[stroke]
    onset = (plan.at_us + np.round(1000 * offset_ms).astype(np.int64)[stroke])[rows]
    pitch = np.where(plan.pitch < 0, _KEY, plan.pitch)[rows]
    order = np.argsort(onset, kind="stable")
    velocity = np.full(onset.size, 90)
    return make_notes(onset[order], pitch[order], velocity, duration_us=np.full(onset.size, 120_000))
