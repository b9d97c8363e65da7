"""Figures of the pure packages for takes that never change, to as many digits as two machines agree on.

The tests of each package ask whether its numbers are right; these ask whether they are still the same. A change that moves
one on purpose makes the file anew, and its difference shows what moved: ``python -m tests.makers.figures``.

Inside: `figures`, `GOLDEN`.
"""

import json
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import fields, is_dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from heeltap import score_file
from heeltap.analysis.align import align, align_free
from heeltap.analysis.at_its_place import at_its_place
from heeltap.analysis.compare.best_path import best_path
from heeltap.analysis.compare.habits import bars_that_come_back
from heeltap.analysis.compare.progress import progress_over
from heeltap.analysis.findings import findings
from heeltap.analysis.leader.leader import fit_leader, lag_behind, who_leads
from heeltap.analysis.past_take import past_of
from heeltap.analysis.place import find_place
from heeltap.analysis.quantise import quantise
from heeltap.analysis.score import distance, place_weight, score
from heeltap.analysis.statistics.estimates import bias, drift, spread
from heeltap.analysis.weak_bars import weak_bars
from heeltap.app.practice.advise import course
from heeltap.app.practice.make_exercise import families, make_exercise
from heeltap.app.practice.simplify import simplify_file
from heeltap.app.score.compare import compare_takes
from heeltap.app.score.reading import Reading
from heeltap.course.difficulty import difficulty
from heeltap.course.drum_patterns import hits_of
from heeltap.course.generate import shift_margin
from heeltap.course.next_exercise import next_step
from heeltap.errors import PlanError
from heeltap.files.toml.beats import read_beats
from heeltap.model.arrays import as_ints
from heeltap.model.counted_bars import counted_exercise, counted_plan
from heeltap.model.past_take import PastTake
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import Metre, MetreMap, TempoMap
from tests.analysis.test_best_path import STRETCHES, a_take
from tests.bench.bench_lost import LOST, lost_takes, silent_takes
from tests.bench.bench_offbeats import KINDS, played_us
from tests.bench.bench_offbeats import part_of as off_beats
from tests.bench.bench_shuffle import STYLES
from tests.bench.bench_shuffle import part_of as shuffled
from tests.makers.figures_model import MODEL_CASES, refused
from tests.makers.figures_random import RANDOM_CASES
from tests.makers.figures_results import RESULT_CASES
from tests.makers.grooves import draw_player, make_groove
from tests.makers.judgements import CLEAN, rushed_song, week_of_tables
from tests.makers.leaders import lead_and_follow
from tests.makers.players import FIGURES, full_range_player, make_part, ordinary_player, play_part, worst_player
from tests.makers.screens import past_take
from tests.makers.situations import SITUATIONS, a_part, situation
from tests.makers.tables import FAULTS, noise, offsets_table, plant

ROOT = Path(__file__).resolve().parents[2]

GOLDEN = ROOT / "tests" / "golden" / "figures.json"

_SONG = ROOT / "demo" / "tollgate-road.mid"
_TAKES = [ROOT / "demo" / f"tollgate-road-take-{number}.mid" for number in (1, 2)]


def figures() -> dict[str, Any]:
    """Every figure by its case: numbers, words, and long columns as their length and two sums."""
    made: dict[str, Any] = {}
    for case in (
        _statistics,
        _findings,
        _judgements,
        _progress,
        _alignments,
        _slots,
        _clocks,
        _places,
        _paths,
        _leaders,
        _files,
        _bars,
        _course,
        *MODEL_CASES,
        *RESULT_CASES,
        *RANDOM_CASES,
    ):
        made.update({f"{case.__name__.strip('_')} {name}": _plain(value) for name, value in case()})
    return made


def _plain(value: Any) -> Any:
    """A value as JSON holds it."""
    if isinstance(value, np.ndarray):
        column = np.nan_to_num(value.astype(np.float64), nan=-1.0, posinf=1e9, neginf=-1e9)
        return [column.size, float(column.sum()), float(column.ravel() @ np.arange(1.0, column.size + 1))]
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, Iterable) and not isinstance(value, str):
        return [_plain(one) for one in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float) and not np.isfinite(value):
        return repr(value)
    return value if isinstance(value, str | int | float | bool | None) else str(value)


_Cases = Iterable[tuple[str, Any]]


