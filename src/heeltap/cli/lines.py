"""A drill in plain lines: print every bar when it is over, then the report.

Inside: `play_in_lines`, `plain_face`, `report`.
"""

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from heeltap.safe_text import safe_file, safe_line
from heeltap.write import write_whole

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill
    from heeltap.app.drill.run import DrillOutcome, Face, Settings

__all__ = ["plain_face", "play_in_lines", "report"]


def report(outcome: "DrillOutcome", write: Callable[[str], object], *, kept: bool = True) -> None:
    """What became of a drill, as text."""
    from heeltap.app.drill.where_kept import where_kept
    from heeltap.views.text import render

    if outcome.problem:
        write(f"heeltap could not keep the whole take: {outcome.problem}\n")
    if outcome.folder is None:
        write("You played nothing, so heeltap kept no take.\n")
        return
    if outcome.ending != "played":
        write(safe_line(f"The take ended early: {outcome.ending}.") + "\n\n")
    if outcome.result is not None:
        write(render(outcome.result))
    if kept or outcome.problem:
        write(f"\n{where_kept(outcome)}\n")
        if outcome.notice:
            write(f"Note: {outcome.notice}\n")


def plain_face(what: "Drill", settings: "Settings", write: Callable[[str], object], encoding: str | None) -> "Face":
    """A face that prints every bar once, when it is over and may be shown."""
    from heeltap.session.session import BarDone, Feedback, Finished, Phase
    from heeltap.views.bar_sheet import bar_block, glyphs_for, gutter_of, least_width, plain

    glyphs, printed = glyphs_for(encoding), [-1]
    told = [""]

    def face(state: Any, effects: tuple[Any, ...]) -> None:
        """Print what is new."""
        width = max(least_width(state.columns), 48)
        if printed[0] < 0:
            printed[0] = 0
            write(_opening(what, settings, glyphs.dot))
        if state.notice != told[0]:
            told[0] = state.notice
            write(f"{state.notice}\n" if state.notice else "")
        ready = [effect for effect in effects if isinstance(effect, BarDone | Finished)]
        late = state.feedback is Feedback.AFTER and state.phase is not Phase.DONE
        if not ready or late:
            return
        last = len(state.columns.bars) if state.phase is Phase.DONE else state.bars_done
        for bar in state.columns.bars[printed[0] : last]:
            if state.phase is Phase.DONE and not any(state.strokes[i].notes for i in bar.targets):
                continue
            gutter = gutter_of(state.columns, glyphs)
            counted, *_, played = plain(bar_block(state, [bar], width, glyphs, gutter=gutter))
            write(f"{counted.replace('>', ' ', 1)}\n{played}\n")
        printed[0] = last

    return face


def _opening(what: "Drill", settings: "Settings", dot: str) -> str:
    """What is played, how fast, from where, and what the signs mean."""
    bpm = 60e6 / int(what.plan.tempo.us_per_quarter[0])
    from heeltap.app.drill.leading import leads

    click = settings.out_port or "silent"
    parts = [
        what.title,
        f"{bpm:.4g} bpm",
        f"{what.plan.bars} bars",
        f"in {' and '.join(settings.in_ports)}",
        f"click {click}",
        *(["measured against the drums"] if settings.out_port and leads(what) else []),
    ]
    lines = [safe_line(f" {dot} ".join(parts))]
    if what.aim:
        lines.append(safe_line(what.aim))
    lines.append("Minus is early, plus is late, in ms; k: another key; ?: no input. Ctrl-C ends the take and keeps it.")
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
    from heeltap.app.drill.run import drill
    from heeltap.files.result_json import to_json

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
        sys.stdout.write(safe_file(to_json(outcome.result)).decode() + "\n")
    elif outcome.result is not None and json_file:
        write_whole(json_file, safe_file(to_json(outcome.result, indent=True)))
    return outcome.exit_code
