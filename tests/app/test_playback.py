"""Hearing a kept take and a plan: what sounds when, and a playback from its start to its silence."""

import multiprocessing
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.run import Settings, drill
from heeltap.app.listen import playback as playback_module
from heeltap.app.listen.playback import Playback, heard_plan
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeOutPort, script_from_notes
from heeltap.engine.channel import Channel, channel_pair
from heeltap.engine.process import EngineSpec, run_here
from heeltap.errors import PortError
from heeltap.files.smf import TrackOut, write_midi
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.folder import load_take, open_take, save_take
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.model.arrays import as_ints
from heeltap.model.exercise import Voice, parse_click
from heeltap.model.messages import ALL_NOTES_OFF, OFF, PEDAL, PLAYED, Schedule
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.model.result import Result
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import click_schedule
from heeltap.sound.stretches import begun_at
from tests.engine.timing import nap, now_ns
from tests.makers.drills import counted_plan
from tests.makers.playbacks import heard_take

DELAY_MS = 7.1235
LEAN_MS = 12.0
OFFSETS_US = [-4_000, 11_003, 38_001, None, 0, -20_000, 5_507, 30_000]
BEAT_US = 200_000


def ons(schedule: Schedule, kind: str = PLAYED) -> list[tuple[int, int, int, int]]:
    """(due, key, velocity, channel) of each note-on of a kind."""
    rows = zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
    return [(due, m[1], m[2], m[0] & 15) for due, m, found in rows if found == kind and m[0] & 0xF0 == 0x90]


def clicked(schedule: Schedule) -> list[int]:
    """When each click sounds."""
    rows = zip(schedule.due_us.tolist(), schedule.kind, strict=True)
    return [due for due, kind in rows if kind in ("count-in", "accent", "click")]


