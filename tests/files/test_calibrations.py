"""The store of calibrations and self-tests."""

import os
from pathlib import Path

import msgspec
import pytest

from heeltap.errors import StoreError
from heeltap.files.calibrations import (
    Calibrated,
    Selftested,
    calibration_file,
    calibrations,
    forget_calibrations,
    keep_calibration,
    keep_selftest,
    selftest_file,
    selftests,
)


def a_row(
    in_port: str = "Pad", out_port: str = "Module", method: str = "microphone", delay_ms: float = 12.5
) -> Calibrated:
    """A calibration."""
    return Calibrated(
        in_port=in_port,
        out_port=out_port,
        method=method,
        delay_ms=delay_ms,
        uncertainty_ms=0.6,
        date="2026-01-02T03:04:05+01:00",
        buffer="128 frames at 48000 Hz",
        n=23,
        spread_ms=0.4,
    )


def a_test(in_port: str = "virtual", *, trusted: bool = True) -> Selftested:
    """A self-test."""
    return Selftested(
        in_port=in_port,
        out_port=in_port,
        loop="virtual" if in_port == "virtual" else "ports",
        summary="stamps stray 0.3 ms",
        trusted=trusted,
        stamp_p99_ms=0.3,
        click_p99_ms=0.1,
        date="2026-01-02T03:04:05+01:00",
        report={"sent": 800},
    )


def test_nothing_is_kept_at_first() -> None:
    """Without files there is nothing, and asking makes no folder."""
    assert [] == calibrations() == selftests()
    assert not calibration_file().parent.exists()


def test_newest_first_and_one_a_pair_of_ports() -> None:
    """A later calibration of the same ports takes the place of the earlier one; others stay."""
    keep_calibration(a_row(delay_ms=1.0))
    keep_calibration(a_row("Keys"))
    keep_calibration(a_row(delay_ms=2.0))

    assert [("Pad", 2.0), ("Keys", 12.5)] == [(row.in_port, row.delay_ms) for row in calibrations()]


def test_feel_offset_replaces_no_calibration() -> None:
    """The two are kept side by side, whichever came first."""
    keep_calibration(a_row())
    keep_calibration(a_row(method="feel", delay_ms=-30.0))
    keep_calibration(a_row(method="same-path", delay_ms=0.0))
    keep_calibration(a_row(method="feel", delay_ms=-25.0))

    assert [("feel", -25.0), ("same-path", 0.0)] == [(row.method, row.delay_ms) for row in calibrations()]


def test_everything_comes_back_as_it_was_kept() -> None:
    """Every field, through the file."""
    keep_calibration(a_row())
    keep_selftest(a_test())

    assert [a_row()] == calibrations()
    assert [a_test()] == selftests()


@pytest.mark.parametrize(
    ("in_port", "out_port", "left"),
    [(None, None, []), ("pad", None, ["Keys"]), (None, "Mod", []), ("Keys", "nowhere", ["Keys", "Pad"])],
)
def test_forgetting(in_port: str | None, out_port: str | None, left: list[str]) -> None:
    """All, or those whose ports begin with the names."""
    keep_calibration(a_row())
    keep_calibration(a_row("Keys"))

    assert 2 - len(left) == forget_calibrations(in_port, out_port)
    assert left == [row.in_port for row in calibrations()]


def test_fifty_are_remembered() -> None:
    """The oldest go."""
    for number in range(55):
        keep_calibration(a_row(f"Pad {number}"))

    assert (50, "Pad 54", "Pad 5") == (len(calibrations()), calibrations()[0].in_port, calibrations()[-1].in_port)


def test_unknown_fields_are_ignored() -> None:
    """Fields that a later heeltap added within the version cost nothing."""
    keep_calibration(a_row())
    path = calibration_file()
    document = msgspec.json.decode(path.read_bytes())
    document["rows"][0]["colour"] = "green"
    path.write_bytes(msgspec.json.encode(document))

    assert [a_row()] == calibrations()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "damaged"),
        ("[]", "damaged"),
        ('{"format":"heeltap.calibration/1"}', "damaged"),
        ('{"format":"heeltap.calibration/1","rows":[{"in_port":1}]}', "damaged"),
        ('{"format":"heeltap.calibration/2","rows":[]}', "newer heeltap"),
        ('{"format":"something else","rows":[]}', "something else"),
        ("\udcff", "damaged"),
    ],
)
def test_damaged_or_newer_is_one_line(text: str, words: str) -> None:
    """What cannot be read is said with its path, and is not written over."""
    path = calibration_file()
    path.parent.mkdir(parents=True)
    path.write_bytes(text.encode("utf-8", "surrogateescape"))

    with pytest.raises(StoreError, match=words) as caught:
        keep_calibration(a_row())

    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert text.encode("utf-8", "surrogateescape") == path.read_bytes()


@pytest.mark.skipif(os.name == "nt" or os.getuid() == 0, reason="folders without permission: not for root or Windows")
def test_unwritable_home_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that may not be written is said."""
    tmp_path.chmod(0o500)
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))

    with pytest.raises(StoreError, match="cannot be written"):
        keep_selftest(a_test())


def test_home_that_is_a_file_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So is a home that is no folder."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "file" / "home"))

    with pytest.raises(StoreError, match="cannot be"):
        keep_selftest(a_test())


def test_nothing_lies_beside_the_file() -> None:
    """The half-written file is gone after the move."""
    keep_selftest(a_test())

    assert [selftest_file()] == list(selftest_file().parent.iterdir())
