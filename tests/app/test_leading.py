"""A take over drums is judged against the drums: live, in the report, and when it is scored again."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from heeltap.app.drill.changes import at_tempo
from heeltap.app.drill.columns import columns_for
from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.leading import drums_ahead, drums_of, leads, led_by
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.run import Settings, drill
from heeltap.app.drill.settings import context_of
from heeltap.app.route.route import Route
from heeltap.app.score.compare import compare_takes
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import score_path
from heeltap.app.takes.finish_take import finish_take
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.devices.fake import script_from_notes
from heeltap.errors import OptionError
from heeltap.files.takes.folder import open_take, read_context
from heeltap.files.takes.journal import JournalWriter
from heeltap.model.messages import is_note_on
from heeltap.model.notes import make_notes
from heeltap.session.session import Begin, Elapsed, Event, Note, State, begin, step
from heeltap.sound.drums import DRUM
from tests.makers.led_songs import QUARTER_US, wander_us, write_led_song
from tests.makers.playbacks import heard_take

LATE_US = 8_000


@pytest.fixture(scope="module")
def late_song(tmp_path_factory: pytest.TempPathFactory) -> Drill:
    """The keys of a song whose drummer is 8 ms late throughout."""
    path = write_led_song(tmp_path_factory.mktemp("song") / "song.mid", lambda _: LATE_US)
    return drill_of(str(path), part="keys", click="part:drums")


@pytest.fixture(scope="module")
def wandering_song(tmp_path_factory: pytest.TempPathFactory) -> Drill:
    """The keys of a song whose drummer wanders."""
    path = write_led_song(tmp_path_factory.mktemp("song") / "song.mid", wander_us)
    return drill_of(str(path), part="keys", click="part:drums")


def live(what: Drill, late_us: Callable[[float], int]) -> State:
    """The session at the end of a take in which every stroke is so late."""
    columns = columns_for(what, Settings("pad", "synth"), Route(delay_ms=0.0), drums_ahead(what))
    state = step(begin(columns), Begin())[0]
    notes: list[Event] = [Note(at + late_us(at / QUARTER_US), 60, 80) for at in what.plan.at_us.tolist()]
    ticks: list[Event] = [Elapsed(us) for us in range(-500_000, columns.end_us + 200_000, 100_000)]
    for event in sorted([*notes, *ticks], key=lambda one: one.at_us):
        state = step(state, event)[0]
    return state


def shown_ms(state: State) -> list[float]:
    """What the screen shows of each stroke; a stroke without a number fails the test."""
    return [float("nan") if stroke.offset_us is None else stroke.offset_us / 1000 for stroke in state.strokes]


def kept(
    what: Drill, takes: Path, late_us: Callable[[float], int], *, silent: bool = False, unsent: tuple[int, ...] = ()
) -> Path:
    """The folder of such a take, finished from its journal; every click went out 300 us late, rows in ``unsent`` never."""
    settings = Settings("pad", None if silent else "synth", takes=takes)
    context = context_of(what, settings, Route(delay_ms=0.0))
    take = open_take(takes, context)
    sent = [
        (due, message)
        for due, message in zip(what.schedule.due_us, what.schedule.messages, strict=True)
        if is_note_on(message)
    ]
    with JournalWriter(take.journal, {"zero_ns": 10**10}) as journal:
        for row, (due, message) in enumerate(sent):
            journal.click(row, int(due), 2**53 if row in unsent else int(due) + 300, message[1])
        for at in what.plan.at_us.tolist():
            journal.message(10**10 + 1000 * (at + late_us(at / QUARTER_US)), 0.0, (0x90, 60, 80))
    return finish_take(take, context, ending="played")


def test_who_is_exactly_on_a_late_drummer_is_on_the_beat_live(late_song: Drill) -> None:
    """Strokes 8 ms behind the click and on the drums lie within 1 ms of 0 on the screen; on the click, 8 ms early."""
    together, ahead = live(late_song, lambda _: LATE_US), live(late_song, lambda _: 0)

    assert [0.0] * 64 == pytest.approx(shown_ms(together), abs=1.0)
    assert [-8.0] * 64 == pytest.approx(shown_ms(ahead), abs=1.0)


def test_the_report_says_the_same_and_says_it_again(late_song: Drill, tmp_path: Path) -> None:
    """About 0 ms against the drums, by default and asked for; against the click 8 ms late."""
    folder = kept(late_song, tmp_path, lambda _: LATE_US)
    result = score_kept(folder)

    assert "leader" == result.reference.kind
    assert result.overall.bias_ms == pytest.approx(0.0, abs=1.0)
    assert result == score_path(folder, Reading(leader="drums"))
    assert score_path(folder, Reading(leader="click")).overall.bias_ms == pytest.approx(8.0, abs=0.1)


def test_who_follows_a_wandering_drummer_beats_who_ignores_him(wandering_song: Drill, tmp_path: Path) -> None:
    """The follower strays by a few milliseconds, who keeps to the click by what the drummer wanders; the scores say so."""
    follows = score_kept(kept(wandering_song, tmp_path, wander_us)).overall
    ignores = score_kept(kept(wandering_song, tmp_path, lambda _: 0)).overall

    assert follows.spread_ms is not None
    assert ignores.spread_ms is not None
    assert follows.spread_ms < 3.0 < 10.0 < ignores.spread_ms
    assert follows.score is not None
    assert ignores.score is not None
    assert follows.score > ignores.score + 10


def test_live_and_report_agree_over_a_wandering_drummer(wandering_song: Drill, tmp_path: Path) -> None:
    """Stroke for stroke within 1 ms: both ask the same curve."""
    state = live(wandering_song, lambda _: 0)
    result = score_kept(kept(wandering_song, tmp_path, lambda _: 0))

    assert shown_ms(state) == pytest.approx([note.offset_ms for note in result.notes], abs=1.0)


def test_a_take_keeps_the_drum_strokes_that_really_sounded(late_song: Drill, tmp_path: Path) -> None:
    """Each at the moment at which it left; one that never left is not among them."""
    heard = drums_of(late_song)
    assert heard is not None
    context = read_context(kept(late_song, tmp_path, lambda _: 0, unsent=(6, 7)))

    assert context.drums is not None
    assert 96 == len(heard.at_us)
    assert 94 == len(context.drums.at_us)
    gone = {2, 3}  # the four clicks of the count come first
    left = sorted(
        (at + 300, key) for row, (at, key) in enumerate(zip(heard.at_us, heard.key, strict=True)) if row not in gone
    )
    assert left == sorted(zip(context.drums.at_us, context.drums.key, strict=True))


def test_without_sound_nobody_leads(late_song: Drill, tmp_path: Path) -> None:
    """Drums that nobody heard are no reference."""
    folder = kept(late_song, tmp_path, lambda _: LATE_US, silent=True)

    assert (None, False) == (read_context(folder).drums, read_context(folder).drums_lead)
    assert "clock" == score_kept(folder).reference.kind


def test_the_drums_of_a_song_lead_unless_you_say_otherwise(late_song: Drill) -> None:
    """A song leads by default, also some of its bars; a pattern of heeltap's own only where you ask for it."""
    pattern = drill_of("turn 1", click="beat:plain")

    assert [True, True, False, False, True] == [
        leads(late_song),
        leads(drill_bars(late_song, (2, 3), passes=2)),
        leads(led_by(late_song, "click")),
        leads(pattern),
        leads(led_by(pattern, "drums")),
    ]


