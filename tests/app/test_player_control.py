"""Hearing a take again, as a screen asks for it: one at a time, in order, and nothing left sounding."""

import threading
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill
from heeltap.app.listen.piece import Piece, piece_of_click, piece_of_drill, piece_of_take, whole
from heeltap.app.listen.player_control import PlayerControl, sound_in_use
from heeltap.errors import PlanError
from heeltap.files.settings import Stored, write_settings
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.model.timeline import Metre
from heeltap.sound.click import CLICK_SOUNDS
from tests.makers.drills import counted_plan
from tests.makers.kept import keep
from tests.makers.playbacks import Room, settled

BAR_US = 2_000_000
SENT = Schedule(as_ints([1]), (b"\x90\x3c\x40",), ("on",), 1)


def a_piece(bars: int = 10, what: tuple[str, str] = ("as played", "where it belongs")) -> Piece:
    """Bars of two seconds each."""
    return whole(tuple(BAR_US * bar for bar in range(bars)), lambda: SENT, what)


@pytest.fixture
def room(monkeypatch: pytest.MonkeyPatch) -> Room:
    """Where everything is heard."""
    found = Room()
    monkeypatch.setattr("heeltap.app.listen.player_control.Playback", found.open)
    return found


@pytest.fixture
def listening(room: Room) -> PlayerControl:
    """Into an output called Synth."""
    return PlayerControl(lambda: "Synth")


def heard_from(listening: PlayerControl, room: Room, bar: int, bars: int = 10) -> None:
    """Begin, and let a moment in the middle of a bar be heard."""
    listening.begin(lambda: a_piece(bars))
    settled(lambda: listening.now_us is not None)
    room.last.now_us = (bar - 1) * BAR_US + BAR_US // 2


def test_nothing_is_heard_before_it_is_asked_for(listening: PlayerControl, room: Room) -> None:
    """No words, no bar, no other version; every wish but to begin does nothing."""
    listening.other()
    listening.jump(1)
    listening.turn()
    listening.stop()

    assert (False, None, None, "", False, "") == (
        listening.on,
        listening.now_us,
        listening.bar,
        listening.what,
        listening.has_other,
        listening.problem,
    )
    assert [] == room.heard


def test_begin_is_heard_as_played_from_the_count_in(listening: PlayerControl, room: Room) -> None:
    """The output is asked for when it is about to sound, and the whole schedule goes there."""
    listening.begin(a_piece)
    assert listening.on
    settled(lambda: listening.now_us is not None)

    assert ("Synth", None, SENT, False) == (room.last.out_port, room.last.from_us, room.last.schedule, room.last.moved)
    assert (False, "as played", True) == (listening.moved, listening.what, listening.has_other)


@pytest.mark.parametrize(
    ("now_us", "bar"),
    [(-2_000_000, 0), (-1, 0), (0, 1), (BAR_US - 1, 1), (BAR_US, 2), (9 * BAR_US, 10), (50 * BAR_US, 10)],
)
def test_the_bar_is_the_one_that_is_heard(now_us: int, bar: int, listening: PlayerControl, room: Room) -> None:
    """0 in the count-in; a bar begins at its very moment; what rings on is the last bar's."""
    heard_from(listening, room, 1)
    room.last.now_us = now_us

    assert bar == listening.bar


def test_the_other_version_goes_on_where_one_was(listening: PlayerControl, room: Room) -> None:
    """There and back in the same playback, which goes on: nothing is stopped or opened anew."""
    heard_from(listening, room, 3)
    listening.other()
    assert (1, True, "where it belongs") == (len(room.heard), room.last.moved, listening.what)

    room.last.now_us = 4 * BAR_US + 1
    listening.other()

    assert (1, False, "as played", 0) == (len(room.heard), room.last.moved, listening.what, room.last.stops)


def test_the_other_version_asked_for_while_it_opens_is_heard_once_it_does(listening: PlayerControl, room: Room) -> None:
    """With its count-in, like any beginning."""
    room.gate.clear()
    listening.begin(a_piece)
    assert room.waiting.wait(10.0)
    listening._piece = a_piece()
    listening.other()
    room.gate.set()
    settled(lambda: bool(room.heard) and room.last.moved)

    assert (1, None) == (len(room.heard), room.last.from_us)


def test_a_plan_has_no_other_version(listening: PlayerControl, room: Room) -> None:
    """The key for it does nothing: what is heard goes on."""
    listening.begin(lambda: a_piece(what=("the plan", "the plan")))
    settled(lambda: listening.now_us is not None)
    listening.other()

    assert not listening.has_other
    assert (1, 0) == (len(room.heard), room.last.stops)


