"""The clock: it never runs back, waits to the moment, and the fake one costs no time."""

from heeltap.clock import FakeClock, SystemClock, wall_now


def test_waiting_never_ends_early() -> None:
    """Neither sleeping nor waiting comes back before the moment."""
    clock = SystemClock()
    for wait in (clock.sleep_until_ns, clock.wait_until_ns):
        for ahead_ns in (3_000_000, 50_000, 0, -1_000_000):
            due = clock.now_ns() + ahead_ns
            wait(due)

            assert clock.now_ns() >= due


def test_fake_clock_jumps_and_tells() -> None:
    """Waiting moves it on at once, never back, and whoever asked is told."""
    told: list[int] = []
    clock = FakeClock(100, on_wait=told.append)
    clock.sleep_until_ns(250)
    clock.wait_until_ns(200)
    clock.advance(5)

    assert 255 == clock.now_ns()
    assert [250, 250] == told


def test_wall_clock_knows_its_offset() -> None:
    """A take's date can be read anywhere."""
    assert wall_now().utcoffset() is not None