def test_a_leader_that_does_not_sound_is_refused(late_song: Drill) -> None:
    """Over a click there are no drums to lead; a set is judged against its click; a kept take has what sounded."""
    clicked = replace(late_song, heard="", backing=None)

    with pytest.raises(OptionError, match="--leader drums: no kick and snare sound"):
        led_by(clicked, "drums")
    with pytest.raises(OptionError, match="a set is judged against its click"):
        led_by(replace(late_song, item="week:1"), "drums")


def test_a_kept_take_without_drums_has_no_leader(late_song: Drill, tmp_path: Path) -> None:
    """`--leader` of a take to the click is refused by name."""
    folder = kept(replace(late_song, heard="", backing=None), tmp_path, lambda _: 0)

    with pytest.raises(OptionError, match="only what sounded while you played can lead a kept take"):
        score_path(folder, Reading(leader="drums"))


def test_the_drums_of_a_song_are_heard_again_with_the_take(late_song: Drill, tmp_path: Path) -> None:
    """Listening to a kept take plays the strokes that sounded, not every beat."""
    again = heard_take(kept(late_song, tmp_path, lambda _: LATE_US))
    drums = [
        (int(due), message[1])
        for due, message, kind in zip(again.due_us, again.messages, again.kind, strict=True)
        if kind == DRUM
    ]

    assert 96 == len(drums)
    assert (QUARTER_US + LATE_US + 300, 38) in drums


def test_takes_against_drums_and_against_the_click_are_not_compared(late_song: Drill, tmp_path: Path) -> None:
    """The difference would be the drummer's; measured against the click, all of them can be."""
    paths = [kept(late_song, tmp_path, lambda _: 0), kept(led_by(late_song, "click"), tmp_path, lambda _: 0)]

    with pytest.raises(OptionError, match="measured against drums; expected the click, as the others are"):
        compare_takes(paths)
    assert "the click" == compare_takes(paths, Reading(leader="click")).against


def test_a_file_can_be_asked_for_the_click_as_well(late_song: Drill) -> None:
    """`--leader click` means the same for a file as for a take folder: no part leads."""
    path = str(late_song.song)

    assert "clock" == score_path(path, Reading(part="keys", leader="click")).reference.kind
    assert "leader" == score_path(path, Reading(part="keys", leader="drums")).reference.kind


def test_takes_of_earlier_versions_are_judged_against_the_click(late_song: Drill, tmp_path: Path) -> None:
    """A context without drums reads as before."""
    folder = kept(late_song, tmp_path, lambda _: LATE_US)
    old = msgspec.json.decode((folder / "context.json").read_bytes())
    del old["drums"], old["drums_lead"]
    (folder / "context.json").write_bytes(msgspec.json.encode(old))

    assert "clock" == score_kept(folder).reference.kind


@pytest.mark.live
def test_a_whole_live_take_is_judged_against_the_drums_that_sounded(late_song: Drill, tmp_path: Path) -> None:
    """Engine, screen and report: two bars on the drummer, all about 0 ms."""
    what = at_tempo(drill_bars(late_song, (1, 2)), 240)
    at_us = [at + LATE_US // 2 for at in what.plan.at_us.tolist()]
    script = script_from_notes(make_notes(at_us, [60] * len(at_us), [80] * len(at_us)))
    outcome = drill(what, Settings("fake:", "fake:", script=script, takes=tmp_path), lambda *_: None)

    assert outcome.result is not None
    assert outcome.folder is not None
    assert "leader" == outcome.result.reference.kind
    assert outcome.result.overall.bias_ms == pytest.approx(0.0, abs=2.0)
    assert [0.0] * 16 == pytest.approx(shown_ms(outcome.state), abs=2.0)
    assert outcome.result == score_kept(outcome.folder)
