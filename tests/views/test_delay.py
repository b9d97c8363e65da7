"""What the report says about the delay between finger and number."""

from dataclasses import replace
from pathlib import Path

import pytest

from heeltap import score_file
from heeltap.model.result import Calibration
from heeltap.views.text import render

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.mark.parametrize(
    ("calibration", "said", "unsaid"),
    [
        (Calibration(False, 0.0, None, "none"), "does not know the delay", "feel offset"),
        (Calibration(False, 0.0, None, "feel"), "A feel offset does not change that.", "took"),
        (
            Calibration(True, 31.3, 0.52, "microphone"),
            "31 ms away (measured with a microphone, give or take 0.5 ms)",
            "not know",
        ),
        (
            Calibration(True, 12.0, None, "given"),
            "heeltap took a delay of 12 ms away (the one that you gave).",
            "give or take",
        ),
        (
            Calibration(True, 0.0, 2.0, "same-path"),
            "through the same output, so heeltap took no delay away, give or take 2.0",
            "know",
        ),
        (Calibration(True, 0.0, None, "given"), "Minus is early", "took"),
    ],
)
def test_delay_in_words(calibration: Calibration, said: str, unsaid: str) -> None:
    """How it was found and how sure it is; a feel offset is never called a delay."""
    result = score_file(DEMO / "tollgate-road-take-1.mid", part="keys", plan=DEMO / "tollgate-road.mid", delay_ms=0)
    text = " ".join(render(replace(result, calibration=calibration)).split())

    assert said in text
    assert unsaid not in text


def test_the_average_says_what_the_delay_adds() -> None:
    """The interval beside early or late holds the delay's own uncertainty; the number in the result stays the playing's."""
    result = score_file(DEMO / "tollgate-road-take-1.mid", part="keys", plan=DEMO / "tollgate-road.mid", delay_ms=0)
    plain, sure, unsure = (
        " ".join(render(replace(result, calibration=one)).split())
        .split("you usually average ")[1]
        .split(" and spread ")[0]
        for one in (
            result.calibration,
            Calibration(True, 0.0, 0.5, "microphone"),
            Calibration(True, 0.0, 20.0, "microphone"),
        )
    )

    assert f"{plain}, with the delay's 0.5 ms give or take" == sure
    assert "ms early to" in unsure
    assert "late, with the delay's 20.0 ms give or take" in unsure


def test_an_unknown_delay_is_part_of_the_average() -> None:
    """Early is then what arrives, gear and all; of the player only the spread is told."""
    result = score_file(DEMO / "tollgate-road-take-1.mid", part="keys", plan=DEMO / "tollgate-road.mid")
    text = " ".join(render(result).split())

    assert "On average your strokes arrive 10 ms early, with your gear's own delay in that" in text
    assert "Going by this take alone you usually spread by" in text
    assert "press u on the screens or type heeltap calibrate, two minutes" in text
