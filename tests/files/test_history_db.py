"""The index over the take folders: migrations, what it refuses, damage, locks, two programs at once."""

import multiprocessing
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from heeltap.errors import StoreError
from heeltap.files.history_db import index_file, open_store
from heeltap.files.history_migrations import COLUMNS, MIGRATIONS, NEWEST
from heeltap.model.past_take import PastTake, codes_from, codes_text


def a_take(number: int = 1, **more: object) -> PastTake:
    """A row; the number makes folder and date."""
    row = PastTake(
        folder=f"take-{number:04}",
        date=f"2026-03-{1 + number % 28:02}T18:00:00+01:00",
        exercise="anchor-backbeat_4-4_s1",
        title="Two and four",
        family="anchor",
        grade="backbeat",
        seed=None,
        tempo_bpm=96.0,
        lean_ms=0.0,
        length_s=40.0,
        ending="played",
        n=32,
        bias_ms=-3.25,
        spread_ms=None,
        in_pocket=0.9,
        held=0.1 + 0.2,
        score=88.0,
        planned=32,
        missed=0,
        extra=1,
        method="given",
        findings=(("fills", -12.5), ("off-beats", 0.1 + 0.2)),
    )
    return replace(row, **more)


@pytest.mark.parametrize(("family", "number", "name"), [("anchor", 3, "all"), ("turn", 9, "long"), ("", 0, "")])
def test_a_row_from_before_grades_had_names_is_read(tmp_path: Path, family: str, number: int, name: str) -> None:
    """Its number means the grade that bore it."""
    with open_store(tmp_path) as store:
        store.add([(a_take(family=family), b"{}")])
        store._db.execute("UPDATE takes SET grade = ?", (number,))

        assert [name] == [take.grade for take in store.takes()]


def test_a_take_comes_back_as_it_went_in(tmp_path: Path) -> None:
    """Every field, to the last digit; its result too, and None for a take that is not there."""
    with open_store(tmp_path) as store:
        store.add([(a_take(), b'{"file":"x"}')])

        assert [a_take()] == store.takes()
        assert b'{"file":"x"}' == store.result("take-0001")
        assert store.result("take-0002") is None


def test_takes_come_oldest_first_and_only_the_newest_when_asked(tmp_path: Path) -> None:
    """By date, then by folder, whatever the order in which they came in."""
    rows = [a_take(n) for n in (3, 1, 2)]
    with open_store(tmp_path) as store:
        store.add([(row, b"") for row in rows])

        assert ["take-0001", "take-0002", "take-0003"] == [row.folder for row in store.takes()]
        assert ["take-0002", "take-0003"] == [row.folder for row in store.takes(last=2)]
        assert 3 == store.count()


def test_the_dump_does_not_depend_on_the_order_or_on_repeats(tmp_path: Path) -> None:
    """The same takes, the same bytes."""
    one, other = tmp_path / "one", tmp_path / "other"
    with open_store(one) as store:
        for number in (2, 1, 3, 2):
            store.add([(a_take(number), b"r%d" % number)])
        first = store.dump()
    with open_store(other) as store:
        store.add([(a_take(9), b"")])
        store.replace_all([(a_take(number), b"r%d" % number) for number in (1, 2, 3)])

        assert first == store.dump()
        assert b"take-0003" in first


def test_columns_are_the_fields_of_a_take(tmp_path: Path) -> None:
    """The table, its list of columns and the type cannot drift apart."""
    with open_store(tmp_path) as store:
        held = [row[1] for row in store._db.execute("PRAGMA table_info(takes)")]

    assert list(COLUMNS) == held
    assert list(PastTake.__slots__) == held


def test_an_older_index_is_brought_up_to_date(tmp_path: Path) -> None:
    """Every schema that was ever published leads to the newest, its takes kept."""
    for start in range(1, NEWEST):
        takes = tmp_path / str(start)
        index_file(takes).parent.mkdir(parents=True)
        with sqlite3.connect(index_file(takes)) as db:
            db.execute("CREATE TABLE migrations (number INTEGER PRIMARY KEY)")
            for number in range(start):
                for step in MIGRATIONS[number]:
                    db.execute(step)
                db.execute("INSERT INTO migrations VALUES (?)", (number + 1,))
            db.execute("INSERT INTO results VALUES ('take-0001', x'41')")
        db.close()
        with open_store(takes) as store:
            assert NEWEST == store.schema
            assert b"A" == store.result("take-0001")


def test_a_newer_index_is_refused_and_left_alone(tmp_path: Path) -> None:
    """Exit code 6, one line with a hint, also when it is to be made anew."""
    open_store(tmp_path).close()
    with sqlite3.connect(index_file(tmp_path)) as db:
        db.execute("INSERT INTO migrations VALUES (?)", (NEWEST + 7,))
    db.close()
    before = index_file(tmp_path).read_bytes()

    for mend in (False, True):
        with pytest.raises(StoreError, match=f"schema {NEWEST + 7}; expected {NEWEST} or older .*update") as caught:
            open_store(tmp_path, mend=mend)
        assert 6 == caught.value.exit_code
        assert "\n" not in str(caught.value)
    assert before == index_file(tmp_path).read_bytes()


def _text(path: Path) -> None:
    path.write_text("this is not a database, it is a letter to a friend" * 50)


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def _scribbled(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:] = os.urandom(len(data) - 4096)
    path.write_bytes(data)