def _statistics() -> _Cases:
    """Averages, spreads and drifts with their intervals, from hardly any stroke to many."""
    rng = np.random.default_rng(1)
    for kind in ("ar0", "ar70", "wander", "long90"):
        for n in (0, 1, 2, 5, 33, 40, 128, 300):
            row = noise(kind, n, rng) if n > 3 else rng.normal(0, 9, n)
            bar = np.arange(n) // 4
            yield f"{kind} {n}", (bias(row), spread(row), drift(row, bar.astype(np.float64)))
            yield f"{kind} {n}, a part", (bias(row, bar % 2 == 0), spread(row, bar % 2 == 0))


def _findings() -> _Cases:
    """What is said of every planted fault, with sizes, intervals and odds."""
    rng = np.random.default_rng(2)
    for fault in FAULTS:
        for size_ms in (12.0, -25.0):
            table = plant(offsets_table(noise("ar35", 384, rng, sd_ms=9.0), rng), fault, size_ms)
            yield f"{fault} {size_ms:+.0f}", findings(table, lean_ms=0.0)
    for unsure_ms in (0.0, 4.0, 12.0):
        table = offsets_table(noise("ar35", 200, rng) - 15.0, rng)
        yield f"unsure by {unsure_ms:.0f}", findings(table, lean_ms=0.0, delay_uncertainty_ms=unsure_ms)
    yield (
        "without swing",
        findings(plant(offsets_table(noise("ar35", 384, rng), rng), next(iter(FAULTS)), 9.0), swing_asked=False),
    )
    yield "without a lean", findings(offsets_table(noise("ar0", 256, rng) - 20.0, rng), lean_ms=None)


def _judgements() -> _Cases:
    """Score, pocket, weights and bars to play again, with nothing and with much to say."""
    rng = np.random.default_rng(3)
    empty = offsets_table(np.zeros(0), rng)
    yield "nothing", (score(empty, CLEAN), weak_bars(empty, as_ints([]), centre_ms=0.0))
    for lean_ms in (0.0, 15.0):
        for rush in ("last bar", "last two bars", "ramp"):
            table, _ = rushed_song(rng, rush=rush)
            yield f"score {lean_ms:.0f} {rush}", score(table, CLEAN, lean_ms=lean_ms)
            yield f"weight {lean_ms:.0f} {rush}", place_weight(table.bar, table.beat, table.division)
            yield f"distance {lean_ms:.0f} {rush}", distance(table, centre_ms=lean_ms, strict_toward=-1.0)
            for drums in (False, True):
                yield (
                    f"bars {lean_ms:.0f} {rush} {drums}",
                    weak_bars(table, as_ints([3, 3, 3, 9]), centre_ms=lean_ms, against_drums=drums),
                )


def _progress() -> _Cases:
    """Getting better, worse, best in the middle, and bars that come back."""
    rng = np.random.default_rng(4)
    weeks = {"better": np.linspace(22, 9, 10), "worse": np.linspace(9, 20, 10), "few": np.linspace(20, 10, 3)}
    weeks.update({f"{n} takes": np.linspace(24, 8, n) for n in range(2, 9)})
    weeks["middle"] = np.abs(np.arange(14) - 6.0) * 2 + 8
    for name, spreads in weeks.items():
        tables = week_of_tables(spreads, rng, rush_ms=np.linspace(30, 0, spreads.size).tolist())
        yield name, progress_over(tables)
        yield f"{name}, bars", bars_that_come_back([rushed_song(rng, spread_ms=float(one))[0] for one in spreads])


def _alignments() -> _Cases:
    """Matches of ordinary, hasty, lost and silent players, with a known delay and without, and at free tempo."""
    rng = np.random.default_rng(5)
    for name, player in (("ordinary", ordinary_player), ("full", full_range_player), ("worst", worst_player)):
        for figure in FIGURES:
            part = make_part(rng, figure, tempo_bpm=float(rng.uniform(60, 180)))
            take = play_part(rng, part, player(rng))
            at = part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch, take.notes.velocity
            for delay_ms in (None, take.delay_ms):
                yield f"{name} {figure} {delay_ms is None}", align(*at, delay_ms, plan_stroke=part.stroke)
    for kind in ("exercise rest", "loop stop"):
        for number, (part, take) in enumerate(silent_takes(kind, rng, 3)):
            at = part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch, take.notes.velocity
            yield f"{kind} {number}", align(*at, plan_stroke=part.stroke)
    for kind in LOST:
        for part, take in lost_takes(kind, rng, 1):
            yield kind, align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch)
    for count in (0, 1, 3):
        yield (
            f"{count} notes",
            align(np.arange(4) * 500_000, [60] * 4, np.arange(count) * 500_000, [60] * count, delay_ms=0.0),
        )
    part = make_part(rng, FIGURES[0], tempo_bpm=90.0)
    take = play_part(rng, part, ordinary_player(rng))
    yield "free", align_free(part.at_tick / 10_080, part.pitch, take.notes.onset_us, take.notes.pitch)


