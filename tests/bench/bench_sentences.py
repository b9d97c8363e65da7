"""Whether sentences of findings say what the table shows, on drummers' takes: run ``python -m tests.bench.bench_sentences``.

Data: Groove (Gillick, Roberts, Engel, Eck & Bamman 2019, CC BY 4.0), in the folder that ``HEELTAP_OUTSIDE_DATA`` names. Every
take is scored as a file is. For every sentence about where strokes sit, the plain difference or slope is computed again here,
from the Offsets table alone. Prints; asserts nothing.

Inside: `Told`, `told_of`, `groove_files`.
"""

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import judge_take
from heeltap.analysis.findings import findings, kind_of
from heeltap.app.score.read import read_take
from heeltap.model.arrays import BoolArray
from heeltap.model.offsets import Offsets
from heeltap.model.subdivisions import BEAT, DIVISIONS
from tests.makers.tables import drum_plain

__all__ = ["Told", "groove_files", "told_of"]

BEATS = ("one", "two", "three", "four", "five", "six")
SLOTS = {"eighths": "eighth", "triplets": "triplet", "sixteenths": "sixteenth", "finest": "fine", "grace": "grace"}


@dataclass(frozen=True, slots=True)
class Told:
    """One sentence and the plain number behind it."""

    code: str
    text: str
    effect_ms: float
    ci95_ms: tuple[float, float]
    plain: float

    @property
    def same_sign(self) -> bool:
        """Whether the sentence and the table point the same way."""
        return self.effect_ms * self.plain > 0

    @property
    def inside(self) -> bool:
        """Whether the plain number lies in the told range."""
        return self.ci95_ms[0] <= self.plain <= self.ci95_ms[1]


def _beat(table: Offsets, text: str) -> BoolArray:
    word = text.removeprefix("Your ").removeprefix("Beat ").split()[0]
    number = BEATS.index(word) + 1 if word in BEATS else int(word)
    return (table.division == BEAT) & (np.abs(table.beat - number) < 0.01)


def _slot(table: Offsets, text: str) -> BoolArray:
    return table.division == DIVISIONS.index(SLOTS[text.split()[1]])


CLASSES: dict[str, Callable[[Offsets, str], BoolArray]] = {
    "beat": _beat,
    "backbeat": lambda t, _: (t.division == BEAT) & np.isin(np.round(t.beat, 2), (2.0, 4.0)),
    "division": _slot,
    "after-rest": lambda t, _: t.rest_ms > 1.5 * np.median(t.rest_ms),
    "leaps": lambda t, _: np.abs(t.leap) >= 7,
}
"""The strokes that a sentence is about; held against all others."""


def plain_of(table: Offsets, code: str, text: str) -> float:
    """The plain difference or slope that a sentence is about, ms; nan where it is none."""
    y = table.offset_ms
    if code in CLASSES:
        rows = CLASSES[code](table, text)
        return float(y[rows].mean() - y[~rows].mean())
    if code == "off-beats":
        on = table.division == BEAT
        return float(y[~on].mean() - y[on].mean())
    if code == "hands":
        return float(y[table.hand == 1].mean() - y[table.hand == 2].mean())
    if code == "drift":
        return float(np.polyfit(table.bar, y, 1)[0])
    if code == "loudness":
        return drum_plain(table)
    return float("nan")


def groove_files(folder: Path) -> list[Path]:
    """All takes of the data set, in order; ``folder`` holds the data sets."""
    return sorted((folder / "groove").rglob("*.mid"))


def told_of(path: Path) -> Iterator[Told]:
    """Every sentence about one take's places, and its plain number."""
    judged, source, _ = judge_take(read_take(path))
    table = judged.offsets
    for row in findings(table, swing_asked=source.swing is None) if source.on_grid else ():
        if row.ci95_ms is not None and kind_of(row.code).measure == "place":
            yield Told(row.code, row.text, row.effect_ms, row.ci95_ms, plain_of(table, row.code, row.text))


def main(show: bool) -> None:
    """Print the table, and with ``show`` every sentence."""
    files = groove_files(Path(os.environ.get("HEELTAP_OUTSIDE_DATA", "../shared/data")))
    rows = [told for path in files for told in told_of(path)]
    checked = [told for told in rows if np.isfinite(told.plain)]
    codes = sorted({told.code for told in rows})
    print(
        f"{len(files)} takes, {len(rows)} sentences about places, {len(checked)} with a plain number ({', '.join(codes)})"
    )
    print(f"  wrong sign: {sum(not told.same_sign for told in checked)} (goal 0)")
    print(f"  plain number inside the told range: {np.mean([told.inside for told in checked]):.3f} (goal .95)")
    for code in ("leaps", "swing"):
        print(f"  about {code}: {sum(told.code == code for told in rows)} (goal 0)")
    for told in rows if show else ():
        print(f"  {told.plain:+7.1f}  {told.text}")


if __name__ == "__main__":
    main("show" in sys.argv)
