"""What heeltap says of a song's takes, of a new song file and of a comp, as plain text.

Inside: `song_text`, `bars_line`, `band_lines`, `song_csv`, `new_song_text`, `comp_text`.
"""

import csv
import io
import math
from collections.abc import Mapping, Sequence

from heeltap.analysis.leader.band import BandHits
from heeltap.analysis.leader.leader import PairLead
from heeltap.app.song.answer import Answer, SongBars
from heeltap.app.song.band import Band
from heeltap.app.song.comp import Comp
from heeltap.model.plan import Section
from heeltap.model.song import Song
from heeltap.safe_text import safe_line
from heeltap.views.comparison import render_comparison, short_names
from heeltap.views.history import guarded
from heeltap.views.text import render, wrapped
from heeltap.wording import bars as bars_in_words
from heeltap.wording import count, early_late, ms, range_ms

__all__ = ["band_lines", "bars_line", "comp_text", "new_song_text", "song_csv", "song_text"]


def song_text(found: Answer, *, command: str = "") -> str:
    """The whole answer: what to know first, which take, which bars, which habit, what next.

    Parameters
    ----------
    found : Answer
    command : str
        How it was asked for, for the last line.

    Returns
    -------
    str
        Ends in a newline.
    """
    number = count(len(found.names), "take")
    against = found.results[0].reference.name
    blocks = [wrapped(f"{found.title}: {number} of {found.part} against {against}")]
    blocks += ["FIRST", _lines(found.notes)] if found.notes else []
    if found.compared is None:
        return "\n\n".join([*blocks, render(found.results[0], command=command)])
    one = found.compared
    more: list[str] = []
    if found.bars:
        more += ["BARS THAT COME BACK", _lines([bars_line(one) for one in found.bars])]
    if found.habits:
        said = [f"In {habit.takes} of {len(found.names)} takes: {habit.text}" for habit in found.habits]
        more += ["WHAT COMES BACK", _lines(said)]
    best = 0 if one.comparison.whole is None else one.comparison.whole.best
    band = band_lines(found.band, best, short_names(found.names)) if found.band is not None else []
    title = "YOU AND THE DRUMS" if found.band is None or len(found.band.names) == 2 else "THE BAND"
    more += [title, _lines(band)] if band else []
    steps = [advice.text for advice in found.results[best].advice[:2]]
    more += ["NEXT", _lines(steps)] if steps else []
    report = render_comparison(
        one.names,
        one.comparison,
        one.replay,
        delay_known=one.delay_known,
        against=one.against,
        command=command,
        more=more,
    )
    return "\n\n".join([*blocks, report])


def bars_line(one: SongBars) -> str:
    """One habit of certain bars, or the drummer's."""
    habit = one.habit
    bars = bars_in_words(range(habit.first_bar, habit.last_bar + 1))
    where = f", {one.where}" if one.where else ""
    often = f"in {habit.of_one_mind} of {habit.takes} takes"
    size = early_late(habit.mean_ms)
    if one.is_the_drummers:
        return (
            f"{bars.capitalize()}{where}: the drummer lies {early_late(one.drummer_ms)} there against the click, and {often} you "
            f"stay with the click, {size} against the drums. Play on, or move the drums."
        )
    if habit.given_up:
        first, last = habit.of_one_mind, habit.takes - habit.of_one_mind
        return f"{bars.capitalize()}{where}: in your first {first} takes you were {size}; in the last {last} you no longer are."
    return f"{bars.capitalize()}{where}: {often} you are {size}, measured against the rest of your take."


def band_lines(band: Band, best: int, names: Sequence[str]) -> list[str]:
    """How wide the band's hits are in the best take, beside the others, and who is early."""
    hits = band.hits[best]
    lines = [] if hits is None else [_hits_line(band, hits, best, names)]
    if not band.delay_known:
        unknown = "Who is early cannot be told, because the delay of your recording is not known"
        return [*lines, f"{unknown}; your part is held around the drums." if lines else f"{unknown}."]
    return lines + [_lead(band.names, pair) for pair in band.leads[best]]


