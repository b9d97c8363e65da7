"""The scripted player: due messages at exact deltas, cables that can be pulled."""

from hypothesis import given
from hypothesis import strategies as st

from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.model.notes import make_notes


class Now:
    """A clock that stands where it is put."""

    ns = 0

    def __call__(self) -> int:
        """Where it stands."""
        return self.ns


def test_messages_come_when_they_are_due() -> None:
    """Nothing before zero is known; then each at its moment, with the exact seconds since the one before."""
    now = Now()
    port = FakeInPort(script_from_notes(make_notes([-1000, 500, 500], [60, 61, 62], [1, 2, 3])), now)
    now.ns = 10_000_000

    assert port.poll() is None
    port.begin(10_000_000)
    assert (b"\x90\x3c\x01", 0.0) == port.poll()
    assert 9_000_000 == port.stamped_ns
    assert port.poll() is None
    now.ns += 500_000
    assert (b"\x90\x3d\x02", 0.0015) == port.poll()
    assert (b"\x90\x3e\x03", 0.0) == port.poll()
    assert 10_500_000 == port.stamped_ns
    assert port.poll() is None


def test_pulled_cable_swallows_what_was_due() -> None:
    """What is played while the cable is out never comes; what follows does."""
    now = Now()
    port = FakeInPort(script_from_notes(make_notes([0, 100, 200, 300], [60, 61, 62, 63])), now)
    port.begin(0)
    port.lose()
    lost = (port.connected(), port.returned(), port.poll())
    now.ns = 200_000
    port.lose(False)
    now.ns = 300_000

    assert (False, False, None) == lost
    assert (b"\x90\x3f\x40", 0.0001) == port.poll()
    assert port.connected()


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(60, 62), st.integers(-1, 60)), max_size=30))
def test_script_holds_every_note(rows: list[tuple[int, int, int]]) -> None:
    """One note-on a note in time order, one note-off a note that has an end, none before its own note-on."""
    rows.sort(key=lambda row: row[0])
    notes = make_notes([r[0] for r in rows], [r[1] for r in rows], duration_us=[r[2] for r in rows])
    script = script_from_notes(notes)
    ons = [(at, m[1]) for at, m in zip(script.due_us.tolist(), script.messages, strict=True) if m[0] == 0x90]
    open_keys: list[int] = []
    for message in script.messages:
        if message[0] == 0x90:
            open_keys.append(message[1])
        else:
            open_keys.remove(message[1])  # raises if it never began

    assert [row[:2] for row in rows] == ons
    assert len(rows) + sum(row[2] >= 0 for row in rows) == len(script)


def test_fake_output_remembers() -> None:
    """Each message with its moment."""
    now = Now()
    port = FakeOutPort(now)
    now.ns = 7
    port.send(b"\xf8")
    port.close()

    assert [(7, b"\xf8")] == port.sent
    assert port.closed
