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
        (Calibration(False, 0.0, None, "none"), "is not known", "feel offset"),
        (Calibration(False, 0.0, None, "feel"), "A feel offset judges nothing.", "taken away"),
        (Calibration(True, 31.3, 0.52, "microphone"), "31 ms (microphone, give or take 0.5 ms) was", "not known"),
        (Calibration(True, 12.0, None, "given"), "A delay of 12 ms (given) was taken away.", "give or take"),
        (Calibration(True, 0.0, 2.0, "same-path"), "share one path: nothing was taken away, give or take 2.0", "known"),
        (Calibration(True, 0.0, None, "given"), "minus is early", "taken away"),
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
    plain, sure, unsure, unknown = (
        " ".join(render(replace(result, calibration=one)).split()).split("On average ")[1].split(" over ")[0]
        for one in (
            result.calibration,
            Calibration(True, 0.0, 0.5, "microphone"),
            Calibration(True, 0.0, 20.0, "microphone"),
            Calibration(False, 0.0, 20.0, "feel"),
        )
    )

    assert plain == unknown
    assert plain.replace("early),", "early, the delay's own give or take 0.5 ms in it),") == sure
    assert "ms early to" in unsure
    assert "late, the delay's own give or take 20.0 ms in it)" in unsure