def kept(root: Path, plan: Plan, notes: Notes, *, pedal: Pedal | None = None, **more: Any) -> Path:
    """The folder of a take that was not played."""
    context = Context(
        heeltap="0",
        name="take",
        date="2026-03-02T18:00:00+01:00",
        plan=plan_out(plan),
        **{"count_in_us": 4 * int(plan.tempo.us_per_quarter[0]), "ending": "played", **more},
    )
    return save_take(open_take(root, context), context, plan, notes, pedal=pedal)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A real drill with a scripted player whose route is late by `DELAY_MS`: chords of two keys, one beat missed, one
    wrong key, an extra note and a bounce."""
    plan = counted_plan(["1 2 3 4"] * 2, bpm=300.0, pitches=(60, 67))
    what = Drill("quarters", "Quarters", "", plan, None, 1, LEAN_MS, None, None, None)
    rows = [(140_000 + 3 * BEAT_US, 72, 90)]
    for beat, offset_us in enumerate(OFFSETS_US):
        if offset_us is not None:
            at = beat * BEAT_US + offset_us + round(1000 * DELAY_MS)
            rows += [(at, 61 if beat == 6 else 60, 80), (at + 2_500, 67, 70)]
    rows += [(rows[1][0] + 18_000, 60, 20)]
    onsets, keys, velocity = zip(*sorted(rows), strict=True)
    script = script_from_notes(
        make_notes(onsets, keys, velocity, duration_us=[9_000 if v == 80 else 50_000 for v in velocity])
    )
    settings = Settings(
        "fake:", script=script, delay_ms=DELAY_MS, takes=tmp_path_factory.mktemp("takes"), start_delay_us=100_000
    )
    outcome = drill(what, settings, lambda *_: None)
    assert outcome.folder is not None
    return outcome.folder


def offsets_of(result: Result) -> list[float]:
    """The offset of each placed note, in the order of playing."""
    return [1000 * row.offset_ms for row in result.notes if row.offset_ms is not None]


@pytest.mark.live
def test_each_heard_note_lies_its_offset_from_its_click(played: Path) -> None:
    """Onset minus the click of its beat is the result's offset to a microsecond, the delay being taken away; the extra
    note is heard, the bounce is not."""
    result = score_kept(played)
    schedule = heard_take(played)
    clicks = as_ints(clicked(schedule))
    heard = [due for due, key, _, _ in ons(schedule) if key != 72]
    gaps = [due - int(clicks[np.argmin(np.abs(clicks - due))]) for due in heard]

    assert (13, 1, 1, 2) == (
        result.counts.matched,
        result.counts.wrong_pitch,
        result.counts.extra,
        result.counts.missed,
    )
    assert offsets_of(result) == pytest.approx(gaps, abs=1.0)
    assert 7_124 == pytest.approx(np.median(load_take(played).notes.onset_us[:2] - [-4_000, -1_500]), abs=20)
    assert [round(740_000 - 1000 * DELAY_MS)] == pytest.approx(
        [due for due, key, _, _ in ons(schedule) if key == 72], abs=20
    )
    assert 15 == len(ons(schedule))


@pytest.mark.live
def test_moved_notes_are_at_their_places_and_the_lean(played: Path) -> None:
    """Every matched note exactly at reference + lean, on the key that was played; extra notes as they were."""
    as_played, moved = ons(heard_take(played)), ons(heard_take(played, moved=True))
    beats = [beat for beat, offset_us in enumerate(OFFSETS_US) if offset_us is not None]

    assert [beat * BEAT_US + 12_000 for beat in beats for _ in range(2)] == [
        due for due, key, _, _ in moved if key != 72
    ]
    assert [row for row in as_played if row[1] == 72] == [row for row in moved if row[1] == 72]
    assert sorted(row[1:] for row in as_played) == sorted(row[1:] for row in moved)


def test_lengths_channels_and_pedal_are_those_of_the_take(tmp_path: Path) -> None:
    """Note-offs follow their notes, moved or not; the pedal goes with the delay; channels stay."""
    plan = counted_plan(["1 2 3 4"])
    notes = replace(
        make_notes(plan.at_us + 20_000, [60, 62, 36, 65], duration_us=[300_000, -1, 40_000, 250_000]),
        channel=as_ints([0, 3, 9, 0]),
    )
    foot = Pedal(as_ints([100_000, 900_000]), as_ints([0, 0]), as_ints([127, 0]), as_ints([0, 0]))
    folder = kept(tmp_path, plan, notes, pedal=foot, delay_ms=5.0)
    for moved, late_us in ((False, 15_000), (True, 0)):
        schedule = heard_take(folder, moved=moved)
        rows = list(zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True))
        offs = [(due - late_us, m[0] & 15, m[1]) for due, m, _ in rows if m[0] & 0xF0 == 0x80 and m[1] < 70]

        assert [0, 3, 9, 0] == [channel for _, _, _, channel in ons(schedule)]
        assert [late_us + at for at in plan.at_us.tolist()] == pytest.approx([due for due, *_ in ons(schedule)], abs=20)
        assert [(0, 60), (3, 62), (9, 36), (0, 65)] == [row[1:] for row in offs]
        assert [300_000, 800_000, 1_040_000, 1_750_000] == pytest.approx([row[0] for row in offs], abs=40)
        assert [(pytest.approx(95_000, abs=20), 127), (pytest.approx(895_000, abs=20), 0)] == [
            (due, m[2]) for due, m, kind in rows if kind == PEDAL
        ]


@pytest.mark.parametrize("click", ["every", "backbeat", "one", "fade", "none", "bars 1+1"])
def test_the_click_is_the_one_that_was_heard(click: str, tmp_path: Path) -> None:
    """A kept take of an exercise, and one of a plan that was played to a click asked for, have the drill's own
    messages."""
    what = drill_of("anchor 1", click=click, tempo_bpm=100.0)
    assert what.exercise is not None
    folder = kept(tmp_path, what.plan, make_notes([0], [60]), exercise=what.exercise, count_in_us=what.count_in_us)
    plain = kept(tmp_path, what.plan, make_notes([0], [60]), heard=click, count_in_us=what.count_in_us)
    every = click_schedule(what.plan.tempo, what.plan.metre, what.plan.bars).messages

    for path in (folder, plain):
        assert not_played(what.schedule) == not_played(heard_take(path))
    assert (click == "every") == (what.schedule.messages == every)


def not_played(schedule: Schedule) -> list[tuple[int, bytes]]:
    """Clicks, drums and their note-offs."""
    rows = zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
    return [(due, m) for due, m, kind in rows if kind != PLAYED and m[1] != 60]


def test_a_drummer_is_heard_again_and_what_is_lost_is_a_plain_click(tmp_path: Path) -> None:
    """``beat:plain`` is rebuilt with its count-in; a part of a song, a pattern that is gone and an exercise that cannot be
    read are every beat."""
    what = drill_of("anchor 1", click="beat:plain")
    plain = click_schedule(what.plan.tempo, what.plan.metre, what.plan.bars)
    bar_us = what.count_in_us
    note = make_notes([0], [60])
    again = heard_take(kept(tmp_path, what.plan, note, exercise=what.exercise, heard="beat:plain", count_in_us=bar_us))

    assert what.backing is not None
    assert not_played(what.schedule) == not_played(again)
    assert ons(what.backing, "drum") == ons(again, "drum") != []
    losses: list[dict[str, Any]] = [
        {"heard": "part:drums"},
        {"heard": "beat:none such"},
        {"heard": "?"},
        {"exercise": "title = 3"},
    ]
    for lost in losses:
        folder = kept(tmp_path, what.plan, note, count_in_us=bar_us, **lost)

        assert not_played(plain) == not_played(heard_take(folder))


def test_an_early_end_ends_the_click_and_no_note_is_lost(tmp_path: Path) -> None:
    """The click stops where the take did; notes after the end, in the count-in and in a stretch left out are heard."""
    plan = counted_plan(["1 2 3 4"] * 8)
    at = [-500_000, 10_000, 520_000, 3_510_000]
    folder = kept(tmp_path, plan, make_notes(at, [60] * 4), judged_to_us=3_300_000, ending="stopped")
    schedule = heard_take(folder)

    assert at == pytest.approx([due for due, *_ in ons(schedule)], abs=20)
    assert list(range(-2_000_000, 4_000_000, 500_000)) == clicked(schedule)
    assert 3_810_000 == pytest.approx(schedule.end_us, abs=40)
    assert balanced(schedule)


def balanced(schedule: Schedule) -> bool:
    """Whether every note-off has a note-on before it, and every note-on one after it."""
    open_keys: list[bytes] = []
    for message in schedule.messages:
        key = bytes((message[0] & 15, message[1]))
        if message[0] & 0xF0 == 0x90:
            open_keys.append(key)
        elif message[0] & 0xF0 == 0x80:
            if key not in open_keys:
                return False
            open_keys.remove(key)
    return not open_keys


def test_a_take_without_notes_that_count_is_its_click(tmp_path: Path) -> None:
    """Nothing but what was asked for is heard, and nothing fails."""
    plan = counted_plan(["1 2 3 4"])
    folder = kept(tmp_path, plan, make_notes([], []))

    for moved in (False, True):
        assert [] == ons(heard_take(folder, moved=moved))
        assert 8 == len(clicked(heard_take(folder, moved=moved)))


def test_a_plan_is_heard_at_the_lean_with_the_drills_own_click() -> None:
    """Every note at its place and the lean, in the middle where no loudness is asked for; the rest is the drill's."""
    plan = counted_plan(["1 2& 3 4"] * 2, pitches=(60, 64))
    what = Drill("q", "Q", "", replace(plan, velocity=plan.velocity + 100), None, 1, -15.0, None, None, None)
    silent = replace(what, plan=plan)

    assert [(at - 15_000, key, 100, 0) for at, key in zip(plan.at_us, plan.pitch, strict=True)] == ons(heard_plan(what))
    assert {80} == {velocity for _, _, velocity, _ in ons(heard_plan(silent))}
    assert not_played(what.schedule) == [row for row in not_played(heard_plan(what)) if row[1][0] & 15 == 9]
    assert balanced(heard_plan(what))


