"""The journal: exact, cheap, and readable after any kind of end."""

import json
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.errors import TakeFileError
from heeltap.files.takes.journal import FORMAT, Gap, JournalWriter, read_journal
from tests.makers.amounts import amount


def _written(path: Path) -> Path:
    with JournalWriter(path, {"zero_ns": 10_000_000_000, "exercise": "anchor-2"}) as writer:
        writer.click(0, 0, 41)
        writer.message(10_018_000_001, 0.0, [0x90, 60, 90], "Pad é")
        writer.message(10_118_000_002, 0.1, bytes([0x80, 60, 0]))
        writer.gap("lost", 12_500_000_000)
    return path


def test_comes_back_to_the_nanosecond(tmp_path: Path) -> None:
    """Everything that was written is read back exactly."""
    journal = read_journal(_written(tmp_path / "j.jsonl"))

    assert journal.arrival_ns.tolist() == [10_018_000_001, 10_118_000_002]
    assert journal.delta_s.tolist() == [0.0, 0.1]
    assert (bytes([0x90, 60, 90]), bytes([0x80, 60, 0])) == journal.data
    assert journal.port == ("Pad é", "")
    assert (
        journal.click_index.tolist(),
        journal.click_due_us.tolist(),
        journal.click_sent_us.tolist(),
    ) == ([0], [0], [41])
    assert (Gap("lost", 12_500_000_000),) == journal.gaps
    assert (
        journal.zero_ns,
        journal.header["exercise"],
        journal.bad_lines,
        journal.closed,
    ) == (10_000_000_000, "anchor-2", 0, True)


def test_every_line_is_plain_json(tmp_path: Path) -> None:
    """Another program can read each line by itself, with the times in seconds too."""
    lines = [json.loads(line) for line in _written(tmp_path / "j.jsonl").read_text("utf-8").splitlines()]

    assert lines[0]["format"] == FORMAT
    assert lines[0]["t0"] == 10.0
    assert lines[2] == {"t": 10.018000001, "bytes": [144, 60, 90], "dt": 0.0, "t_ns": 10_018_000_001, "port": "Pad é"}


def test_flushed_lines_are_there_without_a_close(tmp_path: Path) -> None:
    """What was flushed survives a writer that never comes back."""
    writer = JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0})
    writer.message(1, 0.0, [0x90, 60, 90])
    writer.flush(wait=True)
    writer.message(2, 0.0, [0x80, 60, 0])

    journal = read_journal(tmp_path / "j.jsonl")
    writer.close()

    assert (journal.arrival_ns.tolist(), journal.closed) == ([1], False)


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_torn_last_line_costs_only_itself(tmp_path: Path, cut: int) -> None:
    """A journal that ends inside a line gives everything before it."""
    path = _written(tmp_path / "j.jsonl")
    whole = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(whole[:3]) + whole[3][:cut])

    journal = read_journal(path)

    assert (journal.arrival_ns.tolist(), journal.bad_lines, journal.closed) == ([10_018_000_001], 1, False)


def test_garbage_lines_are_counted_and_skipped(tmp_path: Path) -> None:
    """Noise between the lines is counted; what is around it is kept."""
    path = _written(tmp_path / "j.jsonl")
    first, *rest = path.read_bytes().splitlines(keepends=True)
    noise = [
        b"\xff\xfe\x00\n",
        b"[" * 100_000 + b"\n",
        b'{"t":1e400,"bytes":[144,60,1]}\n',
        b'{"bytes":[144,60,1]}\n',
        b'{"t":1.0,"bytes":[300]}\n',
        b'{"t":NaN,"bytes":[1]}\n',
        b'{"t_ns":99999999999999999999,"bytes":[1]}\n',
    ]
    path.write_bytes(first + b"".join(noise) + b"".join(rest))

    journal = read_journal(path)

    assert (len(noise), 2) == (journal.bad_lines, len(journal))


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n",
        b"[]\n",
        b"MThd\x00\x00",
        b'{"format":"other/1"}\n',
        b'{"t0":"x"}\n',
        b'{"t0":1e99}\n',
        b"[" * 100_000,
    ],
)
def test_says_what_is_not_a_journal(tmp_path: Path, content: bytes) -> None:
    """A file without a header is one clear error that names it."""
    path = tmp_path / "j.jsonl"
    path.write_bytes(content)

    with pytest.raises(TakeFileError, match=r"j\.jsonl"):
        read_journal(path)


