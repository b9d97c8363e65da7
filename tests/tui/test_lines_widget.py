"""The border of the screens: the one widget that draws text draws nothing else."""

import pytest
from textual.geometry import Size

from heeltap.tui.lines_widget import LinesWidget
from heeltap.views.bar_sheet import Span


def test_no_control_character_reaches_the_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Escapes, line ends and turned directions of a name become question marks, one for one."""
    monkeypatch.setattr(LinesWidget, "size", Size(20, 1))
    widget = LinesWidget()
    widget.show([[Span("Ev\x1b[2Jil\x9b\u202e\nx", "head")]])

    assert "Ev?[2Jil???x" == widget.render_line(0).text.rstrip()