@pytest.mark.parametrize(
    ("voice", "key", "channel"),
    [(Voice("any"), 38, 9), (Voice("low", (36,)), 36, 0), (Voice("kick", (36,)), 36, 9), (Voice("kick", (24,)), 24, 9)],
)
def test_the_channel_of_a_plan_is_that_of_its_exercise(voice: Voice, key: int, channel: int, tmp_path: Path) -> None:
    """Any key is a snare on channel 10, pads are their own keys there, everything else is on channel 1."""
    path = tmp_path / "own.toml"
    path.write_text(exercise_to_toml(replace(make_exercise("anchor", 1), voices=(voice,))))
    heard = ons(heard_plan(drill_of(str(path))))

    assert {(key, channel)} == {(row[1], row[3]) for row in heard}


def test_hands_on_any_key_sound_apart() -> None:
    """The left hand has a snare of its own."""
    plan = counted_plan(["1 2 3 4"])
    what = Drill("q", "Q", "", replace(plan, hand=as_ints([0, 1, 2, 1])), None, 1, 0.0, None, None, None)

    assert [38, 40, 38, 40] == [key for _, key, _, _ in ons(heard_plan(what))]


@pytest.mark.parametrize(("part", "channel"), [("keys", 0), ("drums", 9)])
def test_the_part_of_a_song_is_heard_on_drums_only_where_it_is_drums(part: str, channel: int, tmp_path: Path) -> None:
    """Percussion has no pitch to be heard; a keyboard part has."""
    path, at_us = tmp_path / "song.mid", np.arange(4) * 500_000
    tracks = [
        TrackOut(replace(make_notes(at_us, [key] * 4, [90] * 4), channel=as_ints([number] * 4)), name=name)
        for name, key, number in (("keys", 60, 2), ("drums", 36, 9))
    ]
    write_midi(path, tracks, tempo=steady_tempo(120), metre=steady_metre())

    assert {channel} == {row[3] for row in ons(heard_plan(drill_of(str(path), part=part)))}


