"""The history: an SQLite index over the take folders. Only the folders count.

::

    takes/.index/history.sqlite     figures of every take, and its result without the single notes

`heeltap.app.takes.history.rebuild` makes everything in it again from the folders, so nobody repairs it: heeltap moves a
damaged index aside and makes a new one. Two programs may use it at once (write-ahead log, one short transaction for
each change, five seconds of patience).

Inside: `Store`, `open_store`, `index_file`, `BUSY_MS`.
"""

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import astuple, fields
from pathlib import Path
from types import TracebackType
from typing import Any

from heeltap.errors import StoreError, sentence
from heeltap.files.history_migrations import COLUMNS, MIGRATIONS, NEWEST
from heeltap.files.toml.families import grade_name
from heeltap.model.past_take import PastTake, codes_from, codes_text

__all__ = ["BUSY_MS", "Store", "index_file", "open_store"]

BUSY_MS = 5_000
"""How long to wait for another program that is writing."""

_NAMES = [field.name for field in fields(PastTake)]
_FAMILY, _GRADE, _FINDINGS = (_NAMES.index(name) for name in ("family", "grade", "findings"))
_MAKE = "heeltap history rebuild makes it anew from the takes"
_INSERT = f"INSERT OR REPLACE INTO takes VALUES ({', '.join('?' * len(COLUMNS))})"
_SELECT = f"SELECT {', '.join(COLUMNS)} FROM takes"
_BROKEN = ("malformed", "not a database", "no such table", "no such column", "disk image", "encrypted")
"""What SQLite says of a file that only a rebuild can mend."""


def index_file(takes: Path) -> Path:
    """Where the index of a folder of takes lies; it may not exist yet."""
    return takes / ".index" / "history.sqlite"


