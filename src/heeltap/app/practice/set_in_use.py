"""The set that the player practises from: which sets there are to choose from, and which of them is in use.

Inside: `sets_in_reach`, `set_in_use`, `use_set`.
"""

from pathlib import Path

from heeltap.app.practice.sets import shipped_sets
from heeltap.errors import SetFileError
from heeltap.files.paths import home
from heeltap.files.toml.check import toml_file_text
from heeltap.write import write_whole

__all__ = ["set_in_use", "sets_in_reach", "use_set"]

_FIRST = "first-week"

_HEAD_BYTES = 20_000
"""How much of a file heeltap reads to see whether it calls itself a set."""


def sets_in_reach() -> tuple[str, ...]:
    """The sets that come with heeltap, a beginner's first; then the set files in the present folder; each as typed."""
    here = sorted(str(path) for path in Path().glob("*.toml") if _calls_itself_set(path))
    return (*sorted(shipped_sets(), key=lambda name: name != _FIRST), *here)


def _calls_itself_set(path: Path) -> bool:
    try:
        return "heeltap.set/" in toml_file_text(path, "a set file (.toml)")[:_HEAD_BYTES]
    except SetFileError:
        return False


def _note() -> Path:
    """The file that names the set in use."""
    return home() / "current-set"


def set_in_use() -> str:
    """What a person typed for the set in use; empty where none is in use."""
    try:
        return toml_file_text(_note(), "the set in use").strip()
    except SetFileError:
        return ""


def use_set(name: str) -> None:
    """Use a set from now on; an empty name uses none.

    Raises
    ------
    InputFileError
        The choice cannot be written down.
    """
    kept = str(Path(name).resolve()) if name.endswith(".toml") else name
    write_whole(_note(), f"{kept}\n".encode(), make_folder=True)