def test_an_empty_plan_is_its_click() -> None:
    """A plan of rests is heard as such."""
    what = Drill("q", "Q", "", _rests(), None, 1, 0.0, None, None, None)

    assert not_played(what.schedule) == not_played(heard_plan(what))


def _rests() -> Plan:
    plan = counted_plan(["1"])
    columns: dict[str, Any] = {
        name: as_ints([]) for name in ("at_tick", "at_us", "pitch", "velocity", "hand", "kind", "stroke")
    }
    return replace(plan, **columns)


def test_beginning_later_keeps_what_follows_and_lets_nothing_hang() -> None:
    """Messages before are dropped, the note-off of a note that began before too, but not that of the same key struck
    since; times count from there."""
    schedule = Schedule(
        as_ints([-500, 0, 100, 150, 300, 400, 600, 700]),
        (
            b"\x99\x4c\x6e",
            b"\x90\x3c\x50",
            b"\x90\x40\x50",
            b"\x80\x40\x00",
            b"\x80\x3c\x00",
            b"\x90\x3c\x51",
            b"\x90\x3c\x00",
            b"\x99\x4d\x6e",
        ),
        ("count-in", PLAYED, PLAYED, OFF, OFF, PLAYED, OFF, "click"),
        1_000,
    )
    rest = begun_at(schedule, 200)

    assert [200, 400, 500] == rest.due_us.tolist()
    assert schedule.messages[5:] == rest.messages
    assert schedule.kind[5:] == rest.kind
    assert 800 == rest.end_us
    assert (0, 0) == (len(begun_at(schedule, 5_000)), begun_at(schedule, 5_000).end_us)


def test_a_message_due_at_the_beginning_is_heard() -> None:
    """The click of the very bar that is asked for."""
    schedule = click_schedule(counted_plan(["1 2 3 4"] * 3).tempo, counted_plan(["1"]).metre, 3)

    assert [0, 500_000] == clicked_of(begun_at(schedule, 4_000_000))[:2]
    assert 4 == len(clicked_of(begun_at(schedule, 4_000_000)))


def clicked_of(schedule: Schedule) -> list[int]:
    """When the note-ons are due."""
    return [due for due, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind != OFF]


@pytest.mark.parametrize(("from_us", "down"), [(50, []), (250, [b"\xb0\x40\x7f"]), (350, [])])
def test_a_pedal_that_is_down_is_put_down_at_once(from_us: int, down: Sequence[bytes]) -> None:
    """A note struck since sounds as it did; a pedal that came up is left up."""
    schedule = Schedule(
        as_ints([0, 100, 300, 400]),
        (b"\xb0\x40\x00", b"\xb0\x40\x7f", b"\xb0\x40\x10", b"\x90\x3c\x50"),
        (PEDAL, PEDAL, PEDAL, PLAYED),
        1_000,
    )
    rest = begun_at(schedule, from_us)

    assert list(down) == [m for due, m in zip(rest.due_us, rest.messages, strict=True) if due == 0]
    assert 400 - from_us == rest.due_us[-1]


def test_without_an_output_the_way_to_one_is_said() -> None:
    """One line, with what to do."""
    with pytest.raises(PortError) as caught:
        Playback(heard_plan(drill_of("anchor 1")), None)

    assert str(caught.value) == (
        "listening: no output; expected a MIDI output or audio (choose one on the set-up screen or with --out)"
    )


@pytest.mark.live
def test_an_output_that_there_is_not_is_said() -> None:
    """The engine's own line, and nothing keeps running."""
    with pytest.raises(PortError) as caught:
        Playback(heard_plan(drill_of("anchor 1")), "no such thing")

    assert "MIDI" in str(caught.value) or "no such thing" in str(caught.value)
    assert [] == multiprocessing.active_children()


