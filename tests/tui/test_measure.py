"""What can be measured from the set-up screen: the ways there are, what each keeps, and being broken off."""

import multiprocessing
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import selftest as selftesting
from heeltap.app.route.run_engine import Progress
from heeltap.devices.systems import PortName
from heeltap.errors import PortError
from heeltap.files.calibrations import calibrations, selftests
from heeltap.gear.delay import LIMITS, Declined, Delay
from heeltap.gear.selftest import LoopReport, Spread
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.tui.screens import measure as measuring
from heeltap.tui.screens.measure import BrokenOff, Way, clock_ways, delay_ways
from heeltap.tui.screens.set_up import SetUp
from heeltap.views.bar_sheet import ASCII, UNICODE

GEAR = SetUp(inputs=("Pads",), outputs=("Synth",), in_use=("Pads",), click_to="Synth")


@pytest.fixture(autouse=True)
def _ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """One input and one output are plugged in."""
    names = [PortName("Pads", "Pads")], [PortName("Synth", "Synth")]
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)


def way(name: str, ways: tuple[Way, ...]) -> Way:
    """The way of this name."""
    return next(one for one in ways if one.name == name)


def silent(_: float) -> None:
    """Progress that nobody looks at."""


def a_report(**more: object) -> LoopReport:
    """A self-test that went well, unless told otherwise."""
    spread = Spread(0.02, 0.1, 0.19, 0.3)
    report = LoopReport(
        "ports", "Pads", "Synth", 800, 0, 0, 0, 0, spread, 0.22, spread, spread, 4.0, (-2.0, 10.0), 0,
        "the system's usual scheduling", real_time=False, load=0.4,
    )  # fmt: skip
    return replace(report, **more)


@pytest.mark.parametrize(
    "now", [SetUp(), SetUp(in_use=("keys",)), SetUp(in_use=("keys", "Pads"), click_to="Synth"), SetUp(in_use=("",))]
)
def test_the_keyboard_has_no_delay_to_measure(now: SetUp) -> None:
    """Nor has nothing at all: there are no ways."""
    assert () == delay_ways(now, UNICODE)


def test_a_device_has_four_ways() -> None:
    """Each with words of its own about what to do; the route is named where it is forgotten."""
    ways = delay_ways(GEAR, UNICODE)

    assert ["tap along", "microphone", "same path", "forget"] == [one.name for one in ways]
    assert 4 == len({one.how for one in ways})
    assert "Pads and Synth" in way("forget", ways).how
    assert "no output" in way("forget", delay_ways(replace(GEAR, click_to=None), UNICODE)).how


@pytest.mark.live
def test_same_path_is_kept_as_nothing_to_correct() -> None:
    """The row of these ports says 0 ms, and with what limits."""
    told = way("same path", delay_ways(GEAR, UNICODE)).measure(silent)
    (row,) = calibrations()

    assert ("Pads", "Synth", "same-path", 0.0) == (row.in_port, row.out_port, row.method, row.delay_ms)
    assert row.uncertainty_ms > 0
    assert "nothing to take away" in told[0]
    assert LIMITS["same-path"] == told[-1]


@pytest.mark.live
def test_the_glyphs_of_the_terminal_are_used() -> None:
    """Where there is no plus-minus sign the words have none."""
    told = way("same path", delay_ways(GEAR, ASCII)).measure(silent)

    assert all(line.isascii() for line in told)
    assert UNICODE.plus_minus in way("same path", delay_ways(GEAR, UNICODE)).measure(silent)[0]


@pytest.mark.live
def test_forget_drops_what_is_kept_for_these_ports_only() -> None:
    """It says how many; a second time there is nothing; another route stays."""
    other = replace(GEAR, in_use=("Keys",))
    for now in (GEAR, other):
        way("same path", delay_ways(now, UNICODE)).measure(silent)
    forget = way("forget", delay_ways(GEAR, UNICODE))

    assert ("Forgotten: 1.",) == forget.measure(silent)
    assert ("There was nothing to forget.",) == forget.measure(silent)
    assert ["Keys"] == [row.in_port for row in calibrations()]


@pytest.mark.live
def test_taps_are_kept_and_never_judge(monkeypatch: pytest.MonkeyPatch) -> None:
    """The feel offset of these ports, with how far it is told on the way."""
    shares = []

    def tapped(in_port: str, out_port: str | None, *, progress: Progress) -> Delay:
        progress(0.5)
        return Delay("feel", -21.5, 3.0, 40, 12.25)

    monkeypatch.setattr(calibrating, "tapped_delay", tapped)
    told = way("tap along", delay_ways(GEAR, UNICODE)).measure(shares.append)
    (row,) = calibrations()

    assert [0.5] == shares
    assert ("feel", -21.5, 40, 12.25) == (row.method, row.delay_ms, row.n, row.spread_ms)
    assert "never judges" in told[1]