def _slots() -> _Cases:
    """Places of players without a plan."""
    rng = np.random.default_rng(6)
    for number in range(10):
        groove = make_groove(rng, draw_player(rng))
        yield f"{number}", quantise(groove.take_us, groove.player.bpm, groove.player.metre)
        yield f"{number} raster", quantise(groove.take_us, groove.player.bpm, groove.player.metre, grid=16)


def _clocks() -> _Cases:
    """Slots under other clocks than one steady one, of chance strokes, of chords with graces, and what is refused."""
    rng = np.random.default_rng(16)
    groove = make_groove(rng, draw_player(rng, style="eighths", bpm=110.0, bars=24, spread_ms=9.0))
    take_us, size = groove.take_us, groove.take_us.size
    seconds = (take_us - take_us[0]) / 1e6
    bent = {"faster": take_us / 1.01, "slower": take_us * 1.004, "gaining": take_us - 2_000 * seconds**2 / 8}
    for name, played in {**bent, "chance": np.sort(rng.integers(0, take_us[-1], size))}.items():
        yield name, quantise(np.round(played).astype(np.int64), 110.0, "4/4")
    keys, loud = rng.integers(36, 90, size), rng.integers(1, 128, size)
    for known in (False, True):
        yield (
            f"keys {known}",
            quantise(take_us, 110.0, "4/4", take_pitch=keys, take_velocity=loud, delay_ms=80.0, delay_known=known),
        )
    steps = TempoMap(480, as_ints([0, 4800, 9600, 28_800]), as_ints([545_454, 400_000, 250_000, 600_000]))
    metres = MetreMap(np.array([0.0, 16.0, 28.0, 49.0]), (Metre(4, 4), Metre(6, 8), Metre(7, 8), Metre(2, 2)))
    yield "steps", quantise(steps.us_at_quarter(groove.take_us / 545_454.0).astype(np.int64), steps, metres)
    yield "chain", quantise(np.arange(60) * 12_000, 110.0, "4/4")
    for tempo, metre in (
        (0.9, "4/4"),
        (1001.0, "4/4"),
        (90, "4"),
        (90, "65/4"),
        (90, "64/32"),
        (90, "4/3"),
        (90, (3, 8)),
    ):
        yield f"{tempo} {metre}", refused(quantise, take_us, tempo, metre)
    for metre, grid in (("0/4", 8), ("1/1", 8), ("4/4", 0), ("4/4", 5), ("3/8", 64)):
        yield f"{metre} {grid}", refused(quantise, take_us, 90.0, metre, grid)
    for n in (0, 1, 2, 7):
        yield f"{n} strokes", quantise(take_us[:n], 110.0, "4/4")


def _places() -> _Cases:
    """Where takes lie on their plans, what is laid on what, and off-beats, shuffles and homes without a plan."""
    for metre in ((4, 4), (6, 8)):
        plan = a_part(17, metre=metre)
        for name in SITUATIONS:
            notes = situation(name, plan, 3)
            yield f"{metre} {name}", find_place(plan, notes)
            yield (
                f"{metre} {name} laid",
                [(one.said, one.plan.at_tick, one.notes.onset_us) for one in [at_its_place(plan, notes)]],
            )
    rng = np.random.default_rng(12)
    for kind in KINDS:
        onset = played_us(off_beats(kind, rng), 132.0, -25.0, rng)
        yield f"off-beats {kind}", quantise(onset.astype(np.int64), 132.0, "4/4")
    for style in STYLES:
        meant, _ = shuffled(style, 1.7, rng)
        yield f"shuffle {style}", quantise(played_us(meant, 88.0, 20.0, rng).astype(np.int64), 88.0, STYLES[style][1])


