"""``heeltap drill``: play against the click, live, on a drawn screen or as plain lines."""

import argparse
import importlib
from typing import TYPE_CHECKING

from heeltap.cli.click_options import (
    add_click,
    add_clock,
    add_mix,
    check_follow,
    click_sound,
    followed_port,
    mix_wanted,
)
from heeltap.cli.handsfree import play_hands_free
from heeltap.cli.left_behind import finish_left_behind
from heeltap.cli.lines import play_in_lines
from heeltap.cli.options import (
    add_delay,
    add_force,
    add_json,
    add_lean,
    add_metre,
    add_pocket,
    add_retrigger,
    add_seed,
    add_split,
    add_tempo,
    refuse,
)
from heeltap.cli.output import RESULT, check
from heeltap.cli.parser import Commands
from heeltap.cli.range_options import add_range, ranged
from heeltap.cli.terminal import can_draw
from heeltap.errors import OptionError, PortError, sentence

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill
    from heeltap.app.drill.run import Settings

__all__ = ["add", "run"]

_FEEDBACK = ("bar", "stroke", "after", "fade")


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "drill",
        help="play against the click, live",
        description="Play an exercise against the click and see how early or late each stroke is. heeltap keeps every take.",
        example='heeltap drill anchor 2 --in "Drum Pads" --tempo 88',
        epilog="EXERCISE is a family and a grade ('anchor 2'; heeltap make lists them), an exercise of a set ('first-week:1'), "
        "an exercise file (.toml), a MIDI file with the part that you want to play, or a song with a section or bars of it "
        "('harbour chorus-2', 'harbour 59-62').",
    )
    _add_what(parser)
    _add_route(parser)
    _add_aim(parser)
    _add_face(parser)


def _add_what(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "exercise", nargs="*", metavar="EXERCISE", default=["anchor", "1"], help="what to play (default: anchor 1)"
    )
    parser.add_argument("--part", help="the part of a MIDI file: its number, 'channel 10', or its name")
    add_tempo(parser, "as in the exercise")
    add_range(parser)
    add_click(parser)
    add_mix(parser)
    add_seed(parser, "gives another exercise of the grade")
    add_metre(parser, "4/4; only for a family and grade")


def _add_route(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--in",
        dest="in_ports",
        action="append",
        default=[],
        metavar="PORT",
        help="where you play: a MIDI input, or 'keys' for the computer's keyboard; say it again for each further input "
        "(default: as in your settings, else the first input)",
    )
    parser.add_argument(
        "--out",
        dest="out_port",
        metavar="PORT",
        help="where you hear the click: a MIDI output, 'audio' or 'audio:DEVICE' for the computer's own sound, or 'none' "
        "(default: as in your settings, else the first output)",
    )
    add_clock(parser)
    add_delay(parser, "the delay of your gear (default: what heeltap calibrate measured)")
    add_retrigger(parser)
    add_split(parser, "C4, a number, or 'none' (default: as in your settings)")
    parser.add_argument(
        "--control",
        action="append",
        default=[],
        metavar="ACTION=KEY",
        help="start=, stop= or repeat= with a pedal (cc64, sustain), a key (C#3) or a learned pad ('pad crash'); heeltap "
        "never scores it (default: as in your settings)",
    )


def _add_aim(parser: argparse.ArgumentParser) -> None:
    add_lean(parser, "where to aim", "as in the exercise")
    add_pocket(parser)


def _add_face(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--feedback",
        choices=_FEEDBACK,
        default="bar",
        help="when you see numbers: after each bar, at each stroke, after the take, or less and less often (default: bar)",
    )
    parser.add_argument(
        "--guess", action="store_true", help="ask you 'early, on, or late?' before the report (drawn screen only)"
    )
    parser.add_argument("--no-screen", action="store_true", help="print plain lines instead of drawing a screen")
    add_json(parser)
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Play the drill; returns the exit code: 0, or 130 after Ctrl-C."""
    drawn = not args.no_screen and args.json != "-" and can_draw()
    if not drawn and (wrong := refuse(args, {"guess": "--guess"}, "needs the drawn screen")):
        return wrong
    check(args, args.json, RESULT, args.exercise)
    what, settings = _wishes(args)
    if "keys" in settings.in_ports and not drawn:
        raise PortError(
            "input 'keys': only the drawn screen reads the computer's keyboard (leave out --no-screen, use a terminal)"
        )
    finish_left_behind(settings.takes)
    if drawn:
        # By name: the screen is a face beside this one, and only those who look at it pay for loading it.
        return int(
            importlib.import_module("heeltap.tui.running").run_drill(what, settings, json=args.json, guess=args.guess)
        )
    if settings.player.controls:
        return play_hands_free(what, settings, args.json)
    return play_in_lines(what, settings, args.json)


def _wishes(args: argparse.Namespace) -> "tuple[Drill, Settings]":
    """What is to be played, and how."""
    from heeltap.app.drill.drill import drill_of
    from heeltap.app.drill.leading import led_by
    from heeltap.app.drill.player_setup import pads_for, player_of, with_learned_pads
    from heeltap.app.drill.run import Settings
    from heeltap.app.route.ports import choose_inputs, choose_ports
    from heeltap.files.settings import read_settings
    from heeltap.session.session import Feedback

    _take_song(args)
    check_follow(args)
    stored = read_settings()
    what = drill_of(
        " ".join(args.exercise),
        tempo_bpm=args.tempo,
        lean=args.lean,
        pocket_ms=args.pocket,
        click=args.click,
        seed=args.seed,
        metre=args.metre,
        part=args.part,
        sound=click_sound(args, stored),
    )
    named = choose_inputs(args.in_ports, stored.in_ports)
    in_port, out_port = choose_ports(named[0] if named else None, args.out_port or stored.out_port or None)
    inputs = (in_port, *named[1:])
    what = led_by(what, args.leader)
    return ranged(args, with_learned_pads(what, pads_for(stored, inputs))), Settings(
        in_port,
        out_port,
        Feedback(args.feedback),
        delay_ms=args.delay,
        retrigger_ms=args.retrigger,
        player=player_of(stored, inputs, split=args.split, control=args.control),
        follow_clock=followed_port(args, in_port),
        send_clock=args.send_clock or args.song_bar is not None,
        song_bar=args.song_bar,
        mix=mix_wanted(args, stored, what),
    )


def _take_song(args: argparse.Namespace) -> None:
    """Where a song is named: its file, part and drums; what was given by an option goes before the song's own."""
    from heeltap.app.song.drill_song import song_drill

    song = song_drill(args.exercise)
    if song is None:
        return
    named = [flag for flag, value in (("--part", args.part), ("--bars", args.bars and song.bars)) if value]
    if named:
        raise OptionError(sentence(args.exercise[0], f"{' and '.join(named)} for a song", "none", "the song says it"))
    args.exercise, args.part = [song.path], song.part
    args.bars = args.bars or song.bars
    if args.follow_clock is None:
        args.click = args.click or song.click
    args.lean, args.pocket = args.lean or song.lean, args.pocket or song.pocket_ms
