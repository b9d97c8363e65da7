"""The error tree: its exit codes, its one-line messages, and that it survives a journey between processes."""

import pickle

import pytest

from heeltap import errors


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        (errors.HeeltapError, 1),
        (errors.InputFileError, 3),
        (errors.MidiFileError, 3),
        (errors.SetFileError, 3),
        (errors.TakeFileError, 3),
        (errors.PortError, 4),
        (errors.PlanError, 5),
        (errors.StoreError, 6),
    ],
)
def test_every_error_has_its_exit_code(kind: type[errors.HeeltapError], code: int) -> None:
    """The exit code belongs to the family, and every family derives from the one base."""
    assert code == kind.exit_code
    assert issubclass(kind, errors.HeeltapError)


def test_the_tree_is_complete() -> None:
    """Every name that the module exports is drawn in its docstring."""
    assert [] == [name for name in errors.__all__ if name not in (errors.__doc__ or "")]


def test_a_message_is_one_line() -> None:
    """Newlines in a file name or a reason never break the one line."""
    error = errors.MidiFileError("a\nb.mid", "7 bytes", "at least 14", "is the file whole?")

    assert "a b.mid: 7 bytes; expected at least 14 (is the file whole?)" == str(error)


def test_an_error_survives_pickling() -> None:
    """A batch scores files in other processes, whose errors come back whole."""
    error = pickle.loads(pickle.dumps(errors.MidiFileError("x.mid", "nothing", "notes")))

    assert "x.mid: nothing; expected notes" == str(error)
    assert "nothing" == error.found
