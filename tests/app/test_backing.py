"""What is heard while playing: clicks, a pattern, or the song's drums."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.backing import Wish, kept_sound, sound_of, wish_of
from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.outgoing import what_is_sent
from heeltap.errors import PlanError, PortError
from heeltap.files.settings import Stored
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.model.exercise import ClickPlan
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from heeltap.sound.click import CLICK_SOUNDS


def struck(drill: Drill, kind: str = "drum") -> list[tuple[int, int]]:
    """Due time and key of every stroke of a kind."""
    schedule = drill.schedule
    rows = zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
    return [(at, m[1]) for at, m, what in rows if what == kind]


def a_song(folder: Path) -> str:
    """A keyboard part of two bars and a drum part of three, at 120 bpm."""
    path = folder / "song.mid"
    beats = np.arange(8) * 500_000
    keys = TrackOut(make_notes(beats, [60] * 8, duration_us=[100_000] * 8), name="Keys")
    kit = [36, 38] * 6
    drums = make_notes(np.arange(12) * 500_000, kit, [100] * 12, channel=9, duration_us=[60_000] * 12)
    write_midi(path, [keys, TrackOut(drums, name="Kit")], tempo=steady_tempo(120.0))
    return str(path)


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("backbeat", Wish(plan=ClickPlan("backbeat"))),
        ("beat:plain", Wish("beat", "plain")),
        ("beat:plain bars 2+2", Wish("beat", "plain", ClickPlan("bars", 2, 2))),
        ("part:drums", Wish("part", "drums")),
        ("part:Drum kit fade", Wish("part", "Drum kit", ClickPlan("fade"))),
        (None, Wish()),
    ],
)
def test_wishes_are_read(text: str | None, wish: Wish) -> None:
    """Source, name, and where it sounds."""
    assert wish == wish_of(text)


@pytest.mark.parametrize("text", ["beet:plain", "beat:plain bars 2", "part:drums bars 0+1"])
def test_wishes_that_are_none_are_refused(text: str) -> None:
    """With what there is."""
    with pytest.raises(PlanError, match="expected every, eighths, backbeat, one, fade, none, or bars"):
        wish_of(text)


def test_pattern_takes_the_place_of_the_clicks() -> None:
    """The count-in stays; from bar 1 on there are drums only, as long as the exercise, at its tempo."""
    drill = drill_of("anchor 1", tempo_bpm=120, click="beat:plain")
    rows = struck(drill)

    assert 4 == len(struck(drill, "count-in"))
    assert [] == struck(drill, "click") + struck(drill, "accent")
    assert [(0, 36), (0, 42), (250_000, 42), (500_000, 38), (500_000, 42)] == rows[:5]
    assert rows[-1][0] == drill.schedule.end_us - 250_000
    assert "beat:plain" == drill.heard


def test_pattern_keeps_silent_bars_and_says_so_in_the_exercise() -> None:
    """Two bars on, two off; the kept exercise says it, too."""
    drill = drill_of("anchor 1", tempo_bpm=120, click="beat:plain bars 2+2")

    assert {0, 1} == {at // 2_000_000 % 4 for at, _ in struck(drill)}
    assert drill.exercise is not None
    assert "bars 2+2" in drill.exercise


def test_pattern_of_another_metre_or_none_is_refused() -> None:
    """It names those that fit, and the nearest."""
    with pytest.raises(PlanError, match="drum pattern 'waltz': is in 3/4; expected one for 4/4: plain, push"):
        drill_of("anchor 1", click="beat:waltz")
    with pytest.raises(PlanError, match="nearest: shuffle"):
        drill_of("anchor 1", click="beat:shufle")


def test_the_songs_drums_play_at_the_drills_tempo(tmp_path: Path) -> None:
    """Two bars of keys at 60 bpm: the drums of these two bars, twice as slow, and none after the end."""
    drill = drill_of(a_song(tmp_path), part="Keys", tempo_bpm=60.0, click="part:drums")

    assert [(k * 1_000_000, [36, 38][k % 2]) for k in range(8)] == struck(drill)
    half = drill_of(a_song(tmp_path), part="Keys", click="part:Kit bars 1+1")
    assert [(k * 500_000, [36, 38][k % 2]) for k in range(4)] == struck(half)


def test_part_needs_a_song() -> None:
    """An exercise has no other part."""
    with pytest.raises(PlanError, match="no song; expected a MIDI file"):
        drill_of("anchor 1", click="part:drums")


def test_click_follows_a_ladder(tmp_path: Path) -> None:
    """A tempo that climbs 10 % every bar: so do the clicks, and the pattern."""
    path = tmp_path / "ladder.toml"
    text = drill_of("anchor 1", tempo_bpm=100).exercise
    assert text is not None
    path.write_text(text + "\n[ladder]\nevery_bars = 1\nstep_percent = 10\n")
    clicks = [at for at, _ in struck(drill_of(str(path), click="every"), "accent")]
    kicks = [at for at, key in struck(drill_of(str(path), click="beat:plain")) if key == 36][::2]
    bars = np.diff(clicks)

    assert 1.1 == pytest.approx(bars[0] / bars[1], abs=1e-4)
    assert clicks == kicks


def test_sounds_are_settable() -> None:
    """By name, by keys, by one key; channel as people count; loudness of the one."""
    assert CLICK_SOUNDS["metronome"] == sound_of("metronome")
    own = sound_of("33,34", channel=3, velocity=90)
    assert (33, 34, 2, 90) == (own.beat, own.one, own.channel, own.loudest)
    assert (56, 56) == (sound_of("56").beat, sound_of("56").one)
    for wrong in ({"notes": "33,128"}, {"notes": "bell"}, {"channel": 0}, {"velocity": 128}):
        with pytest.raises(PlanError):
            sound_of(**wrong)  # type: ignore[arg-type]
    drill = drill_of("anchor 1", click="beat:plain", sound=own)
    assert {0x92} == {
        m[0] for m, kind in zip(drill.schedule.messages, drill.schedule.kind, strict=True) if kind != "off"
    }


def test_clock_is_sent_beside_the_click() -> None:
    """What is heard goes first; without a MIDI output there is nothing to send it to."""
    drill = drill_of("anchor 1", tempo_bpm=120)
    schedule = what_is_sent(drill, "Desk", send_clock=True, song_bar=5)
    at_one = [m[0] for at, m in zip(schedule.due_us.tolist(), schedule.messages, strict=True) if at == 0]
    bars = drill.plan.bars

    assert [0x99, 0xF8] == at_one
    assert 24 * 4 * (bars + 1) == sum(m == b"\xf8" for m in schedule.messages)
    assert b"\xf2\x40\x00" in schedule.messages
    assert 0 == len(what_is_sent(drill, None, silent=True))
    for port in (None, "audio"):
        with pytest.raises(PortError, match="MIDI clock: no MIDI output"):
            what_is_sent(drill, port, send_clock=True)


def test_the_settings_sound_where_nothing_is_given() -> None:
    """Each of notes, channel and velocity on its own; with an empty file the click is as ever."""
    stored = Stored(click_notes="stick", click_channel=3, click_velocity=80)

    assert sound_of() == kept_sound(Stored())
    assert sound_of("stick", channel=3, velocity=80) == kept_sound(stored)
    assert sound_of("33,34", channel=3, velocity=80) == kept_sound(stored, "33,34")
    assert sound_of("stick", channel=1, velocity=127) == kept_sound(stored, channel=1, velocity=127)


def test_whose_mistake_a_sound_is() -> None:
    """A sound that there is not names the settings' file when it is from there, with the nearest; else not."""
    stored = Stored(click_notes="stik")

    with pytest.raises(PlanError, match=r"settings\.toml: click notes: 'stik'; .*nearest: stick"):
        kept_sound(stored)
    with pytest.raises(PlanError, match=r"^click notes: 'wod'"):
        kept_sound(stored, "wod")
    assert sound_of("wood") == kept_sound(stored, "wood")