@pytest.mark.parametrize(
    ("bars", "bar", "steps", "to_bar"),
    [
        (10, 1, 1, 5),
        (10, 6, 1, 9),
        (10, 4, 1, 5),
        (10, 5, -1, 1),
        (10, 8, -1, 1),
        (10, 6, -1, 1),
        (10, 1, -1, 1),
        (10, 0, -1, 1),
        (10, 0, 1, 5),
        (10, 9, 1, 9),
        (10, 10, 5, 9),
        (8, 8, 1, 5),
        (3, 2, 1, 1),
        (1, 1, 1, 1),
        (10, 9, -9, 1),
    ],
)
def test_jumps_are_four_bars_and_stay_inside(
    bars: int, bar: int, steps: int, to_bar: int, listening: PlayerControl, room: Room
) -> None:
    """To the beginning of a group of four, never before the first nor beyond the last, in the version that is heard."""
    heard_from(listening, room, bar, bars)
    listening.other()
    room.last.now_us = (bar - 1) * BAR_US + 1
    listening.jump(steps)
    settled(lambda: len(room.heard) == 2)

    assert ((to_bar - 1) * BAR_US, True) == (room.last.from_us, room.last.moved)
    assert 1 == room.most


def test_stop_is_silence_at_once(listening: PlayerControl, room: Room) -> None:
    """The words go with the key, the playback in its thread; a second stop does nothing."""
    heard_from(listening, room, 2)
    listening.stop()
    assert (False, None, None) == (listening.on, listening.now_us, listening.bar)
    listening.stop()
    listening.free()

    assert (1, 0) == (room.last.stops, room.open_now)


def test_stop_while_it_is_being_opened_leaves_nothing_sounding(listening: PlayerControl, room: Room) -> None:
    """What opens after the player has gone on is stopped unheard; stop waits for nothing."""
    room.gate.clear()
    listening.begin(a_piece)
    assert room.waiting.wait(10.0)
    listening.stop()
    assert not listening.on
    room.gate.set()
    listening.free()

    assert [1] == [heard.stops for heard in room.heard]
    assert (0, None) == (room.open_now, listening.now_us)


def test_free_returns_when_the_output_is_free(listening: PlayerControl, room: Room) -> None:
    """Not before: what comes next may open the output."""
    room.gate.clear()
    listening.begin(a_piece)
    assert room.waiting.wait(10.0)
    threading.Timer(0.2, room.gate.set).start()
    listening.free()

    assert room.gate.is_set()
    assert (1, 0) == (len(room.heard), room.open_now)


def test_quick_begins_open_one_after_the_other(listening: PlayerControl, room: Room) -> None:
    """Never two at once; what was overtaken before its turn is not opened; the last one is heard."""
    room.gate.clear()
    for number in range(20):
        listening.begin(lambda number=number: a_piece(what=(f"take {number}", "")))
    assert room.waiting.wait(10.0)
    room.gate.set()
    settled(lambda: listening.now_us is not None)

    assert (1, "take 19") == (room.most, listening.what)
    assert len(room.heard) <= 2
    listening.free()
    assert (0, [1] * len(room.heard)) == (room.open_now, [heard.stops for heard in room.heard])


def test_begins_in_a_row_of_wishes_leave_nothing_open(
    listening: PlayerControl, room: Room, rng: np.random.Generator
) -> None:
    """Two hundred wishes at random, faster than anything opens: one at most is open, at the end none."""
    wishes = (
        lambda: listening.begin(a_piece),
        listening.other,
        lambda: listening.jump(int(rng.integers(-2, 3))),
        listening.stop,
        listening.turn,
    )
    pause = threading.Event()
    for _ in range(200):
        wishes[int(rng.integers(len(wishes)))]()
        if rng.random() < 0.3:
            pause.wait(0.002)
    listening.free()

    assert (1, 0) == (room.most, room.open_now)
    assert {1} == {heard.stops for heard in room.heard}


def test_an_output_that_cannot_be_opened_is_a_line(listening: PlayerControl, room: Room) -> None:
    """Then nothing is on; the next one is heard, and its words are the only ones."""
    room.broken = "output 'Synth': busy"
    listening.begin(a_piece)
    settled(lambda: bool(listening.problem))
    assert ("output 'Synth': busy", False, None) == (listening.problem, listening.on, listening.bar)

    room.broken = ""
    listening.begin(a_piece)
    settled(lambda: listening.now_us is not None)

    assert ("", True) == (listening.problem, listening.on)


def test_a_piece_that_cannot_be_read_is_a_line(listening: PlayerControl, room: Room) -> None:
    """Nothing is opened for it."""

    def gone() -> Piece:
        raise PlanError("takes/x: no such folder")

    listening.begin(gone)
    settled(lambda: bool(listening.problem))

    assert ("takes/x: no such folder", False, []) == (listening.problem, listening.on, room.heard)


def test_no_output_is_a_line_that_says_where_to_choose_one() -> None:
    """From the real playback: no engine is started."""
    silent = PlayerControl(lambda: None)
    silent.begin(a_piece)
    settled(lambda: bool(silent.problem))

    assert "no output" in silent.problem
    assert "set-up screen" in silent.problem
    assert not silent.on


