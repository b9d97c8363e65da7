"""The songs of this folder: each as a whole and by its sections, to be drilled to its own drums.

Inside: the model `SongLine`, listed by `read_songs`; the drawing `draw_songs`; the screen `SongsScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.app.song.open_song import ENDING, open_song
from heeltap.errors import HeeltapError
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, clean, clip, first_shown, page, room_of, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.views.bar_sheet import Line, Span
from heeltap.wording import count

__all__ = ["SONGS_HELP", "SONGS_KEYS", "SongLine", "SongsScreen", "draw_songs", "read_songs"]

SONGS_KEYS = (
    Key("enter", "play", "go to the drill screen with the chosen song or section, to its own drums"),
    Key("o", "options", "another tempo, click or lean for it"),
    MOVE,
    BACK,
    HELP,
    QUIT,
)

SONGS_HELP = (
    "A section is played four times in a row, with the bar before it to run in. Songs are the *.song.toml files of the folder in "
    "which you started heeltap; heeltap song new SONG.mid writes one.",
)

_NONE = (
    "There is no song in this folder. heeltap song new SONG.mid writes a song file with what heeltap finds in the MIDI file; "
    "start heeltap again in that folder."
)


@dataclass(frozen=True, slots=True)
class SongLine:
    """One line: a song, a section of it, or what is wrong with it."""

    text: str
    choice: DrillChoice | None
    """None where it cannot be played."""


def read_songs(folder: Path | None = None) -> tuple[SongLine, ...]:
    """Every song file of a folder, by name, with its sections; one that cannot be used is a line that says why.

    Parameters
    ----------
    folder : Path, optional
        The present one where not given.

    Returns
    -------
    tuple of SongLine
    """
    found: list[SongLine] = []
    for path in sorted((Path() if folder is None else folder).glob(f"*{ENDING}")):
        try:
            found += _lines_of(path)
        except HeeltapError as error:
            found.append(SongLine(str(error), None))
    return tuple(found)


def _lines_of(path: Path) -> list[SongLine]:
    opened = open_song(str(path))
    title = opened.song.title or path.name.removesuffix(ENDING)
    if not opened.song.plan:
        return [SongLine(f"{title}: the song file names no part to drill (plan)", None)]
    lines = [SongLine(f"{title}   {count(opened.bars, 'bar')}", DrillChoice(str(path)))]
    for section in opened.timeline.sections:
        bars = f"bars {section.first_bar}-{section.last_bar}"
        lines.append(
            SongLine(f"  {section.name:<24} {bars}", DrillChoice(f"{path} {section.first_bar}-{section.last_bar}"))
        )
    return lines


def draw_songs(lines: Sequence[SongLine], chosen: int, look: Look, *, message: str = "") -> list[Line]:
    """The whole screen, exactly ``look.height`` lines."""
    if not lines:
        return page(look, "Songs", "", wrapped_lines(_NONE, look.width), SONGS_KEYS, message=message)
    room = room_of(look)
    first = first_shown(len(lines), room, chosen)
    body: list[Line] = []
    for at in range(first, min(first + room, len(lines))):
        text = clip(clean(lines[at].text), look.width - 3)
        role = "now" if at == chosen else "dim" if lines[at].choice is None else ""
        body.append([Span(f"{'>' if at == chosen else ' '} {text}", role)])
    return page(look, "Songs", "", body, SONGS_KEYS, message=message)


class SongsScreen(QuietScreen):
    """The songs of this folder."""

    name = "songs"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._lines: tuple[SongLine, ...] = ()

    @property
    def keys(self) -> tuple[Key, ...]:
        """They never change."""
        return SONGS_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """How a section is played, and where songs come from."""
        return SONGS_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Play the chosen line, or see how it is played."""
        return {"enter": lambda: self._take(self.host.leave_with), "o": lambda: self._take(self.host.choose)}

    @property
    def count(self) -> int:
        """Songs and sections."""
        return len(self._lines)

    def draw(self, look: Look, message: str) -> list[Line]:
        """Every song with its sections."""
        return draw_songs(self._lines, self.at, look, message=message)

    def look_again(self) -> None:
        """Read the song files."""
        self.host.work("songs", read_songs)

    def take_in(self, work: str, found: object) -> None:
        """Show the songs that were read."""
        if work == "songs" and isinstance(found, tuple):
            self._lines = found

    def back(self) -> None:
        """Go to the exercises."""
        self.host.go("exercises")

    def _take(self, act: Callable[[DrillChoice], None]) -> None:
        choice = self._lines[self.at].choice if self._lines else None
        if choice is not None:
            act(choice)
