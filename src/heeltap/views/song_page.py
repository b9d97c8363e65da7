"""One sheet of paper for a song: which take, which bars to play again with boxes to tick, where every bar lies, what to remember.

Inside: `SongPage`, `AgainRow`, `BarCell`, `page_of`, `page_writer`, `page_html`, `page_pdf`, `page_text`.
"""

import importlib
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from heeltap.app.score.reading import bar_us
from heeltap.app.song.answer import Answer, SongBars, drummer_ms
from heeltap.app.song.comp import Comp
from heeltap.app.song.open_song import OpenSong
from heeltap.errors import PlanError, sentence
from heeltap.model.result import Calibration, Replay, Result
from heeltap.views.comparison import short_names
from heeltap.views.page import page_from
from heeltap.views.song_text import bars_line
from heeltap.wording import bars as bars_in_words
from heeltap.wording import count, early_late, signed_ms

__all__ = ["AgainRow", "BarCell", "SongPage", "page_html", "page_of", "page_pdf", "page_text", "page_writer"]

_WIDTH = 79
"""Columns of the plain text: a printed page in a fixed-width face holds 80."""

_MOST_AGAIN, _MOST_REMEMBERED, _TICKS = 6, 4, 4
"""What one sheet holds, and one evening."""

_ROW, _MOST_ROWS = 8, 16
"""Bars of a row; a song of more rows than that gets twice as many bars in each."""

_SLOWER = 0.95
"""Tempo of the first tries, as the advice after a take has it."""


@dataclass(frozen=True, slots=True)
class AgainRow:
    """Bars to play again."""

    bars: str
    why: str
    how: str
    """Where to run in, and the tempi."""


@dataclass(frozen=True, slots=True)
class BarCell:
    """One bar of the song."""

    number: int
    section: str
    """Its section's name where one begins; empty elsewhere."""
    you: str
    """Signed milliseconds, the middle one of the takes; a dot where no take has a stroke."""
    drums: str
    """The drums' own against the click; empty where the click leads."""
    far: bool
    """Whether that lies outside the pocket."""


@dataclass(frozen=True, slots=True)
class SongPage:
    """Everything on the sheet; all texts are ready to be read."""

    title: str
    sentence: str
    use: tuple[str, ...]
    again: tuple[AgainRow, ...]
    ticks: int
    """Boxes behind each."""
    rows: tuple[tuple[BarCell, ...], ...]
    about_rows: str
    remember: tuple[str, ...]
    delay: str


def page_of(opened: OpenSong, found: Answer, comp: Comp | None = None) -> SongPage:
    """The sheet of a song.

    Parameters
    ----------
    opened : OpenSong
    found : Answer
        On one take or more.
    comp : Comp, optional
        The best stretches put together, where there are two takes or more.

    Returns
    -------
    SongPage
    """
    calibration = found.results[0].calibration
    return SongPage(
        title=f"{found.title}: {found.part}",
        sentence=_sentence(found),
        use=_use(found, comp),
        again=tuple(_again(opened, found))[:_MOST_AGAIN],
        ticks=_TICKS,
        rows=_rows(opened, found.results),
        about_rows=_about_rows(opened, found),
        remember=_remember(found),
        delay=_delay(calibration),
    )


def _best(found: Answer) -> int:
    """The take that lies best as a whole."""
    whole = found.compared.comparison.whole if found.compared is not None else None
    return 0 if whole is None else whole.best


def _own(found: Answer) -> list[SongBars]:
    """The bars that still come back and are the player's doing, the largest first."""
    still = (one for one in found.bars if not (one.is_the_drummers or one.habit.given_up))
    return sorted(still, key=lambda one: -abs(one.habit.mean_ms))


def _sentence(found: Answer) -> str:
    """The song in one sentence."""
    against = "the drums" if found.results[0].reference.kind == "leader" else "the click"
    takes = f"{count(len(found.names), 'take')} against {against}"
    own = _own(found)
    if own:
        where = bars_in_words(bar for one in own for bar in range(one.habit.first_bar, one.habit.last_bar + 1))
        sizes = [round(abs(one.habit.mean_ms)) for one in own]
        size = f"{min(sizes)} to {max(sizes)}" if min(sizes) < max(sizes) else f"{sizes[0]}"
        sides = {"early" if one.habit.mean_ms < 0 else "late" for one in own}
        return f"{takes}: again and again you are {' or '.join(sorted(sides))} in {where}, by {size} ms."
    overall = found.results[_best(found)].overall
    if overall.spread_ms is None:
        return f"{takes}: too few strokes to tell how you play."
    return f"{takes}: in {found.names[_best(found)]} your strokes spread by {overall.spread_ms:.0f} ms."


