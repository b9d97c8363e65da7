"""What a loop says, from journals whose faults are known."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.engine.records import NOT_SENT_US
from heeltap.files.takes.journal import Journal
from heeltap.gear.selftest import (
    NOTES,
    TRUSTED_MS,
    LoopReport,
    Spread,
    loop_schedule,
    measure_loop,
    summary,
    verdict,
)

ZERO_NS = 5_000_000_000


def a_journal(
    rng: np.random.Generator,
    *,
    notes: int = 200,
    late_ms: float = 0.02,
    way_ms: float = 1.5,
    jitter_ms: float = 0.05,
    poll_ms: float = 1.0,
    drift: float = 0.0,
    lose: tuple[int, ...] = (),
    double: tuple[int, ...] = (),
    swap: tuple[int, ...] = (),
    whole_ms: bool = False,
    jump_at: int | None = None,
    not_sent: tuple[int, ...] = (),
) -> Journal:
    """What the engine would have written: the driver stamps each note when it arrives, we drain it up to a poll later."""
    schedule = loop_schedule(rng, notes)
    due = schedule.due_us[::2]
    sent = due + np.rint(1000 * late_ms * rng.random(notes)).astype(np.int64)
    rows: list[tuple[int, bytes]] = []
    for i in range(notes):
        if i in lose or i in not_sent:
            continue
        at_ns = ZERO_NS + int(sent[i]) * 1000 + round(1e6 * (way_ms + jitter_ms * rng.random()))
        rows += [(at_ns, schedule.messages[2 * i])] * (1 + (i in double))
    for i in swap:
        rows[i], rows[i + 1] = (rows[i][0], rows[i + 1][1]), (rows[i + 1][0], rows[i][1])
    at = np.array([row[0] for row in rows], dtype=np.int64)
    driver = (at - ZERO_NS) * (1 + drift)
    if jump_at is not None:
        driver[jump_at:] -= 400e6
    delta = np.diff(driver, prepend=driver[:1]) / 1e9
    if whole_ms:
        delta = np.diff(np.floor(driver / 1e6), prepend=np.floor(driver[:1] / 1e6)) / 1e3
    arrival = np.maximum.accumulate(at + np.rint(1e6 * poll_ms * rng.random(at.size)).astype(np.int64) + 20_000)
    sent = np.where(np.isin(np.arange(notes), not_sent), NOT_SENT_US, sent)
    return Journal(
        {},
        ZERO_NS,
        arrival,
        delta,
        tuple(row[1] for row in rows),
        ("loop",) * len(rows),
        2 * np.arange(notes),
        due,
        sent,
        np.full(notes, -1),
        (),
        0,
        True,
    )


def measured(journal: Journal, **change: Any) -> LoopReport:
    """The report of a journal."""
    rest: dict[str, Any] = {
        "loop": "ports",
        "in_port": "in",
        "out_port": "out",
        "scheduler": "",
        "real_time": True,
        "load": 0.5,
    }
    return measure_loop(journal, **(rest | change))


def test_every_note_carries_its_number(rng: np.random.Generator) -> None:
    """All messages of a self-test differ, all are whole notes on channel 16, each off before the next on."""
    schedule = loop_schedule(rng)
    notes = schedule.messages[::2]

    assert NOTES == len(set(notes)) == len(notes)
    assert all(message[0] == 0x9F and 0 < message[2] < 128 and message[1] < 128 for message in notes)
    assert all(message[0] == 0x8F for message in schedule.messages[1::2])
    assert ("click", "off") == schedule.kind[:2]
    assert 10 < schedule.end_us / 1e6 < 20
    assert (np.diff(schedule.due_us) >= 3_000).all()


def test_good_loop(rng: np.random.Generator) -> None:
    """Lateness, way and scatter are those that were put in; the polls' millisecond is not in them."""
    report = measured(a_journal(rng, notes=600, late_ms=0.2, way_ms=1.5, jitter_ms=0.4))

    assert (600, 0, 0, 0, 0, 0) == (
        report.sent,
        report.lost,
        report.doubled,
        report.swapped,
        report.strange,
        report.jumps,
    )
    assert report.late_ms is not None
    assert report.stamp_ms is not None
    assert report.echo_ms is not None
    assert report.late_ms.median == pytest.approx(0.1, abs=0.02)
    assert report.late_ms.max <= 0.2
    assert report.trip_ms == pytest.approx(1.7, abs=0.05)
    assert report.stamp_ms.max == pytest.approx(0.2, abs=0.02)
    assert 0.2 < report.echo_ms.max < 0.35
    assert report.trusted
    assert f"numbers to {report.echo_ms.p99:.2f} ms (99 of 100 notes)" in verdict(report)