def _paths() -> _Cases:
    """The best way through takes, with many changes and too few, and with takes that hold no more than a part."""
    rng = np.random.default_rng(13)
    takes = [a_take(rng, rng.normal(0, 12, 4)) for _ in range(4)]
    for joins in (0, 1, 3):
        for lean_ms in (0.0, None):
            yield f"{joins} {lean_ms}", best_path(takes, STRETCHES, joins, lean_ms=lean_ms)
    halves = [
        replace(take, offsets=take.offsets.pick((take.offsets.bar - 1) // 4 // 2 == half))
        for half, take in enumerate(takes[:2])
    ]
    yield "halves", best_path(halves, STRETCHES, 0, lean_ms=0.0)
    quarters = [
        replace(take, offsets=take.offsets.pick((take.offsets.bar - 1) // 4 == one)) for one, take in enumerate(takes)
    ]
    yield "quarters", best_path([*quarters, halves[0]], STRETCHES, 1, lean_ms=0.0)


def _leaders() -> _Cases:
    """The drummer's curve, the lag behind it, and who is early."""
    rng = np.random.default_rng(7)
    for kind in ("full", "sparse", "silent"):
        song = lead_and_follow(rng, 24, leader=kind)
        leader = fit_leader(song.leader_quarter, song.leader_ms)
        yield (
            kind,
            (
                leader.reference_ms_at(song.follower_quarter),
                lag_behind(leader, song.follower_quarter, song.follower_ms),
            ),
        )
        nobody: tuple[list[float], list[float]] = ([], [])
        yield (
            f"{kind}, who",
            who_leads([(song.leader_quarter, song.leader_ms), (song.follower_quarter, song.follower_ms), nobody]),
        )


def _files() -> _Cases:
    """The demo's takes scored in several ways, and compared."""
    ways: dict[str, dict[str, Any]] = {
        "click": {},
        "plan": {"plan": _SONG, "part": "keys", "delay_ms": 4.0},
        "behind": {"plan": _SONG, "part": "keys", "lean_ms": 15.0, "delay_ms": 0.0},
        "raster": {"grid": 16},
    }
    for name, how in ways.items():
        for take in _TAKES:
            result = score_file(take, **how)
            yield f"{name} {take.name}", [
                result.overall, result.counts, result.by_beat, result.by_division, result.by_section, result.swing,
                [(one.code, one.effect_ms, one.ci95_ms, one.bars) for one in result.findings],
                [(one.first_bar, one.last_bar, one.why) for one in result.replay],
                [(one.action, one.exercise) for one in result.advice],
                np.array([-999.0 if one.offset_ms is None else one.offset_ms for one in result.notes]),
            ]  # fmt: skip
            yield (
                f"{name} {take.name}, history",
                past_of(result, folder="f", date="d", exercise="e", tempo_bpm=96.0, length_s=1.0),
            )
    yield "compared", compare_takes(_TAKES, Reading(plan=_SONG, part="keys")).comparison


def _bars() -> _Cases:
    """How exercises are counted, and the tempo limits of an exercise."""
    for family, grade in (("anchor", "hands"), ("split", "triplets"), ("turn", "density")):
        exercise = make_exercise(family, grade, seed=3)
        yield f"{family} {grade}", (counted_exercise(exercise), counted_plan(plan_of(exercise)), exercise.tempo_bpm)


def _course() -> _Cases:
    """How hard every grade is, its drums, what simpler forms of a part play, and what histories ask for."""
    for metre in ("4/4", "6/8", "7/8"):
        for family in families():
            for grade in family.grades:
                with suppress(PlanError):
                    made = make_exercise(family.name, grade.name, metre=metre, seed=2)
                    plan = plan_of(made)
                    yield (
                        f"{metre} {made.name}",
                        (difficulty(made), shift_margin(plan), plan.at_tick, plan.velocity, plan.kind),
                    )
    song = make_exercise("turn", "beat", seed=2)
    for pattern in read_beats().values():
        yield f"drums {pattern.name}", hits_of(pattern, 8, sections=song.sections)
    for path, part in ((_SONG, "keys"), (_SONG, "drums")):
        for form in simplify_file(path, part).forms:
            yield (
                f"simpler {part} {form.level.name}",
                (form.plan.at_tick, form.plan.pitch, form.length_tick, form.answered),
            )
    now = datetime.fromisoformat("2026-03-04T18:05:00+01:00")
    for share in (0.3, 0.62, 0.8, 0.97):
        for days in (0, 1, 9):
            taken = [
                _past_share(now - timedelta(days=days, hours=hour), share, at) for at, hour in enumerate((6, 5, 4, 3))
            ]
            for many in range(1, 5):
                yield f"next {share} {days} {many}", next_step(taken[:many], course(), now)


def _past_share(when: datetime, share: float, rank: int) -> PastTake:
    """A take of a grade with this share in the pocket."""
    step = course()["anchor"][rank // 2]
    row = past_take(when.isoformat(), "anchor", step.grade, step.tempo_bpm, -12.0 * (1 - share), 90.0, step.title)
    return replace(row, held=share, in_pocket=share, spread_ms=30.0 * (1.2 - share))


def main(write: Callable[[str], object] = lambda text: GOLDEN.write_text(text, encoding="utf-8")) -> None:
    """Make the file anew."""
    lines = (f"{json.dumps(name)}: {json.dumps(value, ensure_ascii=False)}" for name, value in figures().items())
    write("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
