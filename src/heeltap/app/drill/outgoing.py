"""What a drill sends, and to which output: the click or a drummer, the MIDI clock beside it, or nothing.

Inside: `what_is_sent`, `sound_of_port`.
"""

from heeltap.app.drill.drill import Drill
from heeltap.errors import PortError, sentence
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule, merge
from heeltap.sound.audio_out import AudioOutput, is_audio
from heeltap.sound.midi_clock import clock_schedule

__all__ = ["sound_of_port", "what_is_sent"]


def what_is_sent(
    drill: Drill, out_port: str | None, *, send_clock: bool = False, song_bar: int | None = None, silent: bool = False
) -> Schedule:
    """Everything that is sent; of two at once what is heard goes first.

    Parameters
    ----------
    drill : Drill
    out_port : str, optional
        Where to.
    send_clock : bool
        MIDI clock, start and stop as well.
    song_bar : int, optional
        The bar of its own song at which a receiver begins.
    silent : bool
        Nothing at all: another device plays the beat.

    Raises
    ------
    PortError
        A clock is to be sent, and the output is no MIDI port.
    PlanError
        A song position that cannot be sent.
    """
    if silent:
        return Schedule(as_ints([]), (), (), drill.schedule.end_us)
    band = [] if drill.band.schedule is None else [drill.band.schedule]
    sounds = merge(drill.schedule, drill.beneath, *band)
    if not send_clock:
        return sounds
    if out_port is None or is_audio(out_port):
        raise PortError(sentence("MIDI clock", "no MIDI output", "a device to send it to (--out PORT)"))
    plan = drill.plan
    bar = plan.metre.metres[0].bar_quarters
    clock = clock_schedule(
        plan.tempo,
        from_quarter=float(plan.tempo.quarter_at(-drill.count_in_us)),
        to_quarter=float(plan.metre.quarter_of_bar(plan.bars + 1)),
        song_quarter=None if song_bar is None else (song_bar - 1) * bar,
    )
    return merge(sounds, clock)


def sound_of_port(out_port: str | None) -> AudioOutput | None:
    """What opens the computer's own sound where that is the output; None for a MIDI port and for silence."""
    return AudioOutput(out_port) if out_port is not None and is_audio(out_port) else None
