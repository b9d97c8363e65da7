"""Options for what you hear while you play, and for the MIDI clock.

Inside: `add_click`, `add_mix`, `click_sound`, `mix_wanted`, `add_clock`, `check_follow`, `followed_port`.
"""

import argparse
from typing import TYPE_CHECKING

from heeltap.errors import OptionError, sentence

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill
    from heeltap.files.settings import Stored
    from heeltap.model.mix import Mix
    from heeltap.sound.click import ClickSound

__all__ = ["add_click", "add_clock", "add_mix", "check_follow", "click_sound", "followed_port", "mix_wanted"]


_OURS = {
    "out_port": "--out",
    "send_clock": "--send-clock",
    "song_bar": "--song-bar",
    "click": "--click",
    "leader": "--leader",
    "click_notes": "--click-notes",
    "click_channel": "--click-channel",
    "click_velocity": "--click-velocity",
    "run_in": "--run-in",
    "hear": "--hear",
    "click_volume": "--click-volume",
    "drums_volume": "--drums-volume",
    "parts_volume": "--parts-volume",
}
"""Options of a beat of our own."""


def add_click(parser: argparse.ArgumentParser) -> None:
    """What is heard, and how it sounds."""
    parser.add_argument(
        "--click",
        metavar="KIND",
        help="every, eighths, backbeat, one, fade, none, or 'bars 2+2'; beat:NAME for a drum pattern, part:NAME (part:drums) "
        "for a part of the song, either with fade or 'bars 2+2' behind it (default: as in the exercise)",
    )
    parser.add_argument(
        "--leader",
        choices=("drums", "click"),
        help="what heeltap measures your strokes against (default: the drums of a song where they sound, else the click)",
    )
    parser.add_argument(
        "--click-notes",
        metavar="KEYS",
        help="wood, metronome, stick, or two keys, for a beat and for beat one, such as 33,34 (default: as in your settings, "
        "else wood)",
    )
    parser.add_argument(
        "--click-channel",
        type=int,
        metavar="N",
        help="MIDI channel of click and drums, 1 to 16 (default: as in your settings, else 10)",
    )
    parser.add_argument(
        "--click-velocity",
        type=int,
        metavar="N",
        help="velocity of beat one, 1 to 127; the other beats are softer (default: as in your settings, else 110)",
    )


def add_mix(parser: argparse.ArgumentParser) -> None:
    """What else sounds, and how loud."""
    parser.add_argument(
        "--hear",
        action="append",
        metavar="PART",
        help="let another part of the song sound as well; say it again for each further part (keys 3 to 9 switch them)",
    )
    heard = {"click": "click and count-in sound", "drums": "drums sound", "parts": "other parts of a song sound"}
    for name, what in heard.items():
        parser.add_argument(
            f"--{name}-volume",
            type=int,
            metavar="PERCENT",
            help=f"how loud the {what}, 0 to 100 (default: as in your settings, else 100)",
        )


def mix_wanted(args: argparse.Namespace, stored: "Stored", drill: "Drill") -> "Mix":
    """How loud each voice of a drill is; the options go before the settings. Raises `PlanError`, `OptionError`."""
    from heeltap.app.drill.voices import kept_mix, mix_of

    volumes = kept_mix(stored, click=args.click_volume, drums=args.drums_volume, parts=args.parts_volume)
    return mix_of(drill, volumes, args.hear)


def click_sound(args: argparse.Namespace, stored: "Stored") -> "ClickSound":
    """How the click is to sound; the options go before the settings. Raises `PlanError`."""
    from heeltap.app.drill.backing import kept_sound

    return kept_sound(stored, args.click_notes, channel=args.click_channel, velocity=args.click_velocity)


def add_clock(parser: argparse.ArgumentParser) -> None:
    """MIDI clock to other devices."""
    parser.add_argument(
        "--send-clock", action="store_true", help="send MIDI clock, start and stop to the output as well"
    )
    _add_follow(parser)
    parser.add_argument(
        "--song-bar",
        type=_bar,
        metavar="BAR",
        help="with --send-clock: the other device begins at this bar of its own song (song position), not at its start",
    )


def _add_follow(parser: argparse.ArgumentParser) -> None:
    """MIDI clock from another device."""
    parser.add_argument(
        "--follow-clock",
        nargs="?",
        const="",
        metavar="PORT",
        help="play to the MIDI clock of another device, which plays the beat; the drill begins with that device's start and "
        "a bar of count-in (default of PORT: the input that you play)",
    )


def check_follow(args: argparse.Namespace) -> None:
    """Refuse what does not go together with another device's clock; raises `OptionError`."""
    if args.follow_clock is None:
        return
    given = [flag for name, flag in _OURS.items() if getattr(args, name) not in (None, False)]
    if args.out_port == "none":
        given.remove("--out")
    if given:
        hint = "the device whose clock is followed plays the beat"
        raise OptionError(sentence("--follow-clock", f"with {' and '.join(given)}", "without", hint))
    args.out_port = "none"


def followed_port(args: argparse.Namespace, in_port: str) -> str | None:
    """The input whose clock is followed: the first one that is played where no port is named; None for our own click."""
    return in_port if args.follow_clock == "" else args.follow_clock


def _bar(text: str) -> int:
    """A bar number from 1."""
    if not (text.isascii() and text.isdecimal() and 1 <= int(text) <= 9999):
        raise argparse.ArgumentTypeError(f"{text!r} must be a bar number from 1")
    return int(text)