class Store:
    """An open index; close it, or use it in a ``with``."""

    def __init__(self, connection: sqlite3.Connection, path: Path, *, writable: bool) -> None:
        self._db, self.path, self.writable = connection, path, writable

    def __enter__(self) -> "Store":
        """The store itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def add(self, rows: Iterable[tuple[PastTake, bytes]]) -> None:
        """Put takes in, each with its result as JSON; a take of the same folder is replaced."""
        with self._writing():
            self._insert(rows)

    def replace_all(self, rows: Iterable[tuple[PastTake, bytes]]) -> None:
        """Empty the index and fill it with these takes, in one transaction."""
        with self._writing():
            self._db.execute("DELETE FROM takes")
            self._db.execute("DELETE FROM results")
            self._db.execute("DELETE FROM seen")
            self._insert(rows)

    def update(self, rows: Iterable[tuple[PastTake, bytes]], gone: Iterable[str]) -> None:
        """Put takes in and take out those whose folders are gone, in one transaction."""
        names = [(name,) for name in gone]
        with self._writing():
            self._insert(rows)
            self._db.executemany("DELETE FROM takes WHERE folder = ?", names)
            self._db.executemany("DELETE FROM results WHERE folder = ?", names)

    def seen(self) -> int | None:
        """What `mark_seen` was last told; None when nothing, or when the index was made anew since."""
        with _wrapped(self.path):
            row = self._db.execute("SELECT changed_ns FROM seen").fetchone()
            return None if row is None else int(row[0])

    def mark_seen(self, changed_ns: int) -> None:
        """Keep that the index agrees with the folder of takes as it was when it changed at this time."""
        with self._writing():
            self._db.execute("DELETE FROM seen")
            self._db.execute("INSERT INTO seen VALUES (?)", (changed_ns,))

    def takes(self, *, last: int | None = None) -> list[PastTake]:
        """The takes, oldest first; only the ``last`` so many where that is given."""
        query = f"{_SELECT} ORDER BY date DESC, folder DESC LIMIT ?"
        with _wrapped(self.path):
            rows = self._db.execute(query, (-1 if last is None else last,)).fetchall()
            return [_take(row) for row in reversed(rows)]

    def folders(self) -> set[str]:
        """Names of all take folders that are in the index."""
        with _wrapped(self.path):
            return {row[0] for row in self._db.execute("SELECT folder FROM takes")}

    def count(self) -> int:
        """How many takes there are."""
        with _wrapped(self.path):
            return int(self._db.execute("SELECT count(*) FROM takes").fetchone()[0])

    def result(self, folder: str) -> bytes | None:
        """The result of a take as JSON, its single notes left out; None where the take is not known."""
        with _wrapped(self.path):
            row = self._db.execute("SELECT result FROM results WHERE folder = ?", (folder,)).fetchone()
            return None if row is None else bytes(row[0])

    def dump(self) -> bytes:
        """The whole content, byte for byte the same for the same takes, in whatever order they came in."""
        with _wrapped(self.path):
            rows: list[tuple[Any, ...]] = [("schema", self.schema)]
            rows += self._db.execute(f"{_SELECT} ORDER BY folder").fetchall()
            rows += self._db.execute("SELECT folder, result FROM results ORDER BY folder").fetchall()
        return "".join(f"{row!r}\n" for row in rows).encode()

    @property
    def schema(self) -> int:
        """Number of the last migration."""
        return _schema(self._db)

    def _insert(self, rows: Iterable[tuple[PastTake, bytes]]) -> None:
        for take, result in rows:
            values = list(astuple(take))
            values[_FINDINGS] = codes_text(take.findings)
            self._db.execute(_INSERT, values)
            self._db.execute("INSERT OR REPLACE INTO results VALUES (?, ?)", (take.folder, result))

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: all of it or nothing."""
        with _wrapped(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")


def open_store(takes: Path, *, busy_ms: int = BUSY_MS, mend: bool = False) -> Store:
    """The index of a folder of takes, made or brought up to date when needed.

    Where it cannot be written but read, it is opened for reading (``writable`` is then False).

    Parameters
    ----------
    takes : Path
        The folder of all takes.
    busy_ms : int
        How long to wait for another program.
    mend : bool
        Look through all of it, and move a damaged one aside to begin anew; for those who can fill it again.

    Raises
    ------
    StoreError
        It is damaged, locked for longer than ``busy_ms``, written by a newer heeltap, or its folder cannot be made.
    """
    path = index_file(takes)
    if mend and _damaged(path, busy_ms):
        _move_aside(path)
    with _wrapped(path):
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            return _open_writable(path, busy_ms)
        except (OSError, sqlite3.OperationalError) as error:
            if not _read_only(error) or not path.exists():
                raise
            return _open_read_only(path, busy_ms)


def _damaged(path: Path, busy_ms: int) -> bool:
    """Whether only a new beginning can help; a file that is locked or cannot be opened is not damaged."""
    if not path.exists():
        return False
    try:
        with contextlib.closing(_connect(f"{path.resolve().as_uri()}?mode=rw", busy_ms)) as db:
            found = [str(row[0]) for row in db.execute("PRAGMA quick_check(1)")]
            if found == ["ok"] and 0 < _schema(db) <= NEWEST:
                db.execute(f"{_SELECT} LIMIT 1").fetchall()
            return found != ["ok"]
    except sqlite3.Error as error:
        return any(sign in str(error).lower() for sign in _BROKEN)


def _move_aside(path: Path) -> None:
    """Get a damaged index out of the way, its log too."""
    with _wrapped(path):
        path.replace(path.with_name(f"{path.name}.damaged"))
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)


def _open_writable(path: Path, busy_ms: int) -> Store:
    """Open, then migrate; the connection is closed again when that fails."""
    db = _connect(f"{path.resolve().as_uri()}?mode=rwc", busy_ms)
    try:
        found = _schema(db)
        if found > NEWEST:
            raise StoreError(_newer(path, found))
        if found < NEWEST:
            _migrate(db, path)
        if str(db.execute("PRAGMA journal_mode").fetchone()[0]) != "wal":
            # After the schema, and not insisted on: the switch does not wait for others (with it first, one of 160 programs
            # that began at once failed); until it is made, two programs wait for each other's changes, no more.
            with contextlib.suppress(sqlite3.OperationalError):
                db.execute("PRAGMA journal_mode = WAL")
        # A crash of the machine may lose the last take of the index (a rebuild finds it), never damage it.
        db.execute("PRAGMA synchronous = NORMAL")
    except BaseException:
        db.close()
        raise
    return Store(db, path, writable=True)


