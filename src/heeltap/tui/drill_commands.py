"""What each key of the drill screen does, by what the screen shows: the question, what sounds, or the drill itself.

Inside: `GUESS_COMMANDS`, `DRILL_COMMANDS`, `keys_of`, `keep_volumes_of`, `ask_for_split`,
`take_split`, `take_hits`, `listen`, `told`.
"""

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from heeltap.app.drill.changes import at_tempo, eighths_offered, faster, for_pads, on_eighths, simpler, slower
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.split import QUESTION, keep_split, split_wanted
from heeltap.app.drill.voices import keep_volumes, voices_of
from heeltap.app.listen.piece import piece_of_click, piece_of_drill, piece_of_listed_bars, piece_of_take
from heeltap.clock import SystemClock
from heeltap.errors import HeeltapError
from heeltap.model.mix import MOST_PARTS, Mix
from heeltap.model.pitch import key_name
from heeltap.session.session import Pause, Phase, Resume, Show, step
from heeltap.tui.before_take import click_words
from heeltap.tui.keys import Key
from heeltap.tui.screens.drill_keys import GUESS_KEYS, NEXT_NUMBERS, drill_keys, mix_keys, report_keys, voice_of_key
from heeltap.tui.screens.listen import listening_keys, listening_words

if TYPE_CHECKING:
    from heeltap.tui.drill_app import DrillApp

__all__ = [
    "DRILL_COMMANDS",
    "GUESS_COMMANDS",
    "ask_for_split",
    "keep_volumes_of",
    "keys_of",
    "listen",
    "take_hits",
    "take_split",
    "told",
]

Commands = Mapping[str, Callable[["DrillApp"], object]]

_PASSES = 4
"""How often the bars that stood out come in a row: often enough to change something, short enough to listen. Ours."""


def _take_worst(app: "DrillApp") -> None:
    """Take up the bars that stood out, in a loop; where only bars are played, the whole drill again."""
    whole, worst = app.drill.whole, app.after.worst
    if whole is not None:
        app.action_change(lambda _: whole)
    elif worst is not None:
        app.action_change(lambda drill: drill_bars(drill, worst, passes=_PASSES, run_in=worst[0] > 1))


def _pause(app: "DrillApp") -> None:
    """Stop the click and the take; paused, count in and go on from the beginning of the bar."""
    run = app.running
    if run is not None:
        run.resume() if run.state.phase is Phase.PAUSED else run.pause()


def _leave_out(app: "DrillApp") -> None:
    """Judge nothing while the click goes on, or judge again."""
    run = app.running
    if run is not None:
        paused = run.state.phase is Phase.PAUSED
        run.ask(Resume(run.now_us) if paused else Pause(run.now_us))


def _measure(app: "DrillApp") -> None:
    """Leave for the screen that measures the delay of the gear."""
    app.wants_delay = True
    app.action_leave()


def _turn_page(app: "DrillApp") -> None:
    """From the report to the bars and back."""
    if app.play is None:
        app.after.turn_page()


def listen(app: "DrillApp") -> None:
    """Hear the last take, its listed bars first, or before a take what is to be played."""
    if not app.idle:
        return
    of_take = piece_of_take if app.listening.in_turn else piece_of_listed_bars
    drill, folder = app.drill, app.outcomes[-1].folder if app.state.phase is Phase.DONE else None
    if folder is not None:
        app.listening.begin(lambda: of_take(folder, drill.sound))
    else:
        app.listening.begin(lambda: piece_of_drill(drill))


def _numbers(app: "DrillApp") -> None:
    """Show the numbers at other times."""
    app.feedback = NEXT_NUMBERS[app.state.feedback]
    app.state = step(app.state, Show(app.feedback))[0]
    if app.running is not None:
        app.running.ask(Show(app.feedback))


def _test_click(app: "DrillApp") -> None:
    """Hear two bars of the click where it will sound."""
    if app.idle:
        app.listening.begin(lambda: piece_of_click(app.drill.sound))


def _tap(app: "DrillApp") -> None:
    """One tap of the tempo."""
    if app.idle:
        _tapped(app, *app.tried.tap_key(SystemClock().now_ns(), _beat_quarters(app)))


def take_hits(app: "DrillApp") -> None:
    """Show what was struck since the last picture; where it is taps of the tempo, take that up once they are whole."""
    _tapped(app, *app.tried.hear(app.listener.hits(), _beat_quarters(app)))


