"""The keys of the drill screen, by what is going on.

Letters of the home row stay free: they are pads where the computer's keyboard is the instrument.

Inside: `drill_keys`, `mix_keys`, `voice_of_key`, `guess_page`, `report_keys`, `REPORT_KEYS`, `MEASURE`, `GUESS_KEYS`,
`NEXT_NUMBERS`, `DRILL_HELP`, `PADS_HELP`.
"""

from collections.abc import Iterable, Mapping, Sequence

from heeltap.model.mix import CLICK, DRUMS, Mix
from heeltap.session.session import Feedback, Phase
from heeltap.tui.keys import HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, clean, clip, page
from heeltap.tui.screens.listen import LISTEN
from heeltap.views.bar_sheet import Line, Span

__all__ = [
    "DRILL_HELP",
    "GUESS_KEYS",
    "NEXT_NUMBERS",
    "PADS_HELP",
    "REPORT_KEYS",
    "drill_keys",
    "guess_page",
    "mix_keys",
    "report_keys",
    "voice_of_key",
]

_NUMBERS = {
    Feedback.BAR: "each bar",
    Feedback.STROKE: "each stroke",
    Feedback.AFTER: "at the end",
    Feedback.FADE: "less and less",
}

NEXT_NUMBERS = {
    Feedback.BAR: Feedback.STROKE,
    Feedback.STROKE: Feedback.AFTER,
    Feedback.AFTER: Feedback.BAR,
    Feedback.FADE: Feedback.BAR,
}
"""What n makes of each."""

_SLOWER = Key("minus", "", "4 to 5 % slower; in the middle of a take heeltap keeps it and goes on from this bar", "-")
_FASTER = Key("plus", "tempo", "4 to 5 % faster, in the same way", "+")
_SIMPLER = Key("m", "simpler", "the grade below, in the same way")
_NEXT = Key("x", "next", "the exercise that your takes ask for, with the reason")
_AGAIN = Key("enter", "again", "play the same again")
_BACK = Key("escape", "back", "back to the screen before; from heeltap drill, leave", "esc")

MEASURE = Key("u", "delay", "measure the delay of your gear, so that early and late are yours alone: two minutes")

_TEST = Key("c", "test", "hear two bars of the click; the line of beats shows every key and pad that you strike")
_TAP = Key("t", "tap", "tap four beats, with t or where you play: that is the tempo")

_EIGHTHS = Key(
    "e",
    "eighths",
    "a click on every eighth, softer between the beats, which keeps a slow beat; again: the beats",
)
_NAME_COLUMNS = 10

_PAUSE = Key("p", "pause", "stop the click and the take")
_GO_ON = Key(
    "p", "go on", "count in, and go on from the beginning of the bar in which you paused; you play that bar again"
)
_LEAVE_OUT = Key("o", "leave out", "from here on heeltap judges nothing, and the click goes on")
_JUDGE_AGAIN = Key("o", "judge again", "from here on heeltap judges what you play")

_WORST = Key("w", "worst bars", "play the bars that stood out, four times in a row, with the bar before them to run in")
_WHOLE = Key("w", "whole", "all bars again")

REPORT_KEYS = (
    _AGAIN,
    LISTEN,
    Key("left", "", "a page back", "left"),
    Key("right", "page", "a page on: the picture, then every number; the lines scroll like everywhere", "right"),
    Key("tab", "bars", "the bars with their numbers, and back"),
    _SIMPLER,
    _NEXT,
    _SLOWER,
    _FASTER,
    _BACK,
    MOVE,
    HELP,
    QUIT,
)
"""After a take."""

GUESS_KEYS = (
    Key("e", "early", "you think that you were early"),
    Key("o", "on", "you think that you were on the lean"),
    Key("l", "late", "you think that you were late"),
    Key("escape", "no guess", "show the report without a guess", "esc"),
)
"""Before the report, where guesses are wanted."""

DRILL_HELP = (
    "Numbers are milliseconds, minus is early; an underlined one lies outside the pocket. Let them wait for the end of the "
    "bar or of the take: if you see one at each stroke, you come to rely on it. You can quit at any time; heeltap keeps the "
    "take.",
)

PADS_HELP = "Pads on the computer's keyboard: space and j snare, f kick, d and k closed hat, s open hat, l ride."