def _open_read_only(path: Path, busy_ms: int) -> Store:
    """Open what cannot be written; without its log, when the folder does not let us share one."""
    db = _connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", busy_ms)
    try:
        found = _schema(db)
        if found != NEWEST:
            raise StoreError(_newer(path, found) if found > NEWEST else _older(path, found))
    except BaseException:
        db.close()
        raise
    return Store(db, path, writable=False)


def _connect(address: str, busy_ms: int) -> sqlite3.Connection:
    """A connection whose transactions are ours alone."""
    return sqlite3.connect(address, uri=True, timeout=busy_ms / 1000, isolation_level=None)


def _migrate(db: sqlite3.Connection, path: Path) -> None:
    """Take the missing steps; another program may have taken them while we waited."""
    db.execute("BEGIN IMMEDIATE")
    try:
        db.execute("CREATE TABLE IF NOT EXISTS migrations (number INTEGER PRIMARY KEY)")
        found = _schema(db)
        if found > NEWEST:
            raise StoreError(_newer(path, found))
        for number, steps in enumerate(MIGRATIONS[found:], start=found + 1):
            for step in steps:
                db.execute(step)
            db.execute("INSERT INTO migrations VALUES (?)", (number,))
    except BaseException:
        db.execute("ROLLBACK")
        raise
    db.execute("COMMIT")


def _schema(db: sqlite3.Connection) -> int:
    """The last migration; 0 of an empty file."""
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'migrations'").fetchone() is None:
        return 0
    return int(db.execute("SELECT coalesce(max(number), 0) FROM migrations").fetchone()[0])


def _take(row: tuple[Any, ...]) -> PastTake:
    """A row as a take."""
    values = list(row)
    values[_GRADE] = grade_name(values[_FAMILY], values[_GRADE])  # rows from before grades had names hold its number
    values[_FINDINGS] = codes_from(values[_FINDINGS])
    return PastTake(*values)


def _read_only(error: BaseException) -> bool:
    """Whether the trouble is only that nothing can be written."""
    words = str(error).lower()
    return (
        isinstance(error, PermissionError) or "readonly" in words or "read-only" in words or "unable to open" in words
    )


@contextlib.contextmanager
def _wrapped(path: Path) -> Iterator[None]:
    """Every trouble with the file as one line."""
    try:
        yield
    except sqlite3.Error as error:
        words = str(error).lower()
        if "locked" in words or "busy" in words:
            raise _in_the_way(path, "in use by another program", hint="try again when it is done") from error
        if any(sign in words for sign in _NO_ROOM):
            raise _in_the_way(path, f"the history cannot be used: {error}") from error
        hint = _MAKE if any(sign in words for sign in _BROKEN) else ""
        raise StoreError(sentence(str(path), f"the history cannot be used: {error}", hint=hint)) from error
    except (ValueError, OverflowError) as error:
        raise StoreError(sentence(str(path), f"the history is damaged: {error}", hint=_MAKE)) from error
    except OSError as error:
        raise _in_the_way(path, f"the history cannot be used: {error.strerror or error}") from error


_NO_ROOM = ("full", "unable to open", "readonly", "read-only", "disk i/o")
"""What sqlite says of a disk or folder that takes nothing more."""


def _in_the_way(path: Path, found: str, hint: str = "") -> StoreError:
    error = StoreError(sentence(str(path), found, hint=hint))
    error.in_the_way = True
    return error


def _newer(path: Path, found: int) -> str:
    hint = "written by a newer heeltap: update; the takes themselves are not affected"
    return sentence(str(path), f"schema {found}", f"{NEWEST} or older", hint)


def _older(path: Path, found: int) -> str:
    return sentence(str(path), f"schema {found} and cannot be written", f"schema {NEWEST}", "make the folder writable")
