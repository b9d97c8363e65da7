"""What sounds in a drill and how loud: click, drums and the other parts of a song, each a voice of its own."""

from pathlib import Path

import mido
import pytest

from heeltap.app.drill.changes import at_tempo, eighths_offered, on_eighths
from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.leading import drums_of, leads
from heeltap.app.drill.outgoing import what_is_sent
from heeltap.app.drill.ranges import drill_bars, from_bar
from heeltap.app.drill.run import Settings
from heeltap.app.drill.settings import context_of
from heeltap.app.drill.voices import keep_volumes, kept_mix, mix_of, voices_of
from heeltap.app.route.route import Route
from heeltap.errors import InputFileError, OptionError, PlanError
from heeltap.files.settings import Stored, read_settings, settings_toml
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model.exercise import ClickPlan, clicks, parse_click
from heeltap.model.messages import is_note_on
from heeltap.model.mix import CLICK, DRUMS, Mix, part_kind, voice_of
from heeltap.model.timeline import Metre
from tests.makers.led_songs import write_led_song

QUARTER_US = 500_000


def write_band(path: Path) -> Path:
    """The led song with a bass on channel 2, program 33, on each one, and strings without a program that last two bars."""
    file = mido.MidiFile(write_led_song(path, lambda _: 0))
    bar = 4 * file.ticks_per_beat
    file.tracks.append(
        mido.MidiTrack(
            [
                mido.MetaMessage("track_name", name="bass"),
                mido.Message("program_change", channel=1, program=33),
                *(
                    message
                    for k in range(8)
                    for message in (
                        mido.Message("note_on", channel=1, note=40, velocity=80, time=0 if k == 0 else bar // 2),
                        mido.Message("note_off", channel=1, note=40, time=bar // 2),
                    )
                ),
            ]
        )
    )
    file.tracks.append(
        mido.MidiTrack(
            [
                mido.MetaMessage("track_name", name="strings"),
                mido.Message("note_on", channel=3, note=67, velocity=50),
                mido.Message("note_off", channel=3, note=67, time=2 * bar),
            ]
        )
    )
    file.save(path)
    return path


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Drill:
    """The keys of that song to its own drums."""
    path = write_band(tmp_path_factory.mktemp("song") / "song.mid")
    return drill_of(str(path), part="keys", click="part:drums")


def struck(drill: Drill, voice: str) -> list[tuple[int, int, int]]:
    """When which key of a voice is struck and on which channel."""
    sent = what_is_sent(drill, "synth")
    rows = zip(sent.due_us.tolist(), sent.messages, sent.kind, strict=True)
    return [(due, m[1], m[0] & 15) for due, m, kind in rows if voice_of(kind) == voice and is_note_on(m)]


def test_every_other_part_of_a_song_is_a_voice(song: Drill) -> None:
    """Neither the part that you play nor the drums; each on its own channel, at its own places."""
    assert {CLICK: "click", DRUMS: "drums", part_kind(1): "bass", part_kind(2): "strings"} == voices_of(song)
    assert [(8 * k * QUARTER_US // 2, 40, 1) for k in range(8)] == struck(song, part_kind(1))
    assert [(0, 67, 3)] == struck(song, part_kind(2))
    assert 32 == len(struck(song, CLICK))
    assert 96 == len(struck(song, DRUMS))


def test_the_drums_sound_at_first_and_what_you_ask_for(song: Drill) -> None:
    """The click beneath the drums and the other parts wait until somebody switches them on."""
    assert {CLICK, part_kind(1), part_kind(2)} == mix_of(song).off
    assert {CLICK, part_kind(1)} == mix_of(song, hear=["Strings"]).off == mix_of(song, hear=["4"]).off
    assert {part_kind(1), part_kind(2), part_kind(3)} == mix_of(drill_of(str(song.song), part="keys")).off
    assert frozenset() == mix_of(drill_of("anchor 1")).off


def test_a_part_that_is_not_there_is_refused(song: Drill) -> None:
    """With what there is; your own part and the drums are no further parts; an exercise has none at all."""
    with pytest.raises(InputFileError, match="no part 'oboe'"):
        mix_of(song, hear=["oboe"])
    with pytest.raises(OptionError, match="--hear keys; expected bass, strings"):
        mix_of(song, hear=["keys"])
    with pytest.raises(OptionError, match="only a song has further parts"):
        mix_of(drill_of("anchor 1"), hear=["bass"])


def test_a_part_brings_its_own_sound(song: Drill) -> None:
    """Its program goes before its first note in every bar, so that it is right wherever the part is switched on."""
    sent = what_is_sent(song, "synth")
    programs = [
        (due, message, kind)
        for due, message, kind in zip(sent.due_us.tolist(), sent.messages, sent.kind, strict=True)
        if message[0] & 0xF0 == 0xC0
    ]

    assert [(4 * k * QUARTER_US, b"\xc1\x21", part_kind(1)) for k in range(8)] == programs


def test_bars_of_a_song_have_their_bars_of_every_part_at_any_tempo(song: Drill) -> None:
    """Bars 2 and 3, twice: the bass comes on each one, at half the tempo twice as far apart; no note of bar 1."""
    loop = drill_bars(song, (2, 3), passes=2)

    assert [4 * k * QUARTER_US for k in range(4)] == [at for at, _, _ in struck(loop, part_kind(1))]
    assert [8 * k * QUARTER_US for k in range(4)] == [at for at, _, _ in struck(at_tempo(loop, 60), part_kind(1))]
    assert [] == struck(loop, part_kind(2))


def test_what_goes_on_from_a_bar_keeps_its_bar_to_run_in(song: Drill) -> None:
    """A faster tempo in the middle of a drill with a run-in: the bar before the present one sounds, in a loop the first one."""
    cut, loop = drill_bars(song, (3, 6), run_in=True), drill_bars(song, (3, 4), passes=3, run_in=True)

    assert (5, 2_000_000) == (from_bar(cut, 3).bar_numbers[0], from_bar(cut, 3).run_in_us)
    assert (2, 2_000_000) == (from_bar(loop, 4).passes, from_bar(loop, 4).run_in_us)
    assert 0 == from_bar(drill_bars(song, (3, 6)), 3).run_in_us


def test_drums_that_are_off_lead_nobody(song: Drill) -> None:
    """Whoever begins with the drums switched off plays to something else."""
    on = context_of(song, Settings("pad", "synth", mix=mix_of(song)), Route())
    off = context_of(song, Settings("pad", "synth", mix=mix_of(song).switched(DRUMS)), Route())

    assert (True, False) == (on.drums_lead, off.drums_lead)


def test_a_part_that_is_no_drum_part_gives_the_beat_and_leads_nobody(song: Drill) -> None:
    """`part:bass` in place of the drums: its keys 35 to 40 are no kick and snare."""
    bass = drill_of(str(song.song), part="keys", click="part:bass")

    assert drums_of(bass) is None
    assert not leads(bass)


def test_volumes_come_from_the_options_then_the_settings() -> None:
    """What is given, what is kept, and 100; what is kept can be read back; a volume that there is not is refused."""
    stored = Stored(volumes={"click": 80, "parts": 0})
    keep_volumes(Mix(80, 100, 0))

    assert Mix(80, 40, 0) == kept_mix(stored, drums=40)
    assert {"click": 80, "drums": 100, "parts": 0} == read_settings().volumes
    assert "[volume]\nclick = 80\nparts = 0\n" in settings_toml(stored)
    with pytest.raises(PlanError, match="click volume: 101; expected 0 to 100 per cent"):
        kept_mix(stored, click=101)


@pytest.mark.parametrize(
    ("metre", "places"),
    [(Metre(4, 4), [0, 1, 2, 3, 4, 5, 6, 7]), (Metre(6, 8), [0, 1, 2, 3, 4, 5]), (Metre(2, 2), list(range(8)))],
)
def test_a_click_on_eighths_marks_the_beats(metre: Metre, places: list[int]) -> None:
    """Every eighth of the bar; the one loudest, then the beats, then what lies between them."""
    found = clicks(parse_click("eighths"), metre, 1)
    each = {1.0: 0.7, 1.5: 0.7, 2.0: 0.7}[metre.beat_quarters]
    beat = round(2 * metre.beat_quarters)

    assert [5040 * k for k in places] == found.at_tick.tolist()
    assert [1.0 if k == 0 else each if k % beat == 0 else 0.4 for k in places] == found.strength.tolist()


def test_eighths_are_offered_below_60_and_go_and_come(song: Drill) -> None:
    """At a slow tempo over a click; the exercise says so, a range of bars as well; over drums they are not offered."""
    slow, quick = drill_of("anchor 1", tempo_bpm=50), drill_of("anchor 1", tempo_bpm=80)
    divided = on_eighths(slow)

    assert [True, False, False] == [eighths_offered(one) for one in (slow, quick, at_tempo(song, 50))]
    assert divided.clicked is not None
    assert ClickPlan("eighths") == exercise_from_toml(str(divided.exercise)).click
    assert len(divided.clicked.at_tick) == 8 * slow.plan.bars
    assert "every" == on_eighths(divided).heard
    assert eighths_offered(divided)
    clicked = at_tempo(drill_of(str(song.song), part="keys"), 50)
    assert 16 == len(struck(on_eighths(drill_bars(clicked, (2, 3))), CLICK))
