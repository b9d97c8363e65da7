"""Sets written out for tests, and the golden sheets: ``python -m tests.makers.sets`` writes those anew."""

from pathlib import Path

from heeltap.app.practice.sets import open_set, shipped_sets
from heeltap.views.practice_sheet import sheet_html, sheet_text
from heeltap.views.set_text import sheet_of

__all__ = ["GOLDEN", "HAND_WRITTEN", "WITH_FILES", "golden_files", "set_folder"]

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "sets"

HAND_WRITTEN = """\
format = "heeltap.set/1"
title = "Week three"
for = "the Tuesday group"
notes = "Two and four first."
lean_ms = 10
pocket_ms = 30
takes = 3
done = { in_pocket_percent = 80, spread_ms = 20, takes = 2 }

[[item]]
family = "anchor"
grade = 1
tempo_bpm = [72, 76, 80]

[[item]]
title = "Eighths in three"
family = "split"
grade = 2
metre = "3/4"
seed = 5
bars = 12
tempo_bpm = 66
click = "bars 2+2"
ladder = { every_bars = 4, step_percent = 4 }
lean_ms = "auto"
pocket_ms = 25
takes = 1
done = { takes = 1 }
notes = ["Count the silent bars aloud.", "Then whisper."]
"""
"""A set in which every key stands once."""

WITH_FILES = """\
format = "heeltap.set/1"
title = "With files"

[[item]]
exercise = "own/two-four.toml"
tempo_bpm = [90, 96]
click = "one"
ladder = { every_bars = 2, step_percent = 5 }

[[item]]
midi = "song.mid"
part = "keys"
title = "The verse"
tempo_bpm = [60, 72]
lean_ms = 15
pocket_ms = 40
click = "backbeat"
"""
"""A set of an exercise file and a part of a MIDI file."""

_EXERCISE = """\
format = "heeltap.exercise/1"
title = "Two and four"
metre = "4/4"
tempo_bpm = 76
lean_ms = 5
pocket_ms = 22
[[section]]
bars = ["1 2 3 4", "-", "2 4", "2 4"]
"""


def set_folder(folder: Path) -> Path:
    """A folder with `WITH_FILES`, the exercise and the song that it names; returns the set's path."""
    song = Path(__file__).resolve().parents[2] / "demo" / "tollgate-road.mid"
    (folder / "own").mkdir()
    (folder / "own" / "two-four.toml").write_text(_EXERCISE, encoding="utf-8")
    (folder / "song.mid").write_bytes(song.read_bytes())
    path = folder / "with-files.toml"
    path.write_text(WITH_FILES, encoding="utf-8")
    return path


def golden_files() -> dict[str, str]:
    """Name and text of every golden sheet: all shipped sets as text with their whole fingerprints, one as a page."""
    files = {}
    for name in shipped_sets():
        opened = open_set(name)
        files[f"{name}.txt"] = f"{opened.fingerprint}\n\n{sheet_text(sheet_of(opened))}"
    files["into-the-chorus.html"] = sheet_html(sheet_of(open_set("into-the-chorus")))
    return files


if __name__ == "__main__":
    GOLDEN.mkdir(parents=True, exist_ok=True)
    for file, text in golden_files().items():
        (GOLDEN / file).write_text(text, encoding="utf-8")