def test_lost_doubled_swapped_and_strange_notes_are_told_apart(rng: np.random.Generator) -> None:
    """Each is counted as what it is, and one lost note is enough for no trust."""
    journal = a_journal(rng, lose=(17, 90), double=(40,), swap=(120,))
    extra = replace(
        journal,
        data=(*journal.data, b"\x90\x3c\x40", b"\xf8"),
        delta_s=np.append(journal.delta_s, [0.01, 0.01]),
        arrival_ns=np.append(journal.arrival_ns, journal.arrival_ns[-1] + np.array([10_000_000, 20_000_000])),
        port=("loop",) * (len(journal.data) + 2),
    )
    report = measured(extra)

    assert (2, 1, 1, 1) == (report.lost, report.doubled, report.swapped, report.strange)
    assert not report.trusted
    assert "it lost 2 of 200 notes" in verdict(report)
    assert summary(report).endswith("do not trust it")


def test_lateness_counts_for_both_together_only(rng: np.random.Generator) -> None:
    """Notes that leave up to 2 ms late make no stamp stray, but an exact player would be charged with them."""
    report = measured(a_journal(rng, notes=600, late_ms=2.0, jitter_ms=0.1))

    assert report.stamp_ms is not None
    assert report.echo_ms is not None
    assert report.stamp_ms.max < 0.1
    assert 0.9 < report.echo_ms.max < 1.2


@pytest.mark.parametrize("drift_ppm", [-80.0, 0.0, 150.0])
def test_drift_of_the_drivers_clock(rng: np.random.Generator, drift_ppm: float) -> None:
    """A driver's clock that runs off is told in parts per million, with an interval that holds the truth, and spoils no
    stamp."""
    report = measured(a_journal(rng, notes=600, drift=drift_ppm * 1e-6, jitter_ms=0.2))

    assert report.drift_ppm is not None
    assert report.drift_ci95_ppm is not None
    assert report.drift_ppm == pytest.approx(drift_ppm, abs=5)
    assert report.drift_ci95_ppm[0] < report.drift_ppm < report.drift_ci95_ppm[1]
    assert report.trusted


def test_whole_milliseconds_have_no_drift(rng: np.random.Generator) -> None:
    """A driver that cuts its deltas to whole milliseconds has no clock to judge; its stamps stray by a millisecond."""
    report = measured(a_journal(rng, whole_ms=True))

    assert report.drift_ppm is None
    assert report.stamp_ms is not None
    assert 0.2 < report.stamp_ms.p99 < 2
    assert report.trusted


def test_lost_time_is_counted(rng: np.random.Generator) -> None:
    """A driver's clock that loses 400 ms jumped once; its drift is told from the longer side."""
    report = measured(a_journal(rng, jump_at=60))

    assert 1 == report.jumps
    assert report.drift_ppm == pytest.approx(0, abs=30)
    assert report.trusted


@pytest.mark.parametrize("change", [{"late_ms": 20.0}, {"jitter_ms": 15.0}])
def test_beyond_three_milliseconds_is_not_trusted(rng: np.random.Generator, change: dict[str, float]) -> None:
    """One note in a hundred beyond 3 ms, late or straying, is enough; the sentence says which."""
    report = measured(a_journal(rng, **change))

    assert not report.trusted
    assert "You cannot trust" in verdict(report)
    assert ("leave" if "late_ms" in change else "is off by") in verdict(report)


def test_limit_is_three_milliseconds(rng: np.random.Generator) -> None:
    """Exactly at the limit is trusted, a little beyond is not."""
    report = measured(a_journal(rng))
    at, beyond = (replace(report, stamp_ms=Spread(0.1, 1.0, p99, 9.0)) for p99 in (TRUSTED_MS, TRUSTED_MS + 0.01))

    assert (True, False) == (at.trusted, beyond.trusted)


def test_notes_that_never_left_are_not_lost(rng: np.random.Generator) -> None:
    """Clicks that the engine did not send are not counted as sent."""
    report = measured(a_journal(rng, not_sent=(3, 4)))

    assert (198, 0) == (report.sent, report.lost)


def test_nothing_came_back(rng: np.random.Generator) -> None:
    """An open cable is said as such; no number is made up."""
    journal = a_journal(rng, lose=tuple(range(200)))
    report = measured(journal)

    assert (200, 200) == (report.sent, report.lost)
    assert report.echo_ms is report.stamp_ms is report.trip_ms is report.drift_ppm is None
    assert "Nothing came back" in verdict(report)
    assert "stray" not in summary(report)


def test_fault_is_the_verdict(rng: np.random.Generator) -> None:
    """What broke is what is said."""
    report = measured(a_journal(rng), fault="the device went away")

    assert not report.trusted
    assert "the device went away" in verdict(report)


@pytest.mark.parametrize(
    ("loop", "words"),
    [("inside", "You can trust the engine's own numbers"), ("virtual", "You can trust this computer's")],
)
def test_verdict_says_what_was_tested(rng: np.random.Generator, loop: str, words: str, tmp_path: Path) -> None:
    """A loop inside heeltap speaks for the engine only."""
    assert verdict(measured(a_journal(rng), loop=loop)).startswith(words)
