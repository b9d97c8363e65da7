"""Matching takes: how right, how fast, how large, beside the research aligner (parangonar) in the same run.

Run: ``python -m tests.bench.bench_align [takes a crowd] [seed]`` (default 140 takes, a fresh seed, printed).

* crowds: simulated takes with known truth; for the worst corner also what a matcher gets that is told the player's true
  mean offset at every note and the true rates of mistakes: nobody can be expected to do better by more than chance.
* speed: notes a second of processor time on one take of 1,000 notes, and the ratio to the research aligner's.
* growth: notes a second and peak of allocated memory at 1,000, 10,000 and 100,000 notes.
* free tempo: Vienna 4x22 where it is there, clean and spoilt.
"""

import sys
import time
import timeit
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.align import Match, align, align_free
from heeltap.analysis.align.assignment import Groups, Odds, choose_pairs, pair_marginals
from heeltap.analysis.align.inputs import read_notes
from heeltap.analysis.align.player_model import PlayerModel, extra_key_shares, key_odds, note_rate, retrigger_weights
from heeltap.files.smf import read_midi
from heeltap.model.plan import ANY_PITCH, Plan
from tests.bench.peer_notes import PEERS, peer_match
from tests.conftest import _outside
from tests.makers.crowds import CROWDS, judge
from tests.makers.performances import Performance, pair_f1, read_performance, spoil
from tests.makers.players import (
    FIGURES,
    Player,
    SimulatedTake,
    make_part,
    ordinary_player,
    play_part,
    steady_offsets,
    worst_player,
)
from tests.makers.tallies import Tally


def _told(part: Plan, take: SimulatedTake, player: Player) -> Match:
    """The match of a matcher that knows the true mean offset of every note and how often the player errs."""
    plan = read_notes(part.at_us / 1000.0, part.pitch, "plan", lowest=ANY_PITCH)
    played = read_notes(take.notes.onset_us / 1000.0, take.notes.pitch, "take")
    mean = steady_offsets(part, player)[plan.order] / 1000.0 + take.delay_ms
    model = PlayerModel(missing=player.missing, wrong=player.wrong, extra=player.extra, retrigger=player.doubles)
    sd = float(np.hypot(player.spread_ms, player.chord_ms))
    residual = played.at_ms[None, :] - (plan.at_ms + mean)[:, None]
    i, j = np.nonzero(np.abs(residual) < 4 * sd)
    density = np.exp(-0.5 * (residual[i, j] / sd) ** 2) / (np.sqrt(2 * np.pi) * sd)
    worth = (1 - model.missing) / model.missing / (model.extra * note_rate(plan)) * retrigger_weights(played, model)[j]
    odds = Odds(i, j, density * worth * key_odds(extra_key_shares(played), plan.pitch[i], played.pitch[j], model))
    each = Groups(np.arange(len(plan)), np.arange(len(plan)), plan.pitch, played.pitch)
    found, chance = choose_pairs(odds, pair_marginals(odds, len(plan), len(played)), each, len(played))
    match, confidence = np.empty_like(found), np.empty_like(chance)
    match[plan.order], confidence[plan.order] = np.where(found >= 0, played.order[found], -1), chance
    wrong = (match >= 0) & (take.notes.pitch[match] != part.pitch)
    return Match(match, confidence, wrong, np.setdiff1d(np.arange(len(played)), match), take.delay_ms, 0.0, True)


def crowds(takes: int, seed: int) -> None:
    """Print one line a crowd."""
    for crowd in CROWDS:
        tally, _ = judge(crowd, np.random.default_rng(seed), takes)
        print(f"{crowd.name:24s}{tally}")
        if crowd.player is worst_player:
            told = Tally()
            rng = np.random.default_rng(seed)
            for row in range(takes):
                tempo = float(rng.uniform(*crowd.tempo_bpm))
                part = make_part(rng, FIGURES[row % len(FIGURES)], tempo_bpm=tempo, **crowd.part)
                player = crowd.player(rng)
                take = play_part(rng, part, player)
                told.add(take, _told(part, take, player), part.at_us)
            print(f"{'  told the truth':24s}{told}")


