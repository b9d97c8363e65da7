"""A kept take made ready to be scored: which warnings the player reads, and how the exercise is drilled again."""

from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from heeltap.app.takes.load_scored_inputs import load_scored_inputs, scored_inputs_of
from heeltap.files.takes.folder import Take, load_take
from heeltap.files.takes.metadata import LeftOut
from tests.makers import kept
from tests.makers.kept import keep


def with_context(take: Take, **more: object) -> Take:
    """The take, made under other circumstances."""
    return replace(take, context=msgspec.structs.replace(take.context, **more))


@pytest.mark.parametrize(("in_port", "warned"), [("keys", False), ("Drum Pads", True)])
def test_notes_that_the_computers_keyboard_cannot_release(
    in_port: str, warned: bool, tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A key of the computer's keyboard is never released, so that is no fault of the take; on pads it is worth a word."""
    held = kept._notes
    monkeypatch.setattr(kept, "_notes", lambda at: replace(held(at), duration_us=np.full(at.size, -1)))

    inputs = load_scored_inputs(keep(tmp_path, in_port=in_port, rng=rng))

    assert warned == any("never released" in text for text in inputs.played.warnings)


def test_bars_that_the_player_left_out_are_not_called_silence(tmp_path: Path, rng: np.random.Generator) -> None:
    """The player pressed the key; where nothing was heard, that is said as before."""
    bar_us = 2_500_000
    spans = [LeftOut(2 * bar_us, 3 * bar_us - 1, "held"), LeftOut(5 * bar_us, 6 * bar_us - 1, "lost")]
    take = load_take(keep(tmp_path, rng=rng))

    warnings = scored_inputs_of(with_context(take, left_out=spans)).played.warnings

    assert [True, True] == [
        any(text.startswith("You left bar 3 out") for text in warnings),
        any("heard nothing for a while in bar 6" in text for text in warnings),
    ]


def test_the_drill_is_named_with_its_metre(tmp_path: Path, rng: np.random.Generator) -> None:
    """What advice prints is played again as it was: a metre other than 4/4 and another seed belong to it."""
    take = load_take(keep(tmp_path, rng=rng))

    assert "anchor backbeat --tempo 96" == scored_inputs_of(take).played.drill
    other = with_context(take, name="anchor-1_3-4_s2")
    assert "anchor 1 --metre 3/4 --tempo 96 --seed 2" == scored_inputs_of(other).played.drill