def test_never_writes_over_an_older_journal(tmp_path: Path) -> None:
    """An existing file is left alone."""
    path = _written(tmp_path / "j.jsonl")
    before = path.read_bytes()

    with pytest.raises(TakeFileError, match="cannot be created"):
        JournalWriter(path, {})

    assert before == path.read_bytes()


def test_a_missing_journal_is_an_error_of_ours(tmp_path: Path) -> None:
    """A path without a file is said in one line."""
    with pytest.raises(TakeFileError, match="cannot be read"):
        read_journal(tmp_path / "none.jsonl")


def test_a_failing_disk_is_remembered_and_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails loses nothing once the disk works again."""
    writer = JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0})
    writer.message(1, 0.0, [0x90, 60, 90])

    with monkeypatch.context() as broken:
        broken.setattr("os.write", _no_space)
        writer.flush(wait=True)
    fault = writer.fault
    writer.close()

    assert f"the disk is full, so the take is not whole in {tmp_path}/j.jsonl" == fault
    assert writer.fault is None  # all of it was written at last
    assert [1] == read_journal(tmp_path / "j.jsonl").arrival_ns.tolist()


def test_what_a_full_disk_does_not_take_waits_in_memory_up_to_a_limit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beyond the limit lines are left out, and the journal says for good that it is not whole."""
    monkeypatch.setattr("heeltap.files.takes.disk.KEPT_BYTES", 300)
    writer = JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0})
    with monkeypatch.context() as broken:
        broken.setattr("os.write", _no_space)
        for n in range(1, 20):
            writer.message(n, 0.0, [0x90, 60, 90])
            writer.flush(wait=True)
    writer.close()
    kept = read_journal(tmp_path / "j.jsonl").arrival_ns.tolist()

    assert list(range(1, len(kept) + 1)) == kept
    assert 2 <= len(kept) <= 5
    assert writer.fault is not None


def test_the_caller_never_waits_for_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a sync hangs, messages are taken and flushed at once; when it is over they are all written, in order."""
    writer = JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0})
    syncing, over = threading.Event(), threading.Event()

    def hanging(_: int) -> None:
        syncing.set()
        over.wait(10)

    monkeypatch.setattr("os.fsync", hanging)
    writer.message(2_000_000_000, 0.0, [0x90, 60, 90])
    writer.flush()
    assert syncing.wait(10)
    for n in range(1, 50):
        writer.message(2_000_000_000 + n, 0.0, [0x90, 60, 90])
        writer.flush()
    written = len(read_journal(tmp_path / "j.jsonl"))
    over.set()
    writer.close()

    assert written == 1
    assert read_journal(tmp_path / "j.jsonl").arrival_ns.tolist() == [2_000_000_000 + n for n in range(50)]


def _no_space(*_: object) -> int:
    raise OSError(28, "No space left on device")


@given(
    rows=st.lists(
        st.tuples(
            st.integers(0, 2**62), st.floats(0, 1e6), st.lists(st.integers(0, 255), min_size=1, max_size=8), st.text()
        ),
        max_size=8,
    )
)
@settings(max_examples=amount(60, fast=15))
def test_any_message_comes_back(tmp_path_factory: pytest.TempPathFactory, rows: list[tuple]) -> None:
    """Any time, delta, bytes and port name survive the file."""
    path = tmp_path_factory.mktemp("journal") / "j.jsonl"
    with JournalWriter(path, {"zero_ns": 5}) as writer:
        for arrival_ns, delta_s, data, port in rows:
            writer.message(arrival_ns, delta_s, data, port)
    journal = read_journal(path)

    columns = (journal.arrival_ns.tolist(), journal.delta_s.tolist(), map(list, journal.data), journal.port)
    back = list(zip(*columns, strict=True))

    assert [(a, d, list(b), p) for a, d, b, p in rows] == back


@pytest.mark.outside
def test_reads_recorded_driver_traces(midi_cases: Path) -> None:
    """Traces of real drivers' habits are journals too: every message with its time, its delta and its port."""
    journal = read_journal(midi_cases / "live" / "port_lost_and_back_new_number.jsonl")

    assert (journal.zero_ns, len(journal), journal.bad_lines) == (10_000_000_000, 20, 0)
    assert (int(journal.arrival_ns[2]), float(journal.delta_s[2])) == (10_512_500_000, 0.4125)
    assert {"Pad:Pad MIDI 1 20:0", "Pad:Pad MIDI 1 28:0"} == set(journal.port)
