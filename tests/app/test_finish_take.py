"""From a journal to a finished take: stamps, gaps, late clicks, and what of it is said beside the numbers."""

import json
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.takes.finish_take import finish_take, played_of
from heeltap.app.takes.left_out_of import left_out_of
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.engine.records import NOT_SENT_US
from heeltap.files.takes.folder import load_take, open_take
from heeltap.files.takes.journal import JournalWriter, read_journal
from heeltap.files.takes.metadata import Context, LeftOut, plan_out
from tests.makers.drills import counted_plan

ZERO_NS = 50_000_000_000

MS = 1_000_000


def write_journal(
    path: Path,
    played_ms: list[float],
    *,
    gaps: list[tuple[str, int]] = (),  # type: ignore[assignment]
    late: dict[int, int] | None = None,
    keys: dict[int, int] | None = None,
    beats: int = 16,
) -> None:
    """Notes at these times, clicks every 500 ms (some so many ms late), gaps at these milliseconds."""
    with JournalWriter(path, {"zero_ns": ZERO_NS}) as writer:
        for beat in range(-4, beats):
            writer.click(
                beat + 4, beat * 500_000, beat * 500_000 + 1000 * (late or {}).get(beat, 0), (keys or {}).get(beat, 76)
            )
        events = sorted([(ms, "") for ms in played_ms] + [(ms, kind) for kind, ms in gaps])
        before = events[0][0] if events else 0
        for ms, kind in events:
            if kind:
                writer.gap(kind, ZERO_NS + round(ms * MS))
            else:
                writer.message(ZERO_NS + round(ms * MS), (ms - before) / 1000, [0x99, 38, 90], "Pad")
                before = ms


def finished(tmp_path: Path, out_port: str = "Synth", heard: str = "", **journal: object) -> Path:
    """A kept take of four bars of quarters at 120 bpm."""
    plan = counted_plan(["1 2 3 4"] * 4)
    context = Context(
        heeltap="0", name="quarters", plan=plan_out(plan), count_in_us=2_000_000, out_port=out_port, heard=heard
    )
    take = open_take(tmp_path, context)
    write_journal(take.journal, **journal)
    return finish_take(take, context, ending="played")


def test_strokes_beside_a_late_click_are_left_out_and_said(tmp_path: Path) -> None:
    """A click 9 ms late takes the note on its beat out of the score, one 4 ms late nothing; the rest is judged."""
    folder = finished(tmp_path, played_ms=[500.0 * n + 3 for n in range(16)], late={5: 9, 10: 4})

    result = score_kept(folder)

    assert (result.counts.planned, result.counts.matched, result.counts.extra) == (15, 15, 0)
    assert (2, 2.0) not in {(note.bar, note.beat) for note in result.notes}
    assert [w for w in result.warnings if "click" in w] == [
        "1 click left 5 ms late or more; heeltap left out the strokes beside them (bar 2)"
    ]


@pytest.mark.parametrize(
    ("heard", "key", "planned"),
    [("beat:plain", 42, 16), ("beat:plain", 36, 15), ("part:drums", 38, 15), ("part:drums", 51, 16), ("", 42, 15)],
)
def test_a_late_hat_moves_nobody(tmp_path: Path, heard: str, key: int, planned: int) -> None:
    """With drums only kick and snare guide the player; a click of our own does, whatever its key."""
    folder = finished(tmp_path, heard=heard, played_ms=[500.0 * n for n in range(16)], late={5: 9}, keys={5: key})

    assert planned == score_kept(folder).counts.planned


def test_a_late_eighth_takes_the_eighth_only(tmp_path: Path) -> None:
    """Clicks on eighths, one off-beat 9 ms late: the stroke on that off-beat goes, those on the beats beside it stay."""
    plan = counted_plan(["1& 2& 3& 4&"] * 2)
    with JournalWriter(tmp_path / "j.jsonl", {"zero_ns": ZERO_NS}) as writer:
        for k in range(16):
            writer.click(k, k * 250_000, k * 250_000 + (9_000 if k == 5 else 0))

    (span,), clicks = left_out_of(read_journal(tmp_path / "j.jsonl"), plan, heard="")

    assert [1_250_000] == [us for us in plan.at_us.tolist() if span.from_us <= us < span.to_us]
    assert (1, 0) == tuple(clicks)


