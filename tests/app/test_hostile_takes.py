"""Recorded files that are legal MIDI and no music: extreme tempi, metres and distances cost a line, not the program."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.score.score import score_path
from heeltap.errors import HeeltapError, InputFileError, PlanError
from heeltap.model.plan import MOST_BARS
from heeltap.model.result import Result
from tests.makers.amounts import share
from tests.makers.midi_bytes import metre, note_on, smf, tempo, track

TEMPI = (1, 2, 10, 1_000, 50_000, 250_000, 500_000, 1_000_000, 4_000_000, 16_777_215)
GAPS = (0, 0, 1, 5, 60, 120, 240, 480, 960, 1_920, 9_600, 96_000, 0xFFFFFFF)
DIVISIONS = (1, 2, 24, 96, 480, 10_080, 32_767)
COUNTS, POWERS = (1, 2, 3, 4, 5, 6, 12, 32, 255), (0, 1, 2, 3, 4, 7)


def _extreme(rng: np.random.Generator) -> bytes:
    """A file whose tempi, metres and distances are each of them legal."""
    usual, events = rng.choice(GAPS, 2), []
    for _ in range(int(rng.integers(1, 120))):
        delta = int(rng.choice(usual if rng.random() < 0.8 else GAPS))
        kind = rng.random()
        if kind < 0.08:
            events.append(tempo(delta, int(rng.choice(TEMPI))))
        elif kind < 0.12:
            events.append(metre(delta, int(rng.choice(COUNTS)), int(rng.choice(POWERS))))
        else:
            events.append(note_on(delta, int(rng.integers(30, 90))))
    return smf(track(*events), division=int(rng.choice(DIVISIONS)))


def _outcome(path: Path, data: bytes) -> Result | HeeltapError:
    path.write_bytes(data)
    try:
        return score_path(path)
    except HeeltapError as error:
        return error


@pytest.mark.parametrize(
    ("first", "second"), share([(16_777_215, 1), (1, 16_777_215), (1, 1), (16_777_215, 16_777_215)], every=3)
)
@pytest.mark.parametrize("gap", [0, 96, 96_000])
def test_two_extreme_tempi_are_judged_or_refused(first: int, second: int, gap: int, tmp_path: Path) -> None:
    """Thirty notes at either tempo, however far apart they are."""
    notes = [note_on(gap, 60) for _ in range(30)]
    found = _outcome(tmp_path / "take.mid", smf(track(tempo(0, first), *notes, tempo(0, second), *notes)))

    assert isinstance(found, Result | InputFileError)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2))
def test_extreme_files_are_judged_or_refused(seed: int, tmp_path: Path) -> None:
    """A hundred files a seed: a result or one line each, and both occur."""
    rng = np.random.default_rng(seed)
    found = [_outcome(tmp_path / "take.mid", _extreme(rng)) for _ in range(100)]

    assert 10 < sum(isinstance(one, Result) for one in found) < 100
    assert all("\n" not in str(one) for one in found if isinstance(one, HeeltapError))


def test_notes_on_beats_that_nobody_plays_are_left_out_and_the_others_are_judged(tmp_path: Path) -> None:
    """Forty quarters at 120 bpm, then five at 60,000,000: the forty are on the beat, and the five are told."""
    good = [note_on(480, 60) for _ in range(40)]
    bad = [note_on(480, 60) for _ in range(5)]
    found = _outcome(tmp_path / "take.mid", smf(track(tempo(0, 500_000), *good, tempo(960, 1), *bad)))

    assert isinstance(found, Result)
    assert (40, 0.0) == (found.overall.n, found.overall.bias_ms)
    assert any(
        "notes lie where the file's tempo is too fast or too slow to play beats" in line for line in found.warnings
    )


def test_a_take_on_beats_that_nobody_plays_has_no_grid(tmp_path: Path) -> None:
    """Where no note can be placed, nothing is said of the player."""
    found = _outcome(tmp_path / "take.mid", smf(track(tempo(0, 1), *[note_on(480, 60)] * 20)))

    assert isinstance(found, Result)
    assert (False, 0, ()) == (found.on_grid, found.overall.n, found.findings)


def test_a_note_in_a_bar_out_of_reach_is_refused(tmp_path: Path) -> None:
    """Bar 559,241 is named, before any table by bar is made; so is the bar of a plan."""
    far = smf(track(note_on(0, 60), note_on(0xFFFFFFF, 60)), division=120)
    found, plan = _outcome(tmp_path / "take.mid", far), tmp_path / "plan.mid"
    plan.write_bytes(far)

    assert f"take.mid: a note in bar 559,241; expected at most {MOST_BARS:,} bars" in str(found)
    with pytest.raises(PlanError, match=r"bar 559,241; expected at most 99,999 bars"):
        score_path_with_plan(tmp_path / "take.mid", plan)


def score_path_with_plan(take: Path, plan: Path) -> Result:
    """The take against a plan."""
    from heeltap import score_file

    take.write_bytes(smf(track(*[note_on(480, 60)] * 8)))
    return score_file(take, plan=plan)
