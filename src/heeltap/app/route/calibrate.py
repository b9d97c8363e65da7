"""Measure the delay of a route in one of three ways.

Each way returns a `Delay`, or `Declined` with the reason; `keep` stores it for these ports and this buffer.
`heeltap.app.route.route` says what a drill makes of it.

Inside: `same_path_delay`, `tapped_delay`, `microphone_delay_of`, `keep`, `tap_clicks`, `knock_clicks`.
"""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap import __version__
from heeltap.analysis.strokes import fold_retriggers
from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.outgoing import sound_of_port
from heeltap.app.route.ports import stable_ports
from heeltap.app.route.route import refuse_wireless, tested
from heeltap.app.route.run_engine import Progress, run_engine
from heeltap.app.takes.finish_take import played_of
from heeltap.clock import Clock, SystemClock, wall_now
from heeltap.devices.inputs import KEYS_NAME
from heeltap.devices.wireless import WHY, is_wireless
from heeltap.engine.process import EngineSpec
from heeltap.engine.records import NOT_SENT_US
from heeltap.errors import PortError, sentence
from heeltap.files.calibrations import Calibrated, keep_calibration, selftests
from heeltap.files.settings import read_settings
from heeltap.files.takes.journal import Journal, read_journal
from heeltap.gear.delay import Declined, Delay, feel_offset, irregular_us, same_path
from heeltap.gear.microphone import microphone_delay
from heeltap.model.messages import Schedule
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.audio import Recorder, sound_buffer
from heeltap.sound.click import CLICK_SOUNDS, ClickSound, click_schedule
from heeltap.wording import count

__all__ = ["keep", "knock_clicks", "microphone_delay_of", "same_path_delay", "tap_clicks", "tapped_delay"]

TAP_BPM = 100.0
"""Where most people tap most evenly (common practice, no source)."""

_TAP_BARS = 11
"""44 clicks: 40 behind the four that settle, a quarter more than are needed."""

_KNOCK_CLICKS = 24
"""Twice what is needed; 24 s."""

_UNSURE_S = 0.2
"""So far the beginning of the recording may lie off the moment at which it was asked for."""

_REPEAT_US = 60_000
"""A second stamp this soon is the same knock."""


def same_path_delay(in_port: str, out_port: str | None) -> Delay:
    """Nothing to correct, as unsure as the stamps of these ports; raises `PortError` for a wireless route."""
    names = _checked(in_port, out_port)
    row = tested(*names, selftests())
    return same_path(None if row is None or row.loop == "inside" else row.stamp_p99_ms)


def tap_clicks(sound: ClickSound = CLICK_SOUNDS["wood"]) -> Schedule:
    """What is tapped along to: a bar of count-in, then eleven of 4/4 at 100 bpm."""
    return click_schedule(steady_tempo(TAP_BPM), steady_metre(), _TAP_BARS, sound=sound)


def _sound() -> ClickSound:
    """Wood, whose beginning is sharp, on the channel of the settings: a device may listen on one only."""
    return replace(CLICK_SOUNDS["wood"], channel=kept_sound(read_settings()).channel)


def tapped_delay(
    in_port: str,
    out_port: str | None,
    *,
    progress: Progress | None = None,
    script: Schedule | None = None,
    virtual: bool = False,
) -> Delay | Declined:
    """The feel offset of somebody who taps along on ``in_port`` with the click on ``out_port``.

    Raises
    ------
    PortError
        A port cannot be opened, is wireless, is the computer's keyboard, or there is no output.
    SetFileError, PlanError
        The settings have a mistake.
    KeyboardInterrupt
        Ctrl-C.
    """
    names = _checked(in_port, out_port, heard=True)
    spec = _spec(tap_clicks(_sound()), *names, script=script, virtual=virtual)
    journal = _played(spec, progress)
    sent = journal.click_sent_us[(journal.click_due_us >= 0) & (journal.click_sent_us < NOT_SENT_US)]
    return feel_offset(_knocks(journal), sent)


def knock_clicks(rng: np.random.Generator, sound: ClickSound = CLICK_SOUNDS["wood"]) -> Schedule:
    """Loud clicks at moments that nobody can foresee, 0.7 to 1.3 s apart."""
    at_us = irregular_us(_KNOCK_CLICKS, shortest_us=700_000, longest_us=1_300_000, rng=rng)
    due = np.stack([at_us, at_us + sound.length_us], axis=1).ravel()
    on, off = (bytes((kind | sound.channel, sound.one, level)) for kind, level in ((0x90, 120), (0x80, 0)))
    return Schedule(due, (on, off) * _KNOCK_CLICKS, ("click", "off") * _KNOCK_CLICKS, int(due[-1]))