def test_clicks_that_never_left_are_unsent_not_late(tmp_path: Path) -> None:
    """An output that was away for two beats: said as clicks that never sounded."""
    gone = (NOT_SENT_US // 1000) + 1
    folder = finished(tmp_path, played_ms=[500.0 * n for n in range(16)], late={6: gone, 7: gone})

    result = score_kept(folder)

    assert (14, 0) == (result.counts.planned, result.counts.missed)
    assert [w for w in result.warnings if "click" in w] == [
        "2 clicks never sounded; heeltap left out the strokes beside them (bar 2)"
    ]


def test_a_silent_click_cannot_come_late(tmp_path: Path) -> None:
    """Where nobody hears the click, nothing is left out for it."""
    folder = finished(tmp_path, out_port="", played_ms=[500.0 * n for n in range(16)], late={5: 9})

    assert score_kept(folder).counts.planned == 16


def test_a_click_that_is_always_late_is_said_and_all_is_kept(tmp_path: Path) -> None:
    """Leaving out more than a quarter of the strokes would leave too little to judge."""
    folder = finished(tmp_path, played_ms=[500.0 * n for n in range(16)], late=dict.fromkeys(range(10), 5))

    result = score_kept(folder)

    assert result.counts.planned == 16
    assert any("10 clicks left 5 ms late or more; heeltap left no stroke out" in w for w in result.warnings)


def test_strokes_while_the_port_was_gone_are_left_out_and_said(tmp_path: Path) -> None:
    """From the loss to the return nothing is missed."""
    played = [500.0 * n for n in range(16) if not 6 <= n <= 9]
    folder = finished(tmp_path, played_ms=played, gaps=[("lost", 2_800), ("back", 4_700)])

    result = score_kept(folder)

    assert (result.counts.planned, result.counts.missed) == (12, 0)
    assert any("bars 2-3" in warning for warning in result.warnings)


def test_a_port_that_never_came_back_ends_the_judging(tmp_path: Path) -> None:
    """A gap without an end runs to the end of the take, and names no bar that the take has not."""
    folder = finished(tmp_path, played_ms=[500.0 * n for n in range(6)], gaps=[("lost", 2_800)])

    result = score_kept(folder)

    assert (result.counts.planned, result.counts.missed) == (6, 0)
    assert any("in bars 2-4 and" in warning for warning in result.warnings)
    assert [8_000_000] == [span.to_us for span in load_take(folder).context.left_out]


def test_a_suspended_program_is_nobodys_miss(tmp_path: Path) -> None:
    """Ctrl-Z in the middle: the engine notes a pause, those strokes are left out."""
    path = tmp_path / "journal.jsonl"
    write_journal(path, [0.0], gaps=[("pause", 1_000), ("resume", 2_500)])

    spans, clicks = left_out_of(read_journal(path), counted_plan(["1 2 3 4"]), heard="")

    assert (spans, tuple(clicks)) == ([LeftOut(1_000_000, 2_500_000, "lost")], (0, 0))


def test_ports_are_stamped_each_by_itself(tmp_path: Path) -> None:
    """Two ports with deltas of their own: neither disturbs the other's times."""
    path = tmp_path / "journal.jsonl"
    with JournalWriter(path, {"zero_ns": ZERO_NS}) as writer:
        for n in range(40):
            at_ns = ZERO_NS + n * 100_100_000 + (n * 7 % 5) * 100_000  # drained up to half a millisecond late
            writer.message(at_ns, 0.1001 if n else 0.0, [0x90, 60, 90], "Keys")
            writer.message(at_ns + 40 * MS, 0.1001 if n else 0.0, [0x99, 36, 90], "Pads")

    notes, _ = played_of(read_journal(path))

    assert notes.onset_us[notes.pitch == 60].tolist() == [n * 100_100 for n in range(40)]
    assert notes.onset_us[notes.pitch == 36].tolist() == [n * 100_100 + 40_000 for n in range(40)]


@pytest.mark.outside
@pytest.mark.parametrize(
    "name",
    ["first_delta_zero", "same_packet_repeated_delta", "wall_clock_jumps_back", "port_lost_and_back_new_number"],
)
def test_recorded_driver_traces_give_the_hits_that_were_played(midi_cases: Path, name: str) -> None:
    """What drivers do to deltas, packets, clocks and port numbers does not reach the notes."""
    expected = json.loads((midi_cases / "EXPECTED.json").read_text())["live_traces"]
    case = next(one for one in expected if one["file"] == f"live/{name}.jsonl")
    journal = read_journal(midi_cases / case["file"])
    beat_us = 60e6 / journal.header["bpm"]

    notes, _ = played_of(journal)

    wanted = [hit["beat"] * beat_us + hit["offset_ms"] * 1000 for hit in case["expected"]["hits"]]
    assert len(notes) == len(wanted)
    assert np.abs(notes.onset_us - np.array(wanted)).max() <= 1000 * case["expected"].get("tolerance_ms", 0.5)


@pytest.mark.outside
def test_a_raw_stream_is_put_together(midi_cases: Path) -> None:
    """Running status and real-time bytes between and inside messages: the notes come out all the same."""
    notes, _ = played_of(read_journal(midi_cases / "live" / "raw_stream_running_status.jsonl"))

    assert notes.pitch.tolist() == [60, 62, 64]
    assert (notes.duration_us >= 0).all()
