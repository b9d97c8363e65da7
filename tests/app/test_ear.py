"""The ear's questions as they sound, and the command with a simulated listener."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.listen.ear import ANSWERS, EarTest, Question, material_of, plain_material
from heeltap.app.listen.hear import Heard, Listening
from heeltap.cli import main
from heeltap.errors import InputFileError
from heeltap.files.hearings import HearingTest, hearing_file, hearings, keep_hearing
from heeltap.model.messages import PLAYED, Schedule
from tests.app.test_listen import quarters

__all__ = ["quarters"]


def ons(schedule: Schedule, kind: str) -> np.ndarray:
    """When the strokes of a kind sound, microseconds."""
    return np.array(
        [
            due
            for due, message, found in zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
            if found == kind and message[0] & 0xF0 == 0x90 and message[2]
        ]
    )


def test_a_shift_moves_every_stroke_and_no_drum() -> None:
    """Early or late by the level, as the right answer says; the drums stay."""
    test = EarTest("side", plain_material(), np.random.default_rng(1))
    plain = ons(plain_material().strokes, PLAYED)
    drums = None
    for _ in range(20):
        question = test.question()
        strokes = ons(question.heard.schedule, PLAYED) - question.heard.begins[0][0]
        by_ms = np.unique(np.round((strokes - plain) / 1000, 1))
        drums = ons(question.heard.schedule, "drum") if drums is None else drums

        assert [question.level_ms if question.right == "l" else -question.level_ms] == pytest.approx(
            by_ms.tolist(), abs=0.06
        )
        assert np.array_equal(drums, ons(question.heard.schedule, "drum"))
        test.answer(question, question.right)
    assert test.levels_ms[0] > test.levels_ms[-1]


def test_the_tighter_one_lies_still_and_the_other_scatters_by_the_level() -> None:
    """The standard deviation of the looser one is the level to 0.1 ms, its mean stays."""
    test = EarTest("tighter", plain_material(), np.random.default_rng(2))
    plain = ons(plain_material().strokes, PLAYED)
    rights = set()
    for _ in range(20):
        question = test.question()
        strokes = ons(question.heard.schedule, PLAYED)
        first, second = (strokes[:8] - question.heard.begins[0][0], strokes[8:] - question.heard.begins[1][0])
        tight, loose = (first, second) if question.right == "1" else (second, first)
        off_ms = (loose - plain) / 1000
        rights.add(question.right)

        assert np.array_equal(plain, tight)
        assert (question.level_ms, 0.0) == pytest.approx((np.std(off_ms), np.mean(off_ms)), abs=0.1)
        test.answer(question, "2")
    assert {"1", "2"} == rights


def test_own_bars_are_heard_where_they_belong(quarters: Heard) -> None:
    """Two bars of a take: its strokes on the beat, with its own click."""
    material = material_of(quarters, 4, 5)

    assert [500_000 * beat for beat in range(8)] == pytest.approx(ons(material.strokes, PLAYED).tolist(), abs=2)
    assert 4_000_000 == material.length_us
    assert material.name.endswith("bars 4-5")


@pytest.fixture
def listener(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., list[str]]:
    """Someone who hears every question through ears of 25 ms, and types answers; what was typed."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path))

    def answering(*, slips: str = "", deaf: bool = False, stop_after: int = 10**6) -> list[str]:
        rng, typed, asked = np.random.default_rng(3), list[str](), list[Question]()
        real = EarTest.question

        def question(self: EarTest) -> Question:
            asked.append(real(self))
            return asked[-1]

        def play(heard: Listening, **_: object) -> Iterator[str]:
            return iter(())

        def answer(_: str) -> str:
            one = asked[-1]
            sign = 1.0 if one.right in ("l", "1") else -1.0
            hears = rng.normal(sign * one.level_ms, 1e9 if deaf else 25.0) > 0
            said = (
                slips
                if not typed and slips
                else ("l" if hears else "e")
                if one.right in "el"
                else ("1" if hears else "2")
            )
            typed.append("q" if len(typed) >= stop_after else said)
            return typed[-1]

        monkeypatch.setattr(EarTest, "question", question)
        monkeypatch.setattr("heeltap.app.listen.give.play", play)
        monkeypatch.setattr("builtins.input", answer)
        return typed

    return answering


@pytest.mark.parametrize("task", ["side", "tighter"])
def test_a_test_tells_the_threshold_and_keeps_it(
    task: str, listener: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """A listener of 17 ms: the interval holds it; the file keeps it; a wrong word is asked again."""
    typed = listener(slips="x")

    code = main(["ear", task, "--seed", "4"])
    told = capsys.readouterr().out

    kept = hearings()[0]
    assert (0, ANSWERS, ANSWERS + 1) == (code, kept.answers, len(typed))
    assert kept.low_ms is not None
    assert kept.high_ms is not None
    assert kept.low_ms <= 0.674 * 25 <= kept.high_ms
    assert f"of {kept.threshold_ms:.0f} ms in three of four cases" in told
    assert "19 to 24 ms" in told
    assert ("--pocket" in told) == (task == "side")


def test_who_guesses_is_told_that_it_could_not_be_measured(
    listener: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """Kept as such, and shown as such in the history."""
    listener(deaf=True)
    main(["ear", "side", "--seed", "5"])
    main(["ear", "history"])

    assert "could not be measured" in capsys.readouterr().out
    assert hearings()[0].threshold_ms is None


def test_training_says_right_or_wrong_and_keeps_nothing(
    listener: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """At a little more than was measured last."""
    listener(stop_after=10)
    keep_hearing(HearingTest(task="side", date="2026-03-02T18:00:00+01:00", threshold_ms=20.0, answers=64))

    assert 0 == main(["ear", "side", "--train", "--seed", "6"])
    told = capsys.readouterr().out

    assert "Training at 24 ms." in told
    assert "of 10 right." in told
    assert 1 == len(hearings())


def test_a_test_that_is_broken_off_keeps_nothing(
    listener: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """Fewer than half of the answers."""
    listener(stop_after=5)

    assert 0 == main(["ear", "side"])
    assert "Too few answers to tell" in capsys.readouterr().out
    assert not hearing_file().exists()


def test_nothing_measured_and_what_does_not_go_together(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line each."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path))

    codes = [
        main(words) for words in (["ear", "history"], ["ear", "history", "--train"], ["ear", "side", "--bars", "1"])
    ]
    told = capsys.readouterr()

    assert [0, 2, 2] == codes
    assert "Nothing was measured yet" in told.out
    assert "history takes nothing else" in told.err
    assert "--bars goes with a take" in told.err


def test_bars_without_strokes_teach_no_ear(quarters: Heard) -> None:
    """A rest is refused."""
    resting = replace(quarters, notes=quarters.notes.pick(quarters.notes.onset_us > 8 * 500_000))

    with pytest.raises(InputFileError, match="hardly a stroke in bars 1-2"):
        material_of(resting, 1, 2)
