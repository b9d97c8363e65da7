"""``heeltap drill``: play against the click, live, on a drawn screen or as plain lines."""

import argparse
import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from heeltap.cli.click_options import add_click, add_clock, check_follow, click_sound, clock_settings
from heeltap.cli.handsfree import play_hands_free
from heeltap.cli.parser import lean, milliseconds, positive
from heeltap.errors import PortError

if TYPE_CHECKING:
    from heeltap.jobs.drill_plan import Drill
    from heeltap.jobs.drilling import DrillOutcome, Face, Settings

__all__ = ["add", "plain_face", "play_in_lines", "report", "run"]

_FEEDBACK = ("bar", "stroke", "after", "fade")


def add(commands: Any) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "drill",
        help="play against the click, live",
        description="Play an exercise against the click and see where each stroke sits. Every take is kept.",
        epilog="EXERCISE is a family and a grade ('anchor 2'; heeltap make lists them), an exercise file (.toml), or a "
        "MIDI file whose part is to be played.",
    )
    _add_what(parser)
    _add_route(parser)
    _add_aim(parser)
    _add_face(parser)


def _add_what(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "exercise", nargs="*", metavar="EXERCISE", default=["anchor", "1"], help="what to play (default: anchor 1)"
    )
    parser.add_argument("--part", help="which part of a MIDI file: its number, 'channel 10', or a name")
    parser.add_argument("--tempo", type=float, metavar="BPM", help="quarter notes a minute (default: the exercise's)")
    add_click(parser)
    parser.add_argument(
        "--seed", type=int, default=1, help="another number, another exercise of the grade (default: 1)"
    )


def _add_route(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--in",
        dest="in_ports",
        action="append",
        default=[],
        metavar="PORT",
        help="where you play: a MIDI input, or 'keys' for the computer's keyboard; several times for several inputs at "
        "once (default: the settings', else the first input)",
    )
    parser.add_argument(
        "--out",
        dest="out_port",
        metavar="PORT",
        help="where the click goes: a MIDI output, 'audio' or 'audio:DEVICE' for the computer's own sound, or 'none' "
        "(default: the first output)",
    )
    add_clock(parser)
    parser.add_argument(
        "--delay",
        type=milliseconds,
        metavar="MS",
        help="known delay of the route (default: what heeltap calibrate found)",
    )
    parser.add_argument(
        "--retrigger", type=_window, metavar="MS", help="fold double triggers within (default: 30; 0: off)"
    )
    parser.add_argument(
        "--split",
        metavar="KEY",
        help="keys below are the left hand's: C4 or a number, or 'none' (default: the settings')",
    )
    parser.add_argument(
        "--control",
        action="append",
        default=[],
        metavar="ACTION=KEY",
        help="hands-free: start=, stop= or repeat= with a pedal (cc64, sustain), a key (C#3) or a learned pad "
        "('pad crash'); never scored (default: the settings')",
    )


def _add_aim(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--lean",
        type=lean,
        default=argparse.SUPPRESS,  # a default given as text would be parsed like an argument
        metavar="MS",
        help="offset to aim at, plus is behind; or auto (default: the exercise's)",
    )
    parser.add_argument(
        "--pocket",
        type=positive,
        metavar="MS",
        help="half-width of the pocket (default: follows each stroke's interval)",
    )


def _add_face(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--feedback",
        choices=_FEEDBACK,
        default="bar",
        help="when numbers are shown: after each bar, at each stroke, after the take, or less and less often "
        "(default: bar)",
    )
    parser.add_argument(
        "--guess", action="store_true", help="ask early, on, or late? before the report is shown (drawn screen only)"
    )
    parser.add_argument("--no-screen", action="store_true", help="print plain lines instead of drawing a screen")
    parser.add_argument(
        "--json", metavar="FILE", help="also write the result as JSON; - writes it to stdout, nothing else"
    )