def _long_take(notes: int) -> tuple[Plan, SimulatedTake]:
    rng = np.random.default_rng(notes)
    part = make_part(rng, "two_hands", tempo_bpm=100.0, bars=notes // 12, section_bars=8)
    return part, play_part(rng, part, replace(ordinary_player(rng), noise="ar"))


def _seconds(work: Callable[[], object], rounds: int = 3) -> float:
    return min(timeit.repeat(work, timer=time.process_time, number=1, repeat=rounds))


def growth() -> None:
    """Print speed and memory for takes of three lengths."""
    for notes in (1_000, 10_000, 100_000):
        part, take = _long_take(notes)

        def work(part: Plan = part, take: SimulatedTake = take) -> Match:
            return align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch)

        seconds = _seconds(work, 3 if notes < 50_000 else 1)
        tracemalloc.start()
        found = work()
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        right = pair_f1(take.match, found.match)
        print(f"{len(part):7d} notes  {len(part) / seconds:8.0f} notes/s  peak {peak / 1e6:6.1f} MB  F1 {right:.4f}")


def beside_the_peer() -> None:
    """Print F1 and speed of both on the same take of about 1,000 notes (the peer gets it at free tempo, its only way)."""
    part, take = _long_take(1_000)
    piece = Performance("take", part.at_tick / 10_080, part.pitch, take.notes.onset_us, take.notes.pitch, take.match)
    ours = _seconds(lambda: align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch))
    f1 = pair_f1(take.match, align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch).match)
    print(f"{'ours, to a click':28s}{len(part) / ours:8.0f} notes/s  F1 {f1:.4f}")
    for name in PEERS:
        match = peer_match(name)
        f1 = pair_f1(take.match, match(piece))
        seconds = _seconds(lambda match=match: match(piece), 1)
        print(f"{name:28s}{len(part) / seconds:8.0f} notes/s  F1 {f1:.4f}  we are {seconds / ours:.0f} times as fast")


def _pooled(pieces: list[Performance], match: Callable[[Performance], np.ndarray]) -> float:
    right = given = there = 0
    for piece in pieces:
        found = match(piece)
        right += int(np.sum((piece.truth >= 0) & (found == piece.truth)))
        given, there = given + int(np.sum(found >= 0)), there + int(np.sum(piece.truth >= 0))
    return 2 * right / (given + there)


def free_tempo(seed: int) -> None:
    """Print F1 and speed on Vienna 4x22, clean and with 15 % missing, 15 % extra and 10 % wrong keys."""
    try:
        folder = _outside("data") / "vienna4x22"
    except pytest.skip.Exception as missing:
        print(missing)
        return
    clean = []
    for table in sorted(Path(folder).glob("*.csv")):
        notes = read_midi(str(table.with_suffix(".mid")))
        order = np.lexsort((notes.pitch, notes.onset_us))
        clean.append(read_performance(table, notes.onset_us[order], notes.pitch[order]))
    rng = np.random.default_rng(seed)
    spoilt = [spoil(rng, piece) for _ in range(3) for piece in clean]
    matchers = {"ours": lambda p: align_free(p.beat, p.pitch, p.take_us, p.take_pitch).match}
    matchers |= {name: peer_match(name) for name in PEERS}
    for name, match in matchers.items():
        begun = time.process_time()
        whole = _pooled(clean, match)
        speed = sum(piece.take_us.size for piece in clean) / (time.process_time() - begun)
        print(f"{name:28s}{speed:8.0f} notes/s  F1 {whole:.4f}  spoilt {_pooled(spoilt, match):.4f}")


def main() -> None:
    """Print everything."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 140
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int(np.random.SeedSequence().generate_state(1)[0])
    print(f"seed {seed}, {takes} takes a crowd")
    crowds(takes, seed)
    growth()
    beside_the_peer()
    free_tempo(seed)


if __name__ == "__main__":
    main()
