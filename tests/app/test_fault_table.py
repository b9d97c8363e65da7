"""What is said when something breaks in the middle of a take, and how soon; the guide's table is checked against it."""

import errno
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.run import STALLED
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import Record
from heeltap.model.notes import make_notes
from heeltap.session.events import dropped_words
from heeltap.session.from_records import NO_ENGINE, NO_OUTPUT, Presses, events_of, unwritten_words
from heeltap.session.handsfree import NO_CONTROLS
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import NO_INPUT, Begin, begin, step
from tests.app.test_run import a_drill
from tests.engine.test_process import Screen

GUIDE = Path(__file__).resolve().parents[2] / "docs" / "guide" / "troubleshooting.md"

BREAKS_US, MOST_S = 2_300_000, 2.0

SAID = {
    "an input goes": NO_INPUT,
    "the output goes": NO_OUTPUT,
    "the JACK server is killed": NO_OUTPUT,
    "the MIDI system drops a cycle": dropped_words(1),
    "the disk is full": unwritten_words(errno.ENOSPC),
    "the engine stands still": STALLED,
    "the engine is killed": NO_ENGINE,
}
"""Each fault, and what is said of it while you play."""


class Bench:
    """Fake ports whose faults a test makes, and a disk that it fills."""

    def __init__(self, clock: FakeClock) -> None:
        at = np.arange(0, 8_000_000, 250_000)
        script = script_from_notes(make_notes(at, np.full(at.size, 60)))
        self.source = FakeInPort(script, clock.now_ns, name="Pads")
        self.sound = FakeOutPort(clock.now_ns)
        self.full = False

    def jack_dies(self) -> None:
        """Both ports go at once."""
        self.source.lose()
        self.sound.lost = True

    def drop(self) -> None:
        """One cycle."""
        self.source.dropped = 1

    def pull(self) -> None:
        """The output's cable."""
        self.sound.lost = True

    def fill(self) -> None:
        """The disk."""
        self.full = True


FAULTS: dict[str, Callable[[Bench], None]] = {
    "an input goes": lambda bench: bench.source.lose(),
    "the output goes": Bench.pull,
    "the JACK server is killed": Bench.jack_dies,
    "the MIDI system drops a cycle": Bench.drop,
    "the disk is full": Bench.fill,
}
"""Those that need no second process; the others are timed in ``test_resilience``."""


def seconds_until_said(fault: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> float:
    """From the fault to the sentence, seconds of the engine's own clock."""
    what = a_drill(bars=8, bpm=240.0)
    broken: list[int] = []

    def breaks(now: int) -> None:
        if now - zero_ns >= BREAKS_US * 1000 and not broken:
            broken.append(now)
            FAULTS[fault](bench)

    class Watched(Screen):
        def send(self, record: Record) -> None:
            super().send(record)
            for event in events_of(record, presses):
                state[0] = step(state[0], event)[0]
            if broken and SAID[fault] in state[0].notice and not said:
                said.append(clock.now_ns())

    clock = FakeClock(on_wait=breaks)
    bench, presses, said = Bench(clock), Presses(NO_CONTROLS), []
    zero_ns = clock.now_ns() + 300_000_000 + what.count_in_us * 1000
    state = [step(begin(columns_of(what.plan)), Begin())[0]]
    monkeypatch.setattr(
        "heeltap.files.takes.journal.JournalWriter.fault_code", property(lambda _: bench.full * errno.ENOSPC)
    )
    spec = EngineSpec(what.schedule, journal=folder / "journal.jsonl")
    run_here(spec, clock, Watched(), inputs=[bench.source], output=bench.sound)
    return float(said[0] - broken[0]) / 1e9 if said else float("inf")


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_said_within_two_seconds(fault: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the middle of a take, in so many words, and not before it happened."""
    assert 0.0 <= seconds_until_said(fault, tmp_path, monkeypatch) <= MOST_S


def test_the_guide_says_what_heeltap_says() -> None:
    """Its table has each fault with its sentence, word for word, and no other."""
    rows = re.findall(r"^\| ([^|]+) \| \"([^|]+)\" \|", GUIDE.read_text(encoding="utf-8"), re.MULTILINE)

    assert list(SAID.items()) == rows
