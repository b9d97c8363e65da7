"""Everything that heeltap raises on purpose, by who can mend it.

::

    HeeltapError                     exit 1   ours: a fault in heeltap itself
      InputFileError(ValueError)     exit 3   a file that we were given is wrong
        MidiFileError                         not MIDI, or MIDI that cannot be timed
        SetFileError                          a set or exercise file
        TakeFileError                         a take folder, journal or hand-in
      PortError(OSError)             exit 4   no such device, gone, or busy; no sound
      PlanError(ValueError)          exit 5   an exercise cannot be built as asked
      StoreError                     exit 6   our own history is unreadable or newer than we are
      OptionError(ValueError)        exit 2   an option that this input cannot honour

A `fault` is what nobody foresaw, as an error like the others.

2 is also the command line's own usage error, 130 is Ctrl-C. A message reads: where, what was found, what was expected, hint.
"""

__all__ = [
    "HeeltapError",
    "InputFileError",
    "MidiFileError",
    "OptionError",
    "PlanError",
    "PortError",
    "SetFileError",
    "StoreError",
    "TakeFileError",
    "fault",
]


class HeeltapError(Exception):
    """The base of all; itself raised only when heeltap is at fault."""

    exit_code = 1
    """What a command that ends with this error returns to the shell."""


class InputFileError(HeeltapError, ValueError):
    """A file that we were given cannot be used."""

    exit_code = 3

    def __init__(self, where: str, found: str, expected: str = "", hint: str = "") -> None:
        self.where, self.found, self.expected, self.hint = where, found, expected, hint
        super().__init__(sentence(where, found, expected, hint))

    def __reduce__(self) -> tuple[type, tuple[str, str, str, str]]:
        """Travel between processes whole: an exception is rebuilt from its arguments, and ours are four."""
        return type(self), (self.where, self.found, self.expected, self.hint)


class MidiFileError(InputFileError):
    """Not a MIDI file, or one whose notes cannot be timed."""


class SetFileError(InputFileError):
    """A set or exercise file has a mistake."""

    mistakes: tuple[str, ...] = ()
    """Each of them by itself, where the file could be read to its end."""


class TakeFileError(InputFileError):
    """A take folder, journal or hand-in is damaged or not ours."""


class PortError(HeeltapError, OSError):
    """A MIDI or sound device is missing, gone or busy."""

    exit_code = 4


class PlanError(HeeltapError, ValueError):
    """An exercise cannot be built as asked."""

    exit_code = 5


class OptionError(HeeltapError, ValueError):
    """An option was given that cannot apply to this input, or not together with another: it is never passed over."""

    exit_code = 2


class StoreError(HeeltapError):
    """The history is unreadable, locked for good, or written by a newer heeltap."""

    exit_code = 6
    in_the_way = False
    """True where nothing is wrong with its content: it is busy, or there is no room or no right to make it."""


def fault(where: str, error: BaseException) -> HeeltapError:
    """The error for what nobody foresaw: heeltap is at fault, and says what went wrong and how to find out where.

    Parameters
    ----------
    where : str
        What heeltap was doing: a file, a command.
    error : BaseException
        What arose.

    Returns
    -------
    HeeltapError
    """
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    hint = "--debug shows where it arose; please report it"
    return HeeltapError(sentence(where, f"a fault in heeltap: {what[:200]}", hint=hint))


def sentence(where: str, found: str, expected: str = "", hint: str = "") -> str:
    """One line in the house form ``where: found, expected … (hint)``; newlines in any part become spaces."""
    text = f"{where}: {found}"
    if expected:
        text += f"; expected {expected}"
    if hint:
        text += f" ({hint})"
    return " ".join(text.split())
