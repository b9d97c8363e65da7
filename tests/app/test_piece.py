"""What is heard in one go: the bars worth playing again in both versions, and a whole take."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.listen.piece import piece_of_listed_bars
from heeltap.model.messages import PEDAL
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import Plan
from heeltap.sound.click import CLICK_SOUNDS
from tests.app.test_playback import clicked, kept, ons
from tests.makers.drills import counted_plan

BAR_US = 2_000_000
WOOD = CLICK_SOUNDS["wood"]


def played(plan: Plan, late_us: np.ndarray, *, held_us: int = 50_000) -> Notes:
    """Each stroke of the plan, so much late."""
    n = len(plan)
    return make_notes(plan.at_us + late_us, np.full(n, 60), np.full(n, 80), duration_us=np.full(n, held_us))


def late_in_bar_five(root: Path, *, held_us: int = 50_000) -> Path:
    """Eight bars of quarters at 120, those of bar 5 60 ms late."""
    plan = counted_plan(["1 2 3 4"] * 8)
    late = np.where((plan.at_us >= 4 * BAR_US) & (plan.at_us < 5 * BAR_US), 60_000, 0)
    return kept(root, plan, played(plan, late, held_us=held_us), delay_ms=0.0)


def test_listed_bars_are_heard_as_played_and_then_where_they_belong(tmp_path: Path) -> None:
    """Bar 4 runs in to bar 5; in the second version its strokes lie on their clicks."""
    piece = piece_of_listed_bars(late_in_bar_five(tmp_path), WOOD)
    sent = piece.make()
    clicks = np.array(clicked(sent))
    apart = [int(due - clicks[np.argmin(np.abs(clicks - due))]) for due, *_ in ons(sent)]

    assert ((4, 5, 4, 5), (False, False, True, True)) == (piece.bars, piece.moved_at)
    assert pytest.approx([0] * 4 + [60_000] * 4 + [0] * 8, abs=30) == apart  # a file keeps times to a tick
    assert (0,) == piece.stops
    assert (3 * BAR_US, 4 * BAR_US, 3 * BAR_US, 4 * BAR_US) == piece.at_us


def test_nothing_of_one_stretch_sounds_into_the_next(tmp_path: Path) -> None:
    """Notes held for three seconds and their pedal end with the stretch, before the breath."""
    piece = piece_of_listed_bars(late_in_bar_five(tmp_path, held_us=3_000_000), WOOD)
    sent = piece.make()
    begins = piece.starts_us[2]
    first = [(m, due) for due, m in zip(sent.due_us.tolist(), sent.messages, strict=True) if due < begins]
    on = sum(m[0] & 0xF0 == 0x90 and m[2] > 0 for m, _ in first)
    off = sum(m[0] & 0xF0 == 0x80 or (m[0] & 0xF0 == 0x90 and m[2] == 0) for m, _ in first)

    assert on == off
    assert 2 * BAR_US - 60_000 == max(due for _, due in first)
    assert PEDAL not in sent.kind


def test_a_take_without_listed_bars_is_heard_as_a_whole(tmp_path: Path) -> None:
    """Everything on the click: from its count-in, in jumps of four bars."""
    plan = counted_plan(["1 2 3 4"] * 8)
    piece = piece_of_listed_bars(kept(tmp_path, plan, played(plan, np.zeros(len(plan), np.int64)), delay_ms=0.0), WOOD)

    assert (tuple(range(1, 9)), False, (0, 4)) == (piece.bars, any(piece.moved_at), piece.stops)