@pytest.mark.live
def test_the_microphone_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its delay is what is taken away from then on; the same clicks come for the same seed, others for another."""
    drawn = []

    def heard(in_port: str, out_port: str | None, recorder: object, *, rng: object, progress: Progress) -> Delay:
        drawn.append(calibrating.knock_clicks(rng).due_us.tolist())
        return Delay("microphone", 9.125, 0.75, 20, 1.5)

    monkeypatch.setattr(measuring, "Microphone", lambda: None)
    monkeypatch.setattr(calibrating, "microphone_delay_of", heard)
    for seed in (1, 1, 2):
        told = way("microphone", delay_ways(GEAR, UNICODE, seed=seed)).measure(silent)
    (row,) = calibrations()

    assert ("microphone", 9.125, 0.75) == (row.method, row.delay_ms, row.uncertainty_ms)
    assert "delay 9.1 ms" in told[0]
    assert drawn[0] == drawn[1] != drawn[2]


@pytest.mark.live
def test_a_measurement_that_tells_nothing_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """The reason is the result; what was known before stays known."""
    ways = delay_ways(GEAR, UNICODE)
    way("same path", ways).measure(silent)
    monkeypatch.setattr(calibrating, "tapped_delay", lambda *_, progress: Declined("12 taps, 32 are needed"))

    assert ("heeltap found no delay: 12 taps, 32 are needed.",) == way("tap along", ways).measure(silent)
    assert ["same-path"] == [row.method for row in calibrations()]


@pytest.mark.live
def test_no_output_is_an_error_where_a_click_must_be_heard() -> None:
    """Tapping along to nothing is refused in one line, and nothing is kept; the same path can still be kept."""
    ways = delay_ways(replace(GEAR, click_to=None), UNICODE)
    with pytest.raises(PortError, match="no output for the click") as error:
        way("tap along", ways).measure(silent)

    assert "\n" not in str(error.value)
    assert [] == calibrations()
    way("same path", ways).measure(silent)
    assert [""] == [row.out_port for row in calibrations()]


@pytest.mark.live
def test_breaking_off_ends_the_engine_and_keeps_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A real engine on a scripted input: what the screen raises comes out unchanged, no process is left."""
    taps = calibrating.tap_clicks()
    script = Schedule(as_ints(taps.due_us[:1]), (b"\x90\x3c\x50",), ("on",), taps.end_us)
    real = calibrating._spec
    monkeypatch.setattr(
        calibrating,
        "_spec",
        lambda clicks, i, o, **_: replace(real(clicks, i, o, script=script, virtual=False), out_port=None),
    )
    now = replace(GEAR, in_use=("fake:",))
    asked = []

    def give_up(share: float) -> None:
        asked.append(share)
        if len(asked) > 3:
            raise BrokenOff

    with pytest.raises(BrokenOff):
        way("tap along", delay_ways(now, UNICODE)).measure(give_up)

    assert 4 == len(asked)
    assert [] == multiprocessing.active_children()
    assert [] == calibrations()


def test_the_clock_is_tested_in_this_machine_and_by_a_cable() -> None:
    """The cable only where both ends are plugged in."""
    assert ["this machine", "by a cable"] == [one.name for one in clock_ways(GEAR)]
    assert "Connect Synth to Pads by a cable" in clock_ways(GEAR)[1].how
    without = (SetUp(), SetUp(in_use=("keys",)), replace(GEAR, click_to="audio"), replace(GEAR, click_to=None))
    without += (replace(GEAR, inputs=()),)
    assert [["this machine"]] * 5 == [[one.name for one in clock_ways(now)] for now in without]


def test_a_cable_is_measured_between_the_ports_in_use(monkeypatch: pytest.MonkeyPatch) -> None:
    """This machine names none; each report is kept, the verdict is its last line."""
    asked = []

    def test(in_port: str | None, out_port: str | None, **_: object) -> LoopReport:
        asked.append((in_port, out_port))
        return a_report(in_port=in_port or "virtual", out_port=out_port or "virtual", loop="ports")

    monkeypatch.setattr(selftesting, "selftest", test)
    for one in clock_ways(GEAR):
        told = one.measure(silent)

    assert [(None, None), ("Pads", "Synth")] == asked
    assert ["Pads", "virtual"] == [row.in_port for row in selftests()]
    assert "You can trust" in told[-1]


def test_an_open_cable_says_nothing_about_the_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where not one note came back nothing is kept; where one did, the loss is."""
    reports = iter((a_report(lost=800), a_report(lost=799)))
    monkeypatch.setattr(selftesting, "selftest", lambda *_, **__: next(reports))
    by_a_cable = clock_ways(GEAR)[1]

    assert "800 lost" in by_a_cable.measure(silent)[1]
    assert [] == selftests()
    by_a_cable.measure(silent)
    assert 1 == len(selftests())


def few_notes(monkeypatch: pytest.MonkeyPatch, notes: int) -> None:
    """The real self-test, inside the engine, with so many notes."""

    def refused(spec: object, loop: str, *rest: object) -> LoopReport:
        if loop == selftesting.VIRTUAL:
            raise PortError("no MIDI system")
        return real(spec, loop, *rest)

    real = selftesting._measured
    monkeypatch.setattr(selftesting, "_measured", refused)
    monkeypatch.setattr(selftesting, "selftest", partial(selftesting.selftest, notes=notes))


@pytest.mark.live
def test_this_machine_is_really_tested(monkeypatch: pytest.MonkeyPatch) -> None:
    """Through the engine and back: every note returns, the share goes up to all of it, the result is kept."""
    few_notes(monkeypatch, 60)
    shares = []
    told = clock_ways(SetUp())[0].measure(shares.append)
    (row,) = selftests()

    assert "60 notes sent, 0 lost" == told[1]
    assert shares == sorted(shares)
    assert 1.0 == shares[-1]
    assert ("inside", 60) == (row.loop, row.report["sent"])
    assert [] == multiprocessing.active_children()


@pytest.mark.live
def test_a_test_of_the_clock_that_is_broken_off_keeps_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """In its middle: the engine has ended when the screen goes on."""
    few_notes(monkeypatch, 200)

    def give_up(share: float) -> None:
        if share > 0.1:
            raise BrokenOff

    with pytest.raises(BrokenOff):
        clock_ways(SetUp())[0].measure(give_up)

    assert [] == selftests()
    assert [] == multiprocessing.active_children()
