"""Played notes as samples: their pitch, their end, their loudness beside the click."""

import numpy as np
import pytest

from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.messages import OFF, PEDAL, PLAYED, Schedule, merge
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import ClickSound, click_schedule
from heeltap.sound.played import played_schedule
from heeltap.sound.render import CEILING, Mixer, render
from heeltap.sound.tones import FADE_S, released_us, tone, tone_hz
from tests.makers.amounts import amount

RATE_HZ = 48_000


def of_rows(*rows: tuple[int, bytes, str]) -> Schedule:
    """A schedule of (due, message, kind)."""
    return Schedule(as_ints(r[0] for r in rows), tuple(r[1] for r in rows), tuple(r[2] for r in rows), rows[-1][0])


def loudest_hz(wave: FloatArray, near_hz: float) -> float:
    """The strongest frequency within three semitones of one, from a spectrum of a millionth of a second's fineness."""
    size = 1 << 20  # 0.05 Hz a line at 48 kHz; the parabola through three lines is finer
    spectrum = np.log(np.abs(np.fft.rfft(wave * np.hanning(wave.size), size)) + 1e-30)
    low, high = (round(near_hz * 2 ** (semitones / 12) * size / RATE_HZ) for semitones in (-3, 3))
    top = low + int(np.argmax(spectrum[low:high]))
    left, middle, right = spectrum[top - 1 : top + 2]
    return float((top + 0.5 * (left - right) / (left - 2 * middle + right)) * RATE_HZ / size)


@pytest.mark.parametrize("key", [36, 48, 60, 69, 72, 84, 108])
def test_a_played_note_has_the_pitch_of_its_key(key: int) -> None:
    """Within half a cent of 440 * 2 ** ((key - 69) / 12) (ISO 16:1975), on any channel but the tenth."""
    schedule = played_schedule(make_notes([0], [key], [100], channel=3, duration_us=[1_500_000]), 0)
    wave = Mixer(schedule, RATE_HZ).block(0, RATE_HZ)

    assert abs(1200 * np.log2(loudest_hz(wave, tone_hz(key)) / (440 * 2 ** ((key - 69) / 12)))) < 0.5


def test_frequencies_are_those_of_equal_temperament() -> None:
    """A4 is 440 Hz, an octave doubles, and middle C is 261.626 Hz (ISO 16:1975; the usual table of equal temperament)."""
    assert [tone_hz(69), tone_hz(57), tone_hz(81)] == [440.0, 220.0, 880.0]
    assert tone_hz(60) == pytest.approx(261.6256, abs=1e-4)


@pytest.mark.parametrize("length_us", [0, 1, 80_000, 700_000])
def test_a_tone_sounds_until_it_is_let_go_and_fades_softly(length_us: int) -> None:
    """Loud just before its note-off, silent a fade after it, and never a jump from sample to sample."""
    end = round(max(length_us, 1) * RATE_HZ / 1e6)
    schedule = played_schedule(make_notes([0], [60], [127], duration_us=[length_us]), 0)
    wave = Mixer(schedule, RATE_HZ).block(0, 2 * RATE_HZ)
    sounding = np.flatnonzero(wave)

    assert end + round(FADE_S * RATE_HZ) - 1 == sounding[-1]
    assert np.max(np.abs(wave[end : end + 500])) > 0.007
    assert np.max(np.abs(wave[sounding[-1] - 48 : sounding[-1]])) < 0.01 * np.max(np.abs(wave))
    assert np.max(np.abs(np.diff(wave[max(end - 1, 0) :]))) < 0.012  # the tone itself changes by 0.01 a sample


def test_a_tone_begins_at_its_own_sample_and_rises_within_half_a_millisecond() -> None:
    """The sample of the moment is 0, the next one is not; from middle C up a third of the loudest comes in 0.5 ms."""
    for key in (60, 72, 84):
        wave, zero = render(played_schedule(make_notes([12_345], [key], duration_us=[200_000]), 0), RATE_HZ)
        first = zero + round(12_345 * RATE_HZ / 1e6)
        rise = np.abs(wave[first : first + 24])

        assert first + 1 == np.flatnonzero(wave)[0]
        assert np.max(rise) > np.max(np.abs(wave)) / 3


@pytest.mark.parametrize("size", [1, 64, 1_000, 4_096])
def test_blocks_of_any_size_are_the_same_samples_with_tones(size: int) -> None:
    """To the last bit, through clicks, tones that overlap and fades."""
    notes = make_notes([0, 3_000, 90_000], [60, 64, 60], duration_us=[100_000, 20_000, 40_000])
    mixer = Mixer(
        merge(click_schedule(steady_tempo(300), steady_metre(), 1), played_schedule(notes, 0)),
        RATE_HZ,
    )
    first, count = -2_000, 12_000
    pieces = [mixer.block(at, min(size, first + count - at)) for at in range(first, first + count, size)]

    assert np.array_equal(mixer.block(first, count), np.concatenate(pieces))