def _emptied_of_tables(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("DROP TABLE takes")
    db.close()


@pytest.mark.parametrize("damage", [_text, _cut, _scribbled, _emptied_of_tables])
def test_a_damaged_index_is_one_line_and_can_be_made_anew(tmp_path: Path, damage: Callable[[Path], None]) -> None:
    """It says how to mend it; mending moves it aside and begins an empty one that works."""
    with open_store(tmp_path) as store:
        store.add([(a_take(number), b"x" * 500) for number in range(50)])
    damage(index_file(tmp_path))

    with pytest.raises(StoreError, match="heeltap history rebuild") as caught, open_store(tmp_path) as store:
        store.takes()
    assert "\n" not in str(caught.value)

    with open_store(tmp_path, mend=True) as store:
        store.replace_all([(a_take(), b"")])
        assert [a_take()] == store.takes()
    assert index_file(tmp_path).with_name("history.sqlite.damaged").exists()


def test_an_empty_file_is_an_empty_index(tmp_path: Path) -> None:
    """What a full disk leaves behind is no damage."""
    index_file(tmp_path).parent.mkdir()
    index_file(tmp_path).touch()

    with open_store(tmp_path) as store:
        assert 0 == store.count()


def test_a_locked_index_is_waited_for_and_then_said(tmp_path: Path) -> None:
    """Reading goes on beside a writer; writing gives up after its patience with one line."""
    with open_store(tmp_path) as store:
        store.add([(a_take(), b"")])
    other = sqlite3.connect(index_file(tmp_path), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with open_store(tmp_path, busy_ms=50) as store:
            assert [a_take()] == store.takes()
            with pytest.raises(StoreError, match="in use by another program"):
                store.add([(a_take(2), b"")])
        other.execute("ROLLBACK")
        with open_store(tmp_path, busy_ms=50) as store:
            store.add([(a_take(2), b"")])
            assert 2 == store.count()
    finally:
        other.close()


@pytest.fixture
def open_to_all() -> Iterator[Path]:
    """A folder that every user of the machine can look into."""
    folder = Path(tempfile.mkdtemp(prefix="heeltap-test-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


def as_nobody(work: Callable[[], str]) -> str:
    """What ``work`` returns when it is done without the right to write; root gives its rights away in a child."""
    if os.geteuid() != 0:
        return work()
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.setuid(65534)
            os.write(into, work().encode())
        except BaseException as error:
            os.write(into, f"raised {error!r}".encode())
        finally:
            os._exit(0)
    os.close(into)
    with open(out, "rb") as pipe:
        said = pipe.read().decode()
    os.waitpid(child, 0)
    return said


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system with users and fork")
def test_a_read_only_index_can_be_read(open_to_all: Path) -> None:
    """Its takes are listed; it says that it cannot be written, and writing is one line."""
    with open_store(open_to_all) as store:
        store.add([(a_take(), b"")])
    paths = [index_file(open_to_all), index_file(open_to_all).parent, open_to_all]
    for path in paths:
        path.chmod(0o444 if path.is_file() else 0o555)

    def work() -> str:
        """Read, then try to write."""
        with open_store(open_to_all) as store:
            said = f"{store.writable} {len(store.takes())} "
            try:
                store.add([(a_take(2), b"")])
            except StoreError as error:
                said += str(error)
        return said

    said = as_nobody(work)
    for path in paths:
        path.chmod(0o755)

    assert said.startswith("False 1 ")
    assert "cannot be used" in said
    assert "raised" not in said


def _writer(takes: Path, first: int, count: int) -> None:
    """One of two programs."""
    for number in range(first, first + count):
        with open_store(takes) as store:
            store.add([(a_take(number), b"x" * 2000)])


@pytest.mark.live
def test_two_programs_at_once_lose_nothing(tmp_path: Path) -> None:
    """Both make the index, both add 40 takes one by one, all 80 are there."""
    context = multiprocessing.get_context("spawn")
    programs = [context.Process(target=_writer, args=(tmp_path, first, 40)) for first in (1, 1001)]
    for program in programs:
        program.start()
    for program in programs:
        program.join()

    assert [0, 0] == [program.exitcode for program in programs]
    with open_store(tmp_path) as store:
        assert 80 == store.count()


def test_reading_goes_on_while_another_program_changes_everything(tmp_path: Path) -> None:
    """The write-ahead log: a list sees the content as it was before the change that is still open."""
    with open_store(tmp_path) as store:
        store.add([(a_take(), b"")])
    other = sqlite3.connect(index_file(tmp_path), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    other.execute("PRAGMA cache_size = 1")
    other.execute("PRAGMA cache_spill = 1")
    other.executemany("INSERT INTO results VALUES (?, zeroblob(3000))", ((f"r{n}",) for n in range(500)))
    try:
        with open_store(tmp_path, busy_ms=50) as store:
            assert [a_take()] == store.takes()
            assert store.result("r1") is None
    finally:
        other.close()


def test_findings_survive_as_text() -> None:
    """Codes and sizes come back to the last digit; none is an empty text."""
    found = (("scatter-off-beats", -0.1), ("fills", 1e-7))

    assert found == codes_from(codes_text(found))
    assert () == codes_from(codes_text(()))