@pytest.mark.live
def test_a_playback_counts_in_the_plans_time_and_ends(played: Path) -> None:
    """From the middle to the end: the time begins there, runs on, and it is over a tail after the last message; every
    sound was sent and none came late."""
    schedule = heard_take(played)
    playback = Playback(schedule, "fake:", from_us=1_000_000, start_delay_us=50_000)
    try:
        began_us, before_ns = playback.now_us, now_ns()
        assert not playback.over
        while not playback.over and now_ns() < before_ns + 10_000_000_000:
            playback.turn()
            nap(0.02)
        ended_us = playback.now_us
        report = playback._engine.report
    finally:
        playback.stop()
    sounds = sum(due >= 1_000_000 for due in clicked(schedule)) + sum(due >= 1_000_000 for due, *_ in ons(schedule))

    assert began_us >= 950_000
    assert ended_us - began_us == pytest.approx((now_ns() - before_ns) / 1000, abs=500_000)
    assert schedule.end_us + 500_000 <= ended_us < schedule.end_us + 2_000_000
    assert report is not None
    assert (sounds, "") == (report.clicks, playback.problem)


@pytest.mark.live
def test_stopping_silences_and_a_second_stop_does_nothing() -> None:
    """The engine ends in order long before the end, and stays ended."""
    playback = Playback(heard_plan(drill_of("anchor 1")), "fake:", clock=FakeClock())
    before_us = playback.now_us
    playback.turn()
    playback.stop()
    playback.stop()
    playback.turn()

    assert before_us == playback.now_us
    assert playback.over
    assert "" == playback.problem
    assert not playback._engine.alive


def test_an_exercise_written_by_hand_is_rebuilt_from_its_own_text(tmp_path: Path) -> None:
    """The metre of the exercise places its click: 6/8 has two beats a bar."""
    exercise = replace(make_exercise("anchor", 1, metre="6/8"), click=parse_click("every"))
    plan = plan_of(exercise)
    bar_us = int(plan.tempo.us_at_quarter(3.0))
    folder = kept(tmp_path, plan, make_notes([0], [60]), exercise=exercise_to_toml(exercise), count_in_us=bar_us)

    assert 2 * (1 + plan.bars) == len(clicked(heard_take(folder)))


@pytest.mark.parametrize("pause_ns", [0, 1_100_000_000])
def test_the_engine_sends_every_message_and_a_note_off_however_late(pause_ns: int) -> None:
    """On a clock that only jumps: everything at its moment and then silence; where the process stood still, late strokes
    are left out, their note-offs are not."""
    schedule = heard_plan(drill_of("anchor 1", tempo_bpm=240.0))
    paused: list[int] = []

    def suspend(at_ns: int) -> None:
        if pause_ns and not paused and at_ns > 1_003_000_000_000:
            paused.append(at_ns)
            clock.advance(pause_ns)

    clock = FakeClock(on_wait=suspend)
    output, (ours, theirs) = FakeOutPort(clock.now_ns), channel_pair()
    report = run_here(EngineSpec(schedule), clock, Channel(ours), inputs=[], output=output)
    ours.close()
    theirs.close()
    sent = [message for _, message in output.sent]
    silence = sent[-len(ALL_NOTES_OFF) :]
    strokes, heard = (sum(m[0] & 0xF0 == 0x90 for m in messages) for messages in (schedule.messages, sent))

    assert list(ALL_NOTES_OFF) == silence
    assert [m for m in schedule.messages if m[0] & 0xF0 == 0x80] == [m for m in sent if m[0] & 0xF0 == 0x80]
    assert (heard, bool(pause_ns), bool(pause_ns)) == (report.clicks, heard < strokes, report.clicks_unsent > 0)


@pytest.mark.live
def test_an_engine_that_was_killed_is_over_and_its_output_silenced_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """It cannot silence anything itself."""
    silenced: list[str | None] = []
    monkeypatch.setattr(playback_module, "silence", silenced.append)
    playback = Playback(heard_plan(drill_of("anchor 1")), "fake:")
    playback._engine._process.kill()
    until = now_ns() + 5_000_000_000
    while not playback.over and now_ns() < until:
        playback.turn()
        nap(0.02)
    over = playback.over
    playback.stop()
    playback.stop()

    assert over
    assert ["fake:"] == silenced