def _use(found: Answer, comp: Comp | None) -> tuple[str, ...]:
    """Which take as it is, and which stretches put together."""
    if found.compared is None or found.compared.comparison.whole is None:
        return (f"There is one take to use: {found.names[0]}.",)
    whole, names = found.compared.comparison.whole, short_names(found.names)
    lines = [f"One take for the whole song: {', or '.join(names[one] for one in (whole.best, *whole.as_good[:2]))}."]
    if comp is not None and len(comp.pieces) > 1:
        pieces = ", ".join(f"{one.first_bar}-{one.last_bar} {names[one.take]}" for one in comp.pieces)
        lines.append(f"The best of all takes, {count(len(comp.pieces) - 1, 'join')}: bars {pieces}.")
    return tuple(lines)


def _again(opened: OpenSong, found: Answer) -> Iterator[AgainRow]:
    """What comes back in the takes first, then what stands out in the take that lies best."""
    seen: set[int] = set()
    for one in _own(found):
        habit = one.habit
        seen.update(range(habit.first_bar, habit.last_bar + 1))
        where = f"{one.where}: " if one.where else ""
        why = f"{where}{early_late(habit.mean_ms)} in {habit.of_one_mind} of {habit.takes} takes"
        yield _row(opened, habit.first_bar, habit.last_bar, why)
    for listed in found.results[_best(found)].replay:
        if not seen.intersection(range(listed.first_bar, listed.last_bar + 1)):
            yield _row(opened, listed.first_bar, listed.last_bar, _why(found, listed))


def _why(found: Answer, listed: Replay) -> str:
    return f"{listed.why} ({short_names(found.names)[_best(found)]})" if len(found.names) > 1 else listed.why


def _row(opened: OpenSong, first: int, last: int, why: str) -> AgainRow:
    """Bars with their run-in and tempi."""
    bpm = 60_000_000 / float(opened.timeline.tempo.us_per_quarter_at(bar_us(opened.timeline, first)))
    run_in = f"run in from bar {first - 1}; " if first > 1 else ""
    how = f"{run_in}first at {bpm * _SLOWER:.0f} bpm, when it sits twice in a row at {bpm:.0f}"
    return AgainRow(bars_in_words(range(first, last + 1)), why, how)


def _rows(opened: OpenSong, results: Sequence[Result]) -> tuple[tuple[BarCell, ...], ...]:
    """Every bar of the song, in rows."""
    drums = drummer_ms(opened) if opened.drums is not None else None
    begins = {section.first_bar: section.name for section in opened.timeline.sections}
    lies = _by_bar(results)
    cells = []
    for bar in range(1, opened.bars + 1):
        shown, far = lies.get(bar, (None, False))
        own = "" if drums is None else signed_ms(float(drums[bar - 1]))
        cells.append(BarCell(bar, begins.get(bar, ""), signed_ms(shown), own, far))
    width = _ROW if len(cells) <= _ROW * _MOST_ROWS else 2 * _ROW
    return tuple(tuple(cells[at : at + width]) for at in range(0, len(cells), width))


def _by_bar(results: Sequence[Result]) -> dict[int, tuple[float, bool]]:
    """Where each bar lies in the middle one of the takes, and whether that is outside the pocket.

    Where the delay is not known, each take counts from its own middle.
    """
    lies: dict[int, list[tuple[float, float]]] = {}
    for result in results:
        centre_ms = result.overall.centre_ms
        by_bar: dict[int, list[float]] = {}
        for note in result.notes:
            if note.bar is not None and note.offset_ms is not None:
                by_bar.setdefault(note.bar, []).append(note.offset_ms)
        for bar, offsets in by_bar.items():
            from_centre = float(np.mean(offsets)) - centre_ms
            lies.setdefault(bar, []).append((from_centre + centre_ms * result.calibration.known, from_centre))
    pocket_ms = float(np.median([one.overall.pocket_ms for one in results if one.overall.pocket_ms] or [np.inf]))
    middle = {bar: np.median(np.array(rows), axis=0) for bar, rows in lies.items()}
    return {bar: (float(shown), abs(float(away)) > pocket_ms) for bar, (shown, away) in middle.items()}


def _about_rows(opened: OpenSong, found: Answer) -> str:
    """How to read the strip of bars."""
    against = "the drums" if opened.drums is not None else "the click"
    known = found.results[0].calibration.known
    middle = "in the middle one of your takes" if len(found.results) > 1 else "in your take"
    frm = f"against {against}" if known else f"against {against}, from the take's own middle"
    drums = "; below it the drums against the click" if opened.drums is not None else ""
    return f"Milliseconds of each bar {middle} {frm}: minus is early, + is late, a star lies outside the pocket{drums}."


