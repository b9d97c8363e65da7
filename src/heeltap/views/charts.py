"""Charts of a Result, as SVG and as PNG. The same result gives the same bytes.

The functions import matplotlib themselves: it takes half a second, which only those wait for who ask for a page.

Inside: `offset_chart`.
"""

import io
import warnings
from typing import TYPE_CHECKING, Any

from heeltap.model.result import NoteRow, Result
from heeltap.safe_text import safe_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["offset_chart"]

_INK, _SOFT, _BAND = "#1b2a33", "#8a979e", "#dfe9e4"
"""Dark ink, soft grey, pale green: told apart in grey print too."""


def offset_chart(result: Result, *, kind: str = "svg") -> bytes:
    """Every stroke's offset over the bars, with the pocket as a band and the sections named.

    Early is down, late is up. ``kind`` is ``svg`` or ``png``. A result without judged notes gives an empty chart.
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    # A fixed salt and no date: the same result gives the same file, so a report can be compared with an older one.
    settings: Any = {"svg.hashsalt": "heeltap", "svg.fonttype": "none", "font.family": "sans-serif", "font.size": 9}
    with matplotlib.rc_context(settings):
        figure, axes = pyplot.subplots(figsize=(9.0, 3.2), layout="constrained")
        _draw(axes, result)
        out = io.BytesIO()
        metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
        with warnings.catch_warnings():  # a name in a script that the chart's font lacks: the browser has the font
            warnings.filterwarnings("ignore", "Glyph .* missing from")
            figure.savefig(out, format=kind, metadata=metadata, dpi=120)
        pyplot.close(figure)
    return out.getvalue()


def _draw(axes: "Axes", result: Result) -> None:
    rows = [row for row in result.notes if row.offset_ms is not None and row.bar is not None]
    # Beats in a bar, as far as the take shows them: a bar's last beat is under one beat long on the chart at most.
    beats = max((int(row.beat) for row in rows if row.beat), default=4)
    pocket, centre = result.overall.pocket_ms, result.overall.centre_ms
    if pocket is not None:
        axes.axhspan(centre - pocket, centre + pocket, color=_BAND, zorder=0, linewidth=0)
    axes.axhline(0.0, color=_SOFT, linewidth=0.8)
    if result.lean_ms:
        axes.axhline(result.lean_ms, color=_INK, linewidth=0.8, linestyle=(0, (6, 3)))
    at = [(row.bar or 1) + ((row.beat or 1.0) - 1.0) / beats for row in rows]
    offset_ms = [row.offset_ms or 0.0 for row in rows]
    axes.plot(at, offset_ms, "o", color=_INK, markersize=2.6, alpha=0.6)
    _means(axes, rows)
    _name_sections(axes, result)
    axes.set_xlabel("bar")
    axes.set_ylabel("offset, ms\nearly (-)      late (+)")
    axes.spines[["top", "right"]].set_visible(False)
    last = max((row.bar for row in rows if row.bar), default=1)
    axes.set_xlim(1, last + 1)


def _means(axes: "Axes", rows: list[NoteRow]) -> None:
    """A short line at the average of each bar."""
    by_bar: dict[int, list[float]] = {}
    for row in rows:
        if row.bar is not None and row.offset_ms is not None:
            by_bar.setdefault(row.bar, []).append(row.offset_ms)
    for bar, values in by_bar.items():
        mean = sum(values) / len(values)
        axes.plot([bar + 0.05, bar + 0.95], [mean, mean], color=_INK, linewidth=2.0, solid_capstyle="butt")


def _name_sections(axes: "Axes", result: Result) -> None:
    for section in result.by_section:
        axes.axvline(section.first_bar, color=_SOFT, linewidth=0.8, linestyle=(0, (1, 2)))
        axes.annotate(
            safe_line(section.name) or "(no name)",
            (section.first_bar, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3, -2),
            textcoords="offset points",
            va="top",
            color=_INK,
            fontsize=8,
            parse_math=False,  # a dollar sign is part of the name
        )
