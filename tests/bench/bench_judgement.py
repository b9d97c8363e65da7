"""Tables of what is said of a take and of a player, each figure beside its goal: run ``python -m tests.bench.bench_judgement
[PART] [SEED]``.

PART is ``score``, ``week``, ``robot``, ``random``, ``bars``, ``takes``, ``progress``, or ``all``. Seeds other than those of
the tests, and another one each time if you like. Prints; asserts nothing.
"""

import sys
from collections.abc import Callable

import numpy as np

from heeltap.analysis.analyse import Options, analyse
from heeltap.analysis.compare.progress import progress_over
from heeltap.analysis.compare.takes import compare
from heeltap.analysis.offsets_of import judge_plan
from heeltap.analysis.weak_bars import weak_bars
from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.notes import make_notes
from heeltap.model.plan import Plan, Section
from heeltap.model.played import Played
from heeltap.model.result import Result
from tests.makers.drills import counted_plan
from tests.makers.judgements import (
    RANDOM,
    RUSHES,
    SCORE_TABLE,
    mean_score,
    rushed_song,
    rushes_listed,
    told_of_players_who_stay_the_same,
    week_of_scores,
    week_of_tables,
)
from tests.makers.plans import plan_of_quarters
from tests.makers.tables import noise

NOISE = ("ar0", "ar35", "wander", "long90")


def score(seed: int) -> None:
    """Mean score of players with white noise."""
    print("score: white noise, quarters, lean 0; average and spread in % of the beat\n")
    print(f"{'player':>10} {'goal':>9} | " + " ".join(f"{bpm:>6} bpm" for bpm in (96, 120, 160)) + " |     60    200")
    for player, least, most in SCORE_TABLE:
        rng = np.random.default_rng(seed)
        name = "random" if player == RANDOM else f"{player[0]:g} / {player[1]:g}"
        found = [mean_score(player, rng, tempo_bpm=bpm, takes=60) for bpm in (96, 120, 160, 60, 200)]
        inside = "" if all(least <= one <= most for one in found[:3]) else "  MISSED"
        cells = " ".join(f"{one:>10.1f}" for one in found[:3])
        print(f"{name:>10} {f'{least}..{most}':>9} | {cells} | {found[3]:>6.1f} {found[4]:>6.1f}{inside}")


def week(seed: int) -> None:
    """Day means of 42 takes from 22 to 12 ms."""
    print("\nweek: 42 takes from 22 to 12 ms; goal: rises by 15 and more, never falls by more than 3\n")
    print(f"{'noise':>8} {'bpm':>4} {'rise, mean':>11} {'least':>6} {'largest fall':>13} {'weeks within':>13}")
    for kind in NOISE:
        for bpm in (96.0, 120.0):
            days = [
                week_of_scores(np.random.default_rng(1000 * seed + one), tempo_bpm=bpm, kind=kind) for one in range(40)
            ]
            rise = np.array([one[-1] - one[0] for one in days])
            fall = np.array([-np.diff(one).min() for one in days])
            within = np.mean((rise >= 15) & (fall <= 3))
            print(f"{kind:>8} {bpm:>4.0f} {rise.mean():>11.1f} {rise.min():>6.1f} {fall.max():>13.1f} {within:>13.0%}")


def _scored(plan: Plan, offset_ms: FloatArray, *, delay_ms: float | None = 0.0) -> Result:
    """The result of a plan whose strokes were played with these offsets, through the whole pipeline."""
    at = np.sort(plan.at_us + np.round(1000 * offset_ms).astype(np.int64))
    notes = make_notes(at, np.full(at.size, 60), np.full(at.size, 80), duration_us=np.full(at.size, 50_000))
    return analyse(Played(notes, plan.tempo, plan.metre, plan), Options(delay_ms=delay_ms))


def robot(seed: int) -> None:
    """A robot 39 ms early on two and four."""
    print(
        "\nrobot: two and four, every stroke 39 ms early, known delay; goal: nothing in the pocket, no section held\n"
    )
    for bpm in (60, 96, 120, 160):
        sections = (Section("verse", 1, 8), Section("chorus", 9, 16))
        plan = counted_plan(["2 4"] * 16, bpm=bpm, sections=sections)
        result = _scored(plan, np.full(32, -39.0))
        words = ", ".join(row.verdict for row in result.by_section)
        o = result.overall
        print(
            f"{bpm:>4} bpm: {100 * (o.in_pocket or 0):.0f} % in the pocket of {o.pocket_ms:.0f} ms, score {o.score}, {words}"
        )


def random(seed: int) -> None:
    """Strokes at any time, through the whole pipeline."""
    print("\nrandom: as many strokes as planned at any time, aligned and scored; goal: 0 +- 2\n")
    rng = np.random.default_rng(seed)
    for delay_ms in (0.0, None):
        for text, bpm in (("1 2 3 4", 96), ("1 2 3 4", 160), ("1& 2& 3& 4&", 120)):
            plan = counted_plan([text] * 32, bpm=bpm)
            span = int(plan.at_us[-1])
            values = [
                _scored(plan, rng.integers(0, span, len(plan)) / 1000 - plan.at_us / 1000, delay_ms=delay_ms)
                for _ in range(12)
            ]
            mean = float(np.mean([one.overall.score for one in values if one.overall.score is not None]))
            known = "known" if delay_ms is not None else "unknown"
            print(f"{text:>12} at {bpm} bpm, delay {known:>7}: {mean:.1f}")