def test_a_failure_that_came_too_late_is_not_said(listening: PlayerControl, room: Room) -> None:
    """Who has silenced it meanwhile wants no line about it."""
    room.gate.clear()
    room.broken = "output 'Synth': busy"
    listening.begin(a_piece)
    assert room.waiting.wait(10.0)
    listening.stop()
    room.gate.set()
    listening.free()

    assert ("", False) == (listening.problem, listening.on)


@pytest.mark.parametrize("problem", ["", "output 'Synth' went away"])
def test_it_ends_by_itself(problem: str, listening: PlayerControl, room: Room) -> None:
    """At the next turn nothing is on; what broke is said, and stop makes it forgotten."""
    heard_from(listening, room, 10)
    listening.turn()
    assert listening.on
    room.last.over, room.last.problem = True, problem
    listening.turn()

    assert (False, None, problem) == (listening.on, listening.bar, listening.problem)
    listening.free()
    assert (1, 0, "") == (room.last.stops, room.open_now, listening.problem)


def test_begin_after_the_other_version_is_as_played_again(listening: PlayerControl, room: Room) -> None:
    """Every beginning is the player's own playing."""
    heard_from(listening, room, 3)
    listening.other()
    listening.begin(a_piece)
    settled(lambda: len(room.heard) == 2)

    assert (False, None, False) == (room.last.moved, room.last.from_us, listening.moved)


def test_the_bars_of_a_take_are_those_of_its_plan(tmp_path: Path, rng: np.random.Generator) -> None:
    """Eight bars of 4/4 at the tempo of the exercise; two versions with different words and different notes."""
    folder = keep(tmp_path, bars=8, late_ms=30.0, rng=rng)
    piece = piece_of_take(folder, CLICK_SOUNDS["wood"])

    assert 8 == len(piece.starts_us)
    assert [round(4 * 60e6 / 96 * bar) for bar in range(8)] == list(piece.starts_us)
    assert ("the take as played", "the take where it belongs") == piece.what
    sent = piece.make()
    rows = list(zip(sent.due_us.tolist(), sent.kind, strict=True))
    voices = {kind: [due for due, one in rows if one == kind] for kind in ("part 1", "part 2")}
    assert voices["part 1"] != voices["part 2"]
    assert len(voices["part 1"]) == len(voices["part 2"]) > 0


def test_the_bars_of_a_drill_follow_its_metre() -> None:
    """Three quarters at 120 are a second and a half; both versions are one."""
    plan = counted_plan(["1 2 3"] * 4, metre=Metre(3, 4))
    piece = piece_of_drill(Drill("waltz", "Waltz", "", plan, None, 1, 0.0, None, None, None))

    assert (0, 1_500_000, 3_000_000, 4_500_000) == piece.starts_us
    assert piece.what[0] == piece.what[1]


def test_the_click_is_two_bars_of_its_sound() -> None:
    """Eight clicks at 100 bpm, the first of each bar louder, on the keys of the sound that is set."""
    piece = piece_of_click(CLICK_SOUNDS["wood"])
    schedule = piece.make()
    begins = [
        (due, message[2])
        for due, message in zip(schedule.due_us.tolist(), schedule.messages, strict=True)
        if message[0] & 0xF0 == 0x90
    ]

    assert (0, 2_400_000) == piece.starts_us
    assert [600_000 * beat for beat in range(8)] == [due for due, _ in begins]
    assert begins[0][1] == begins[4][1] > begins[1][1]


def test_the_sound_in_use_is_that_of_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Output, keys and level; a mistake in the settings is an error in one line."""
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([], []))
    write_settings(Stored(out_port="audio", click_velocity=65))
    out_port, sound = sound_in_use()
    assert ("audio", 65) == (out_port, sound.loudest)

    write_settings(Stored(click_notes="no such sound"))
    with pytest.raises(PlanError, match="no such sound"):
        sound_in_use()


def test_wishes_while_it_is_being_opened_go_on_from_each_other(listening: PlayerControl, room: Room) -> None:
    """Right, right and the other version in a moment: eight bars on, where it belongs, not the count-in."""
    heard_from(listening, room, 1, bars=20)
    room.gate.clear()
    listening.jump(1)
    listening.jump(1)
    listening.other()
    room.gate.set()
    settled(lambda: room.last.moved)

    assert 8 * BAR_US == room.last.from_us


def test_a_fault_of_ours_is_not_lost_in_the_thread(listening: PlayerControl) -> None:
    """It comes out where the screen asks, as it would without a thread."""
    listening.begin(lambda: {}["no such piece"])
    settled(lambda: listening._starting is not None and listening._starting.done())

    with pytest.raises(KeyError):
        listening.turn()