def microphone_delay_of(
    in_port: str,
    out_port: str | None,
    recorder: Recorder,
    *,
    rng: np.random.Generator,
    progress: Progress | None = None,
    clock: Clock | None = None,
    script: Schedule | None = None,
    virtual: bool = False,
) -> Delay | Declined:
    """Output plus input delay from what one microphone hears of click and knock.

    Parameters
    ----------
    in_port, out_port : str
        What is knocked on, and where the click goes.
    recorder : Recorder
        Opened; started and stopped here.
    rng : numpy.random.Generator
        The moments of the clicks.
    progress : callable, optional
    clock : Clock, optional
        The engine's; the machine's own where not given.
    script, virtual
        As in `heeltap.engine.process.EngineSpec`, for tests and simulated players.

    Raises
    ------
    PortError
        A port cannot be opened, is wireless, is the computer's keyboard, or there is no output.
    SetFileError, PlanError
        The settings have a mistake.
    KeyboardInterrupt
        Ctrl-C.
    """
    names = _checked(in_port, out_port, heard=True)
    if is_wireless(recorder.name):
        raise PortError(sentence(f"microphone '{recorder.name}'", WHY))
    spec = _spec(knock_clicks(rng, _sound()), *names, script=script, virtual=virtual)
    start_ns = (SystemClock() if clock is None else clock).now_ns()
    recorder.start()
    try:
        journal = _played(spec, progress)
    finally:
        recording = recorder.stop()
    zero_us = (journal.zero_ns - start_ns) // 1000
    sent = zero_us + journal.click_sent_us[journal.click_sent_us < NOT_SENT_US]
    first_s = int(sent[0]) / 1e6 if sent.size else 0.0
    # A hole before the first click moves everything that counts by the same time.
    if holes := sum(at > first_s - _UNSURE_S for at in recording.holes):
        return Declined(f"the recording has {count(holes, 'hole')}: close other programs, or use a larger buffer")
    return microphone_delay(recording.wave, recording.rate_hz, sent, zero_us + _knocks(journal))


def _checked(in_port: str, out_port: str | None, *, heard: bool = False) -> tuple[str, str]:
    """Both names, stable and whole; raises `PortError` for those that cannot be calibrated, and where a click must be
    heard and there is no output."""
    if in_port == KEYS_NAME:
        raise PortError(
            sentence("input 'keys'", "the computer's keyboard is good to 20 ms only", "a MIDI input to calibrate")
        )
    if heard and out_port is None:
        raise PortError(sentence("calibration", "no output for the click", "--out with a port that sounds"))
    names = stable_ports(in_port, out_port)
    refuse_wireless(*names, selftests())
    return names


def _spec(clicks: Schedule, in_port: str, out_port: str, *, script: Schedule | None, virtual: bool) -> EngineSpec:
    """These clicks to an output, a MIDI port or the computer's own sound, as a drill would send them."""
    sound = sound_of_port(out_port)
    out = None if sound is not None else out_port
    return EngineSpec(clicks, (in_port,), out, make_output=sound, script=script, virtual=virtual)


def _played(spec: EngineSpec, progress: Progress | None) -> Journal:
    """The journal of a run; raises `PortError` when a device broke."""
    with tempfile.TemporaryDirectory(prefix="heeltap-") as folder:
        journal = Path(folder) / "calibration.jsonl"
        engine = run_engine(replace(spec, journal=journal), progress)
        fault = "the engine ended unexpectedly" if engine.report is None else engine.report.fault
        if fault:
            raise PortError(sentence("calibration", fault))
        return read_journal(journal)


def _knocks(journal: Journal) -> np.ndarray:
    """When something was struck, microseconds from zero; double triggers and chords count once."""
    onset_us = fold_retriggers(played_of(journal)[0], retrigger_us=30_000).notes.onset_us
    return onset_us[np.diff(onset_us, prepend=-(2**62)) > _REPEAT_US]


def keep(delay: Delay, in_port: str, out_port: str | None, *, buffer: str | None = None) -> Calibrated:
    """Keep a delay for these ports and the buffer that is in use now (or is named); raises `StoreError`."""
    names = stable_ports(in_port, out_port)
    row = Calibrated(
        in_port=names[0],
        out_port=names[1],
        method=delay.method,
        delay_ms=round(delay.delay_ms, 3),
        uncertainty_ms=round(delay.uncertainty_ms, 3),
        date=wall_now().isoformat(timespec="seconds"),
        buffer=sound_buffer() if buffer is None else buffer,
        n=delay.n,
        spread_ms=None if delay.spread_ms is None else round(delay.spread_ms, 3),
        heeltap=__version__,
    )
    keep_calibration(row)
    return row
