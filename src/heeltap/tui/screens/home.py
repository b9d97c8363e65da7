"""The screens for looking: start, history, one take opened. What their keys do; what is drawn stands in pure modules.

Inside: `StartPlace`, `PastPlace`, `TakePlace`.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

from heeltap.app.listen.player_control import PlayerControl, piece_of_take, sound_in_use
from heeltap.app.practice.today import Today, sets_in_reach, today, use_set
from heeltap.app.takes.finish_take import score_kept
from heeltap.app.takes.history import History, history
from heeltap.errors import HeeltapError
from heeltap.files.paths import takes_dir
from heeltap.model.past_take import PastTake
from heeltap.tui.keys import Key
from heeltap.tui.page import Look, page, room_of
from heeltap.tui.screen import Host, Place
from heeltap.tui.screens import history as past
from heeltap.tui.screens import start
from heeltap.tui.screens.after_take import result_lines
from heeltap.tui.screens.drill import clip
from heeltap.tui.screens.listen import LISTEN, listening_commands, listening_keys, listening_words
from heeltap.views.bar_sheet import Line, Span
from heeltap.wording import count

__all__ = ["PastPlace", "StartPlace", "TakePlace"]


class StartPlace(Place):
    """What is plugged in, what is due, what to play next."""

    name = "start"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self.today: Today | None = None
        """None while it is being read."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """Always the same."""
        return start.START_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the lines are."""
        return start.START_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Play, look elsewhere, another set."""
        return {
            "enter": self._play,
            "h": lambda: self.host.go("history"),
            "u": lambda: self.host.go("set-up"),
            "e": self._other_set,
            "r": self.look_again,
        }

    @property
    def count(self) -> int:
        """The next exercise and those of the set."""
        return 0 if self.today is None else len(start.rows_of(self.today))

    def draw(self, look: Look, message: str) -> list[Line]:
        """An empty page until everything has been read."""
        if self.today is None:
            return page(look, "heeltap", "", [], self.keys, message=message)
        return start.draw_start(self.today, self.at, look, message=message)

    def look_again(self) -> None:
        """Ports, takes, set."""
        self.host.work("today", lambda: today(self.host.takes, now=self.host.moment()))

    def take_in(self, work: str, found: object) -> None:
        """The day as it is."""
        if work == "today" and isinstance(found, Today):
            self.today = found

    def back(self) -> None:
        """There is nothing before it."""

    def _play(self) -> None:
        rows = () if self.today is None else start.rows_of(self.today)
        if rows:
            self.host.leave_with(rows[self.at].wish)

    def _other_set(self) -> None:
        """The next set; after the last one none."""
        choices = (*sets_in_reach(), "")
        present = "" if self.today is None else self.today.set_name
        names = [Path(one).resolve().as_posix() if one.endswith(".toml") else one for one in choices]
        following = choices[(names.index(present) + 1) % len(choices)] if present in names else choices[0]
        self.at = 0
        try:
            use_set(following)
        except HeeltapError as error:
            self.host.say(str(error), stays=True)
            return
        self.look_again()


class PastPlace(Place):
    """Every take, in three orders; each opens."""

    name = "history"

    def __init__(self, host: Host, show: Callable[[Path, list[str]], None]) -> None:
        """``show`` is given the folder and the report of a take that was opened."""
        super().__init__(host)
        self._history, self._order, self._show = History((), 0), past.Order.DAY, show
        self._folder = Path()

    @property
    def keys(self) -> tuple[Key, ...]:
        """Always the same."""
        return past.PAST_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the columns are."""
        return past.PAST_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Open, another order."""
        return {"enter": self._open, "o": self._other_order}

    @property
    def count(self) -> int:
        """The takes."""
        return len(self._history.takes)

    def draw(self, look: Look, message: str) -> list[Line]:
        """The list and the weeks."""
        return past.draw_past(self._rows, self._order, self.at, look, until=self.host.moment(), message=message)

    def look_again(self) -> None:
        """Every take."""
        self.host.work("history", lambda: history(self.host.takes))

    def take_in(self, work: str, found: object) -> None:
        """The takes, or the report of one."""
        if work == "history" and isinstance(found, History):
            self._history = found
            self.host.say(next(iter(found.warnings), ""))
        elif work == "open" and isinstance(found, list):
            self._show(self._folder, found)

    @property
    def _rows(self) -> list[PastTake]:
        return past.ordered(self._history.takes, self._order)

    def _other_order(self) -> None:
        orders = list(past.Order)
        self._order, self.at = orders[(orders.index(self._order) + 1) % len(orders)], 0

    def _open(self) -> None:
        if not self._history.takes:
            return
        root = takes_dir() if self.host.takes is None else self.host.takes
        self._folder = folder = root / self._rows[self.at].folder
        self.host.say("the take is being read")
        self.host.work("open", lambda: result_lines(score_kept(folder), self.host.glyphs))


class TakePlace(Place):
    """The report of one take, which can be heard."""

    name = "take"
    chosen_by_mouse = False

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._report: list[str] = []
        self._folder = Path()
        self._listening = PlayerControl(lambda: sound_in_use()[0])

    def show(self, folder: Path, report: list[str]) -> None:
        """Another take."""
        self._listening.stop()
        self._folder, self._report, self.at = folder, report, 0

    @property
    def keys(self) -> tuple[Key, ...]:
        """Those of listening while it is heard."""
        return (
            listening_keys(self._listening) if self._listening.on else (past.OPEN_KEYS[0], LISTEN, *past.OPEN_KEYS[1:])
        )

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Hear it."""
        return {"l": self._listen, **listening_commands(self._listening)}

    @property
    def count(self) -> int:
        """So many first lines may stand at the top."""
        return max(1, len(self._report) - room_of(self.host.look) + 1)

    def draw(self, look: Look, message: str) -> list[Line]:
        """As much of the report as fits."""
        shown = self._report[self.at : self.at + room_of(look)]
        below = len(self._report) - self.at - len(shown)
        where = f"{count(below, 'more line')} below" if below > 0 else ""
        lines: list[Line] = [[Span(clip(line, look.width))] for line in shown]
        return page(look, "A take", where, lines, self.keys, message=listening_words(self._listening) or message)

    @property
    def lively(self) -> bool:
        """While it is heard."""
        return self._listening.on

    def turn(self) -> None:
        """Follow what is heard."""
        self._listening.turn()

    def back(self) -> None:
        """First silence, then the history."""
        if self._listening.on:
            self._listening.stop()
        else:
            self.host.go("history")

    def leave(self) -> None:
        """Silence."""
        self._listening.free()

    def _listen(self) -> None:
        folder = self._folder
        self._listening.begin(lambda: piece_of_take(folder, sound_in_use()[1]))