def _window(text: str) -> float:
    """A number of milliseconds, 0 or more."""
    value = milliseconds(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be 0 ms or more")
    return value


def run(args: argparse.Namespace) -> int:
    """Play the drill; returns the exit code: 0, or 130 after Ctrl-C."""
    what, settings = _wishes(args)
    drawn = not args.no_screen and args.json != "-" and sys.stdout.isatty() and sys.stdin.isatty()
    if "keys" in settings.in_ports and not drawn:
        raise PortError(
            "input 'keys': only the drawn screen reads the keyboard (leave out --no-screen, use a terminal)"
        )
    _recover(settings.takes)
    if drawn:
        # By name: the screen is a face beside this one, and only those who look at it pay for loading it.
        return int(importlib.import_module("heeltap.tui.running").run_drill(what, settings, json=args.json, guess=args.guess))
    if settings.player.controls:
        return play_hands_free(what, settings, args.json)
    return play_in_lines(what, settings, args.json)


def _wishes(args: argparse.Namespace) -> "tuple[Drill, Settings]":
    """What is to be played, and how."""
    from heeltap.files.settings import read_settings
    from heeltap.jobs.drill_plan import AS_WRITTEN, drill_of
    from heeltap.jobs.drilling import Settings
    from heeltap.jobs.player import pads_for, player_of, with_learned_pads
    from heeltap.jobs.ports import choose_inputs, choose_ports
    from heeltap.live.session import Feedback

    check_follow(args)
    what = drill_of(
        " ".join(args.exercise),
        tempo_bpm=args.tempo,
        lean_ms=getattr(args, "lean", AS_WRITTEN),
        pocket_ms=args.pocket,
        click=args.click,
        seed=args.seed,
        part=args.part,
        sound=click_sound(args),
    )
    stored = read_settings()
    named = choose_inputs(args.in_ports, stored.in_ports)
    in_port, out_port = choose_ports(named[0] if named else None, args.out_port or stored.out_port or None)
    inputs = (in_port, *named[1:])
    return with_learned_pads(what, pads_for(stored, inputs)), Settings(
        in_port,
        out_port,
        Feedback(args.feedback),
        delay_ms=args.delay,
        retrigger_ms=args.retrigger,
        player=player_of(stored, inputs, split=args.split, control=args.control),
        **clock_settings(args, in_port),
    )


def report(outcome: "DrillOutcome", write: Callable[[str], object], *, kept: bool = True) -> None:
    """What became of a drill, as text."""
    from heeltap.report.text import render

    if outcome.problem:
        write(f"The take could not be kept whole: {outcome.problem}\n")
    if outcome.folder is None:
        write("Nothing was played; no take was kept.\n")
        return
    if outcome.ending != "played":
        write(f"The take ended early: {outcome.ending}.\n\n")
    if outcome.result is not None:
        write(render(outcome.result))
    if outcome.problem:
        write(f"\nWhat there is of the take lies in {outcome.folder}; the next drill tries to finish it.\n")
    elif kept:
        write(f"\nThe take is kept in {outcome.folder}\n")
        if outcome.notice:
            write(f"Note: {outcome.notice}\n")


def plain_face(what: "Drill", settings: "Settings", write: Callable[[str], object], encoding: str | None) -> "Face":
    """A face that prints every bar once, when it is over and may be shown."""
    from heeltap.jobs.drill_text import bar_block, gutter_of, least_width, marks_for, plain
    from heeltap.live.session import BarDone, Feedback, Finished, Phase

    marks, printed = marks_for(encoding), [-1]
    told = [""]

    def face(state: Any, effects: tuple[Any, ...]) -> None:
        """Print what is new."""
        width = max(least_width(state.sheet), 48)
        if printed[0] < 0:
            printed[0] = 0
            write(_opening(what, settings, marks.dot))
        if state.notice != told[0]:
            told[0] = state.notice
            write(f"{state.notice}\n" if state.notice else "")
        ready = [effect for effect in effects if isinstance(effect, BarDone | Finished)]
        late = state.feedback is Feedback.AFTER and state.phase is not Phase.DONE
        if not ready or late:
            return
        last = len(state.sheet.bars) if state.phase is Phase.DONE else state.bars_done
        for bar in state.sheet.bars[printed[0] : last]:
            if state.phase is Phase.DONE and not any(state.strokes[i].notes for i in bar.targets):
                continue
            gutter = gutter_of(state.sheet, marks)
            counted, _, played = plain(bar_block(state, [bar], width, marks, gutter=gutter))
            write(f"{counted.replace('>', ' ', 1)}\n{played}\n")
        printed[0] = last

    return face


def _opening(what: "Drill", settings: "Settings", dot: str) -> str:
    """What is played, how fast, from where, and what the signs mean."""
    bpm = 60e6 / int(what.plan.tempo.us_per_quarter[0])
    click = settings.out_port or "silent"
    parts = [
        what.title,
        f"{bpm:.4g} bpm",
        f"{what.plan.bars} bars",
        f"in {' and '.join(settings.in_ports)}",
        f"click {click}",
    ]
    lines = [f" {dot} ".join(parts)]
    if what.aim:
        lines.append(what.aim)
    lines.append("Minus is early, plus is late, in ms; k: on another key; ?: no input. Ctrl-C ends and keeps the take.")
    return "\n".join(lines) + "\n\n"


def play_in_lines(
    what: "Drill",
    settings: "Settings",
    json_file: str | None = None,
    *,
    kept: bool = True,
    watch: "Face | None" = None,
) -> int:
    """Play with plain lines on stdout, or on stderr where stdout is for the result alone; returns the exit code.

    ``kept`` False is for a demo, whose take is thrown away and so not spoken of; ``watch`` is told what the face is.
    """
    from heeltap.jobs.drilling import INTERRUPTED, drill
    from heeltap.report.json import to_json

    stream = sys.stderr if json_file == "-" else sys.stdout

    def write(text: str) -> None:
        """Print at once: somebody is playing along."""
        stream.write(text)
        stream.flush()

    shown = plain_face(what, settings, write, stream.encoding)

    def face(state: Any, effects: tuple[Any, ...]) -> None:
        shown(state, effects)
        if watch is not None:
            watch(state, effects)

    outcome = drill(what, settings, face)
    write("\n")
    report(outcome, write, kept=kept)
    if outcome.result is not None and json_file == "-":
        sys.stdout.write(to_json(outcome.result).decode() + "\n")
    elif outcome.result is not None and json_file:
        Path(json_file).write_bytes(to_json(outcome.result, indent=True))
    return _exit_code(outcome, INTERRUPTED)


def _exit_code(outcome: "DrillOutcome", interrupted: str) -> int:
    """0 when it was played or stopped, 130 after Ctrl-C, 3 when the take could not be kept, 4 when a device broke."""
    if outcome.problem:
        return 3
    if outcome.ending == interrupted:
        return 130
    return 0 if outcome.ending in ("played", "stopped") else 4


def _recover(takes: Path) -> None:
    """Finish what a killed run left behind, and say so on stderr."""
    from heeltap.jobs.keeping import recover
    from heeltap.jobs.silence import silence_left

    found = recover(takes)
    silence_left(found)
    for one in found:
        if one.problem:
            print(f"heeltap: a take that was left behind cannot be finished: {one.problem}", file=sys.stderr)
        else:
            print(f"heeltap: recovered a take that was left behind: {one.folder}", file=sys.stderr)