def _hits_line(band: Band, hits: BandHits, best: int, names: Sequence[str]) -> str:
    """How wide the hits of the best take are, and what that costs beside the other takes."""
    takes = enumerate(zip(names, band.hits, strict=True))
    beside = [f"{name} {one.loss_db:.1f}" for number, (name, one) in takes if one is not None and number != best]
    also = f" (the other takes: {', '.join(beside)})" if beside else ""
    parts = [
        f"At {count(hits.n, 'hit')} where {_and(band.names)} all play, with {names[best]}: they lie {ms(hits.width_ms)} apart, "
        f"and the attack is {hits.loss_db:.1f} dB below a tight hit{also}."
    ]
    if band.delay_known:
        counted = zip(band.names, hits.first, strict=True)
        parts.append(f"First came {', '.join(f'{name} {times} times' for name, times in counted)}.")
    if math.isfinite(hits.adds_up_to_hz):
        parts.append(f"Above {hits.adds_up_to_hz:.0f} Hz the parts no longer add as one.")
    return " ".join(parts)


def _lead(names: Sequence[str], pair: PairLead) -> str:
    """Who of two is early, the player's part or another."""
    other, own = names[pair.first], names[pair.second]
    if pair.early is None or pair.difference_ms is None or pair.ci95_ms is None:
        return f"Whether your {own} part or the {other} part is early cannot be told."
    low, high = sorted((abs(pair.ci95_ms[0]), abs(pair.ci95_ms[1])))
    where = "behind" if pair.early == pair.first else "ahead of"
    sure = f"95 % sure: {range_ms((low, high))}"
    return f"Your {own} part is {ms(pair.difference_ms)} {where} the {other} part on average ({sure})."


def _and(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _lines(texts: Sequence[str]) -> str:
    return "\n".join(wrapped(text, indent="  ") for text in texts)


def song_csv(found: Answer, sections: Sequence[Section]) -> bytes:
    """Every bar and take as a table: mean offset of the bar's strokes in milliseconds, negative is early.

    Parameters
    ----------
    found : Answer
    sections : sequence of Section

    Returns
    -------
    bytes
        UTF-8, with a line of column names; a bar that a take does not hold is empty.
    """
    offsets: list[dict[int, list[float]]] = []
    for result in found.results:
        by_bar: dict[int, list[float]] = {}
        for note in result.notes:
            if note.bar is not None and note.offset_ms is not None:
                by_bar.setdefault(note.bar, []).append(note.offset_ms)
        offsets.append(by_bar)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["bar", "section", *(guarded(name) for name in found.names)])
    for bar in range(1, max((max(one, default=0) for one in offsets), default=0) + 1):
        name = next((one.name for one in sections if one.first_bar <= bar <= one.last_bar), "")
        cells = ["" if bar not in one else f"{sum(one[bar]) / len(one[bar]):.1f}" for one in offsets]
        table.writerow([bar, guarded(name), *cells])
    return out.getvalue().encode()


def new_song_text(song: Song, guesses: Mapping[str, str], path: str) -> str:
    """What heeltap found in a song, with what it guessed, and what to do now."""
    rows = [("part", song.part), ("drums", song.drums or "none: the click"), ("plan", song.plan or "none")]
    lines = [safe_line(f"{path}: {song.title}")]
    for key, value in rows:
        guess = f" (a guess: {guesses[key]})" if key in guesses else ""
        lines.append(safe_line(f"  {key:<9} {value}{guess}"))
    names = ", ".join(f"{section.name} {section.first_bar}" for section in song.sections) or "none"
    guess = f" ({guesses['section']})" if "section" in guesses else ""
    lines.append(wrapped(f"sections  {names}{guess}", indent="  "))
    lines.append(safe_line(f"Put your takes into {song.takes}, then: heeltap song {song.name}"))
    return "\n".join(lines) + "\n"


def comp_text(comp: Comp, names: Sequence[str], path: str) -> str:
    """Which take where."""
    joins = len(comp.pieces) - 1
    lines = [safe_line(f"{path}: {count(joins, 'join') if joins else 'one take, no join'}")]
    for piece in comp.pieces:
        held = f"; {count(piece.held, 'note')} held across the join" if piece.held else ""
        lines.append(safe_line(f"  bars {piece.first_bar}-{piece.last_bar}: {names[piece.take]}{held}"))
    return "\n".join(lines) + "\n"