def _remember(found: Answer) -> tuple[str, ...]:
    """What is measured to come back, at most four lines."""
    lines = [bars_line(one) for one in found.bars]
    lines += [f"In {one.takes} of {len(found.names)} takes: {one.text}" for one in found.habits]
    few = len(found.names) < 5
    nothing = "Too few takes to tell a habit; record five." if few else "No habit that heeltap can be sure of."
    return tuple(lines[:_MOST_REMEMBERED]) or (nothing,)


def _delay(calibration: Calibration) -> str:
    """What is known of the recording's delay."""
    if not calibration.known:
        return (
            "The delay of your recording is not known, so heeltap does not judge whether you are early or late as a whole. "
            "Write recording_delay_ms into the song file once you have measured it."
        )
    sure = "" if calibration.uncertainty_ms is None else f", give or take {calibration.uncertainty_ms:.1f} ms"
    return f"heeltap has taken the recording's delay of {calibration.delay_ms:.1f} ms{sure} away from every stroke."


def page_html(page: SongPage) -> str:
    """The sheet as a page, complete in itself. Every text is escaped: names and sections are other people's."""
    return page_from("song.html.j2", page=page)


def page_writer(path: str | Path) -> Callable[[SongPage], bytes]:
    """What makes the sheet as the kind of file that a name asks for.

    Parameters
    ----------
    path : path
        Ends in ``.html``, ``.pdf`` or ``.txt``.

    Raises
    ------
    PlanError
        Another ending; or ``.pdf``, and what prints pages is not installed.
    """
    ending = Path(path).suffix.lower()
    writers: dict[str, Callable[[SongPage], bytes]] = {
        ".html": lambda page: page_html(page).encode(),
        ".htm": lambda page: page_html(page).encode(),
        ".txt": lambda page: page_text(page).encode(),
        ".pdf": page_pdf,
    }
    if ending not in writers:
        raise PlanError(sentence(str(path), f"a name ending in '{ending}'", ".html, .pdf or .txt"))
    if ending == ".pdf":
        _printer(str(path))
    return writers[ending]


def page_pdf(page: SongPage) -> bytes:
    """The page as it prints, with its origin readable in it. Raises `PlanError` where what prints pages is not installed."""
    html: bytes = _printer("PDF").HTML(string=page_html(page)).write_pdf(uncompressed_pdf=True)
    return html


def _printer(where: str) -> Any:
    """The library that prints pages; the extra ``pdf`` installs it."""
    try:
        return importlib.import_module("weasyprint")
    except (ImportError, OSError) as error:  # OSError: its own libraries are missing
        hint = "install heeltap[pdf], or write .html and print it from your browser"
        raise PlanError(sentence(where, "no library that prints pages", "WeasyPrint", hint)) from error


def page_text(page: SongPage) -> str:
    """The same in plain characters, at most 79 columns."""
    lines = [page.title, "=" * len(page.title), *_wrapped(page.sentence)]
    lines += ["", "Use", *(row for line in page.use for row in _wrapped(line, "  "))]
    if page.again:
        lines += ["", "Play again"]
    for row in page.again:
        boxes = " ".join(["[ ]"] * page.ticks)
        lines += [f"  {boxes}  {row.bars}", *_wrapped(f"{row.why}; {row.how}", "      ")]
    lines += ["", "Bar by bar", *_wrapped(page.about_rows, "  ")]
    for cells in page.rows:
        lines += _strip(cells)
    lines += ["", "Remember", *(row for line in page.remember for row in _wrapped(line, "  "))]
    lines += ["", *_wrapped(page.delay)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _strip(cells: Sequence[BarCell]) -> list[str]:
    """A row of bars: sections, numbers, milliseconds, the drums' own."""
    width = (_WIDTH - 9) // len(cells) if len(cells) > _ROW else 8
    names = "".join(f"{cell.section[: width - 1]:<{width}}" for cell in cells)
    numbers = "".join(f"{cell.number:<{width}}" for cell in cells)
    you = "".join(f"{cell.you + ('*' if cell.far else ''):<{width}}" for cell in cells)
    rows = ["", *([f"{'':9}{names}"] if names.strip() else []), f"  bar    {numbers}", f"  you    {you}"]
    return rows + (
        [f"  drums  {''.join(f'{cell.drums:<{width}}' for cell in cells)}"] if any(c.drums for c in cells) else []
    )


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False) or [""]