def mix_keys(mix: Mix, voices: Mapping[str, str]) -> tuple[Key, ...]:
    """The keys that switch each voice, by its number, and those that change the volume of what was switched last.

    Parameters
    ----------
    mix : Mix
    voices : mapping
        Name of each voice that can sound, by voice.
    """
    named = {voice: clean(name) for voice, name in voices.items()}
    count = "; you hear the count-in in any case"
    switches = [
        Key(
            _number_of(voice),
            f"{clip(name, _NAME_COLUMNS)} {'on' if voice in mix.off else 'off'}",
            f"switch {name} on or off{count if voice == CLICK else ''}",
        )
        for voice, name in named.items()
    ]
    name, percent = clip(named.get(mix.chosen, ""), _NAME_COLUMNS), mix.volume(mix.chosen)
    softer = Key("comma", "", "what you switched last, or the click, 10 % softer; heeltap keeps the volumes", ",")
    return (
        *switches,
        softer,
        Key("full_stop", f"{name} {percent}", "the same 10 % louder; 100 is as loud as it is written", "."),
    )


def voice_of_key(key: str, voices: Iterable[str]) -> str:
    """The voice that a key switches; empty where there is none."""
    return next((voice for voice in voices if _number_of(voice) == key), "")


def _number_of(voice: str) -> str:
    """1 is the click, 2 the drums, then come the other parts of the song."""
    return {CLICK: "1", DRUMS: "2"}.get(voice) or str(2 + int(voice.split()[-1]))


def drill_keys(
    phase: Phase,
    feedback: Feedback,
    *,
    part: bool = False,
    stands: bool = False,
    own_click: bool = True,
    mix: Sequence[Key] = (),
    eighths: bool = False,
) -> tuple[Key, ...]:
    """The keys of the drill that do something now.

    Parameters
    ----------
    phase : Phase
    feedback : Feedback
        When the numbers are shown.
    part : bool
        Only some bars of a drill are played.
    stands : bool
        The take is paused, and the click with it.
    own_click : bool
        The click is heeltap's own, so that a pause can stop it.
    mix : sequence of Key
        From `mix_keys`; empty where nothing sounds.
    eighths : bool
        The tempo is so slow that heeltap offers a click on eighths.
    """
    whole = (_WHOLE,) if part else ()
    numbers = Key(
        "n", f"numbers: {_NUMBERS[feedback]}", "show the numbers at another time: bar, stroke, after the take"
    )
    if phase is Phase.READY:
        start = Key("enter", "start", "count in and begin")
        tried = (_TEST, *((_TAP,) if own_click else ()), *((_EIGHTHS,) if eighths else ()))
        return start, LISTEN, *tried, _SLOWER, _FASTER, *mix, *whole, _SIMPLER, _NEXT, numbers, _BACK, HELP, QUIT
    if phase is Phase.DONE:
        report = Key("tab", "report", "the report, and back")
        other = Key("down", "other bars", "scroll the bars: by a row, by a screen, to the ends", "up/down")
        return _AGAIN, LISTEN, *whole, _SIMPLER, _NEXT, report, _SLOWER, _FASTER, other, _BACK, HELP, QUIT
    stop = Key("escape", "stop", "end the take here; heeltap keeps it and judges it", "esc")
    again = Key("r", "again", "end the take and begin it again")
    if phase is Phase.PAUSED:
        pauses = [_GO_ON if stands else _JUDGE_AGAIN]
    else:
        pauses = [_PAUSE, _LEAVE_OUT] if own_click else [_LEAVE_OUT]
    return stop, *pauses, numbers, again, _SLOWER, _FASTER, *mix, _SIMPLER, HELP, QUIT


def report_keys(*, measure: bool, worst: bool = False, part: bool = False) -> tuple[Key, ...]:
    """The keys of the report, by what there is to do.

    Parameters
    ----------
    measure : bool
        The delay of the gear is not known and can be measured.
    worst : bool
        Some bars stood out.
    part : bool
        Only some bars of a drill were played.
    """
    more = [key for key, wanted in ((_WHOLE, part), (_WORST, worst and not part), (MEASURE, measure)) if wanted]
    return (*REPORT_KEYS[:2], *more, *REPORT_KEYS[2:])


def guess_page(look: Look, title: str, *, message: str = "") -> list[Line]:
    """The question before the report."""
    question: Line = [Span("  Before you look: were you early, on, or late?", "head")]
    return page(look, title, "", [[], question], GUESS_KEYS, message=message)
