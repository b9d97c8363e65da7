"""Get a drill ready from your settings alone, as the screens do.

Inside: `DrillChoice`, `OWN_CLICK`, `drill_chosen`, `prepared`, `route_in_use`.
"""

from dataclasses import dataclass

from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.drill import Drill, as_offered, drill_of
from heeltap.app.drill.player_setup import pads_for, player_of, with_learned_pads
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.run import Settings
from heeltap.app.drill.voices import kept_mix, mix_of
from heeltap.app.route.ports import NO_PORT, choose_inputs, choose_ports, own_sound
from heeltap.app.song.drill_song import SongDrill, song_drill
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import PortError
from heeltap.files.settings import read_settings
from heeltap.model.lean import Lean
from heeltap.session.session import Feedback
from heeltap.sound.click import ClickSound

__all__ = ["OWN_CLICK", "DrillChoice", "drill_chosen", "prepared", "route_in_use"]


OWN_CLICK = "own"
"""The click of the exercise itself."""


@dataclass(frozen=True, slots=True)
class DrillChoice:
    """What a player chose to drill, as `heeltap.app.drill.drill.drill_of` takes it."""

    what: str
    """An exercise by family and grade, an exercise of a set, a song with a section or bars, or a file."""
    tempo_bpm: float | None = None
    """None for the tempo that it has by itself."""
    seed: int | None = None
    """For a family: another number, another exercise of the grade; None for the first, and for what is not generated."""
    metre: str | None = None
    """For a family: one of `heeltap.model.exercise.METRES`; None is 4/4."""
    click: str | None = None
    """Which beats click, ``beat:NAME`` for drums, or `OWN_CLICK`; None as heeltap offers it: drums for the turn family."""
    lean: Lean | None = None
    """In place of the exercise's own."""
    feedback: Feedback = Feedback.BAR
    """When the player sees numbers."""


def drill_chosen(choice: DrillChoice, sound: ClickSound) -> Drill:
    """The drill that the player chose, with this sound of the click; raises as `heeltap.app.drill.drill.drill_of`."""
    song = song_drill(choice.what.split(maxsplit=1))
    if song is not None:
        return _of_song(song, choice, sound)
    drill = drill_of(
        choice.what,
        tempo_bpm=choice.tempo_bpm,
        seed=choice.seed,
        metre=choice.metre,
        click=None if choice.click == OWN_CLICK else choice.click,
        lean=choice.lean,
        sound=sound,
    )
    return as_offered(drill) if choice.click is None else drill


_PASSES = 4
"""How often a section of a song comes in a row, as bars that stood out do."""


def _of_song(song: SongDrill, choice: DrillChoice, sound: ClickSound) -> Drill:
    """A song to its own drums, or some of its bars in a loop with the bar before them to run in."""
    own = song.click if choice.click is None else None if choice.click == OWN_CLICK else choice.click
    whole = drill_of(
        song.path,
        tempo_bpm=choice.tempo_bpm,
        click=own,
        lean=choice.lean or song.lean,
        pocket_ms=song.pocket_ms,
        part=song.part,
        sound=sound,
    )
    if song.bars is None:
        return whole
    first, _, last = song.bars.partition("-")
    return drill_bars(whole, (int(first), int(last or first)), passes=_PASSES, run_in=int(first) > 1)


def route_in_use() -> tuple[tuple[str, ...], str | None]:
    """The inputs and the output that the settings and the plugged-in devices give.

    Where there is no device at all the computer's keyboard is the input and its own sound the output; without sound the
    click is only seen. A screen can say so and let the player begin, a command line cannot.

    Raises `SetFileError` when the settings have a mistake.
    """
    stored = read_settings()
    named = choose_inputs((), stored.in_ports)
    wanted = stored.out_port or None
    try:
        in_port, out_port = choose_ports(named[0] if named else None, wanted)
    except PortError:
        in_port, out_port = KEYS_NAME, own_sound() if wanted is None else None if wanted == NO_PORT else wanted
    return (in_port, *named[1:]), out_port


def prepared(choice: DrillChoice) -> tuple[Drill, Settings]:
    """What is to be played, and how.

    Raises
    ------
    PlanError, InputFileError, SetFileError
        There is no such exercise, no such sound of the click, or the settings have a mistake.
    """
    stored = read_settings()
    inputs, out_port = route_in_use()
    drill = drill_chosen(choice, kept_sound(stored))
    mix = mix_of(drill, kept_mix(stored))
    settings = Settings(inputs[0], out_port, feedback=choice.feedback, player=player_of(stored, inputs), mix=mix)
    return with_learned_pads(drill, pads_for(stored, inputs)), settings