def bars(seed: int) -> None:
    """Rushes that are listed, and what faultless takes list."""
    print("\nbars: three rushes of 30 ms in a song of 64 bars, spread 11 ms, wander; 16 takes; goal: 45 of 48 named\n")
    print(f"{'rush':>14} {'bpm':>4} {'a bar':>6} | {'named, mean':>12} {'least':>6} (of 20 times 48)")
    for rush in RUSHES:
        for bpm, per_bar in ((96.0, 4), (96.0, 8), (120.0, 8), (160.0, 8)):
            found = [
                rushes_listed(np.random.default_rng(1000 * seed + one), rush=rush, tempo_bpm=bpm, per_bar=per_bar)
                for one in range(20)
            ]
            print(f"{rush:>14} {bpm:>4.0f} {per_bar:>6} | {np.mean(found):>12.1f} {min(found):>6}")
    print("\nfaultless takes; goal: every entry lies as far off as is heard\n")
    for spread in (8.0, 11.0, 14.0):
        rng = np.random.default_rng(seed)
        tables = [rushed_song(rng, early_ms=0.0, spread_ms=spread)[0] for _ in range(200)]
        listed = [weak_bars(table, as_ints([]), centre_ms=0.0).entries for table in tables]
        nearest = min((abs(one.offset_ms or 0.0) for entries in listed for one in entries), default=np.nan)
        print(
            f"spread {spread:>4.0f} ms: {np.mean([len(one) for one in listed]):.2f} entries a take, nearest {nearest:.1f} ms"
        )


def takes(seed: int) -> None:
    """Twelve takes from poor to good."""
    print("\ntakes: twelve from 26 to 9 ms; goal: one is always named, and it is among the three truly tightest\n")
    plan = plan_of_quarters([float(q) for q in range(256)], sections=(Section("all", 1, 64),))
    for kind in NOISE:
        right, alike = 0, []
        for one in range(40):
            rng = np.random.default_rng(1000 * seed + one)
            judged = []
            for spread in np.linspace(26.0, 9.0, 12):
                offset = noise(kind, len(plan), rng, sd_ms=float(spread))
                notes = make_notes(plan.at_us + np.round(1000 * offset).astype(np.int64), [60] * len(plan))
                order = np.argsort(np.argsort(plan.at_us + np.round(1000 * offset), kind="stable"), kind="stable")
                judged.append(judge_plan(plan, notes, order, np.ones(len(plan))))
            whole = compare(judged).whole
            right += whole is not None and whole.best >= 9
            alike.append(0 if whole is None else len(whole.as_good))
        print(f"{kind:>8}: named among the three tightest in {right} of 40; {np.mean(alike):.1f} others as good")


def _share(told: Callable[[np.random.Generator], bool], seed: int, count: int = 100) -> float:
    rng = np.random.default_rng(seed)
    return float(np.mean([told(rng) for _ in range(count)]))


def progress(seed: int) -> None:
    """Whether a player who changes is told so, and one who does not is not."""
    print("\nprogress: players who stay the same and are told of a change; goal: 5 % at most\n")
    print(f"{'takes':>6} " + " ".join(f"{kind:>8}" for kind in NOISE))
    for count in (5, 8, 12, 20):
        rng = np.random.default_rng(seed)
        cells = [told_of_players_who_stay_the_same(rng, takes=count, kind=kind, players=200) for kind in NOISE]
        print(f"{count:>6} " + " ".join(f"{one:>8.1%}" for one in cells))
    print("\nplayers who change and are told so (wander, 128 strokes a take)\n")
    print(f"{'takes':>6} {'22 -> 12 ms':>12} {'rush 30 -> 8':>13} {'best in the middle':>19}")
    for count in (6, 8, 12, 20):
        even = np.linspace(22.0, 12.0, count).tolist()
        bent = np.concatenate([np.linspace(22, 12, count // 2), np.linspace(12, 20, count - count // 2)]).tolist()
        rushes = np.linspace(30.0, 8.0, count).tolist()
        cells = [
            _share(lambda rng, e=even: _told(week_of_tables(e, rng), "spread"), seed),  # type: ignore[misc]
            _share(lambda rng, r=rushes: _told(week_of_tables([12.0] * len(r), rng, rush_ms=r), "rush"), seed),  # type: ignore[misc]
            _share(lambda rng, b=bent: progress_over(week_of_tables(b, rng)).best is not None, seed),  # type: ignore[misc]
        ]
        print(f"{count:>6} {cells[0]:>12.0%} {cells[1]:>13.0%} {cells[2]:>19.0%}")


def _told(tables: list, what: str) -> bool:  # type: ignore[type-arg]
    return any(trend.told and trend.what == what for trend in progress_over(tables).trends)


PARTS = {part.__name__: part for part in (score, week, robot, random, bars, takes, progress)}

if __name__ == "__main__":
    wanted = sys.argv[1] if len(sys.argv) > 1 else "all"
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 7
    for part in PARTS.values() if wanted == "all" else [PARTS[wanted]]:
        part(seed)