def _tapped(app: "DrillApp", bpm: float | None, words: str) -> None:
    """Say how far the taps are; take up the tempo once they are whole."""
    if bpm is None or app.changed_to(lambda drill: at_tempo(drill, bpm)):
        app.message = words or app.message


def _beat_quarters(app: "DrillApp") -> float:
    """Length of the beat, quarter notes."""
    return app.drill.plan.metre.metres[0].beat_quarters


def told(app: "DrillApp") -> str:
    """What the player must know now; empty when there is nothing."""
    if app.listening.on and not app.listening.of_bars:
        return click_words(app.settings.out_port)
    return listening_words(app.listening) or app.message or (app.listener.problem if app.idle else "")


def keys_of(app: "DrillApp") -> tuple[Key, ...]:
    """The keys of what is shown now."""
    if app.after.asking:
        return GUESS_KEYS
    if app.listening.on:
        return listening_keys(app.listening)
    part, state = app.drill.whole is not None, app.state
    if app.after.showing:
        return report_keys(
            measure=app.after.delay_unknown and not app.pads, worst=app.after.worst is not None, part=part
        )
    own_click = app.settings.follow_clock is None
    return drill_keys(
        state.phase,
        state.feedback,
        part=part,
        stands=state.stands,
        own_click=own_click,
        mix=mix_keys(app.mix, voices_of(app.drill)) if own_click and app.settings.out_port else (),
        eighths=own_click and eighths_offered(app.drill),
    )


def ask_for_split(app: "DrillApp") -> str:
    """The question where the hands part, where a drill needs to know; empty where it does not."""
    app.listener.wants_key = split_wanted(app.drill, app.settings)
    if not app.listener.wants_key:
        return ""
    app.listener.open()
    return QUESTION


def take_split(app: "DrillApp") -> str:
    """Keep the key that the player struck as the lowest of the right hand; what to say of it, empty where none was struck."""
    key, app.listener.key = app.listener.key, None
    if key is None:
        return ""
    try:
        app.settings = keep_split(app.settings, key)
    except HeeltapError as error:
        return str(error)
    return (
        f"Your right hand begins at {key_name(key)}. heeltap keeps that; heeltap drill --split KEY takes another key."
    )


GUESS_COMMANDS: Commands = {
    "e": lambda app: app.action_guess("early"),
    "o": lambda app: app.action_guess("on"),
    "l": lambda app: app.action_guess("late"),
    "escape": lambda app: app.action_guess(""),
}
"""While the screen asks how the take was."""


def _switch(key: str) -> Callable[["DrillApp"], object]:
    """The command that switches a voice on or off, by its number."""

    def switch(app: "DrillApp") -> None:
        voice = voice_of_key(key, voices_of(app.drill))
        _sound(app, app.mix.switched(voice))

    return switch


def _sound(app: "DrillApp", mix: Mix) -> None:
    """Have each voice as loud as this, now and in the takes to come."""
    app.settings = replace(app.settings, mix=mix)
    if app.running is not None:
        app.running.sound(mix)


def keep_volumes_of(app: "DrillApp", first: Mix) -> None:
    """Keep the volumes in the settings, where the player changed them by keys; what cannot be kept is no reason not to leave."""
    mix = app.mix
    if (mix.click_volume, mix.drums_volume, mix.parts_volume) != (
        first.click_volume,
        first.drums_volume,
        first.parts_volume,
    ):
        with contextlib.suppress(HeeltapError):
            keep_volumes(mix)


DRILL_COMMANDS: Commands = {
    **{str(number): _switch(str(number)) for number in range(1, 3 + MOST_PARTS)},
    "comma": lambda app: _sound(app, app.mix.louder(-1)),
    "full_stop": lambda app: _sound(app, app.mix.louder(1)),
    "e": lambda app: app.action_change(on_eighths),
    "c": _test_click,
    "t": _tap,
    "enter": lambda app: app.begin_take(),
    "l": listen,
    "escape": lambda app: app.action_escape(),
    "n": _numbers,
    "o": _leave_out,
    "p": _pause,
    "q": lambda app: app.action_leave(),
    "r": lambda app: app.again(),
    "tab": _turn_page,
    "minus": lambda app: app.action_change(slower, goes_on=True),
    "plus": lambda app: app.action_change(faster, goes_on=True),
    "m": lambda app: app.action_change(lambda drill: for_pads(simpler(drill), app.settings)),
    "u": _measure,
    "w": _take_worst,
    "x": lambda app: app.action_next(),
    "question_mark": lambda app: app.help_screen.open(),
}
"""Before, while and after something is played; a key does nothing where `DrillApp.keys_now` does not list it."""