def test_a_long_tone_is_found_behind_short_ones_that_are_over() -> None:
    """A block asked for alone is the same as in the whole, and the stream knows that something sounds."""
    notes = make_notes([0, *range(100_000, 700_000, 100_000)], [60, *[72] * 6], duration_us=[1_000_000, *[20_000] * 6])
    mixer = Mixer(played_schedule(notes, 0), RATE_HZ)
    alone = mixer.block(40_000, 100)

    assert np.array_equal(mixer.block(0, 50_000)[40_000:40_100], alone)
    assert np.any(alone)
    assert mixer.sounding(40_000)
    assert not mixer.sounding(mixer.end)


@pytest.mark.slow
def test_clicks_are_not_changed_by_what_is_played() -> None:
    """With the tones taken away, the same samples as alone, whatever channel the clicks have."""
    for channel in (9, 0):
        click = click_schedule(steady_tempo(133), steady_metre(), 2, sound=ClickSound(42, 77, channel=channel))
        played = played_schedule(make_notes([100_000, 451_000], [60, 67], duration_us=[300_000, 300_000]), click.end_us)
        alone, both, tones = (Mixer(s, RATE_HZ).block(0, 200_000) for s in (click, merge(click, played), played))

        assert np.any(alone)
        assert both - tones == pytest.approx(alone, abs=1e-12)


def test_a_click_and_percussion_are_no_tones() -> None:
    """A click on channel 1 and a played stroke on channel 10 sound as bursts: over within 0.1 s without a note-off."""
    click = of_rows((0, b"\x90\x4c\x7f", "click"))
    snare = of_rows((0, b"\x99\x25\x7f", PLAYED))
    note = of_rows((0, b"\x90\x4c\x7f", PLAYED))

    assert Mixer(click, RATE_HZ).end < RATE_HZ / 10
    assert Mixer(snare, RATE_HZ).end < RATE_HZ / 10
    assert Mixer(note, RATE_HZ).end > RATE_HZ


def test_chords_and_pads_stay_below_full_scale_with_a_click() -> None:
    """Any eight keys at velocity 100 and the loudest click at one moment stay 6 dB below full scale; so do two pads at 127."""
    rng = np.random.default_rng(3)
    click = click_schedule(steady_tempo(120), steady_metre(), 1, sound=ClickSound())
    chords = [np.sort(rng.choice(np.arange(36, 90), 8, replace=False)) for _ in range(amount(40, fast=8))]
    held = [make_notes([0] * 8, keys, [100] * 8, duration_us=[1_000_000] * 8) for keys in chords]
    pads = make_notes([0, 0], [36, 42], [127, 127], channel=9)
    for notes in (*held, pads):
        wave = Mixer(merge(click, played_schedule(notes, 0)), RATE_HZ).block(0, RATE_HZ // 2)

        assert 0.35 < np.max(np.abs(wave)) <= CEILING


def test_every_tone_keeps_to_the_scale() -> None:
    """No key goes beyond 1, at any usual rate; keys whose harmonics the rate cannot hold still sound."""
    for rate_hz in (44_100, 48_000, 96_000):
        loudest = [float(np.max(np.abs(tone(key, rate_hz)))) for key in range(0, 128, 9)]

        assert max(loudest) <= 1.0
        assert min(loudest) > 0.2


def test_the_pedal_holds_what_is_let_go_while_it_is_down() -> None:
    """A note let go before the pedal came down ends there; one let go while it is down ends with it, or when its key is
    struck again."""
    schedule = of_rows(
        (0, b"\x90\x3c\x50", PLAYED),
        (10, b"\x80\x3c\x00", OFF),
        (20, b"\xb0\x40\x7f", PEDAL),
        (30, b"\x90\x3e\x50", PLAYED),
        (35, b"\x90\x40\x50", PLAYED),
        (40, b"\x80\x3e\x00", OFF),
        (45, b"\x80\x40\x00", OFF),
        (50, b"\x90\x3e\x50", PLAYED),
        (60, b"\xb0\x40\x00", PEDAL),
        (70, b"\x80\x3e\x00", OFF),
        (80, b"\x90\x43\x50", PLAYED),
    )

    again = of_rows(
        (0, b"\xb0\x40\x7f", PEDAL),
        (10, b"\x90\x3c\x50", PLAYED),
        (20, b"\x90\x3c\x50", PLAYED),
        (30, b"\x80\x3c\x00", OFF),
        (40, b"\xb0\x40\x00", PEDAL),
    )

    assert {0: 10, 3: 50, 4: 60, 7: 70} == released_us(schedule)
    assert {1: 20} == released_us(again)


def test_a_note_off_ends_the_stroke_before_it_and_no_later_one() -> None:
    """A key struck again before it was let go is let go at that moment; what is due at once is sent in the order off,
    pedal, on."""
    notes = make_notes([0, 100, 300, 300], [60] * 4, [80, 80, 50, 90], duration_us=[150, 200, 50, 60])
    rows = list(zip(*(list(column) for column in _columns(played_schedule(notes, 1_000))), strict=True))

    assert [(0, 0x90, 80), (100, 0x80, 0), (100, 0x90, 80), (300, 0x80, 0), (300, 0x90, 90), (360, 0x80, 0)] == rows


def _columns(schedule: Schedule) -> tuple[list[int], list[int], list[int]]:
    """Due, code and velocity."""
    return schedule.due_us.tolist(), [m[0] for m in schedule.messages], [m[2] for m in schedule.messages]
