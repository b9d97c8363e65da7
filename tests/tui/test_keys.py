"""Keys as data: the bottom line, the mouse and the help read the same rows."""

from heeltap.devices.computer_keys import KEYS
from heeltap.session.session import Feedback, Phase
from heeltap.tui.keys import HELP, QUIT, bottom_line, key_at
from heeltap.tui.screens.drill_keys import REPORT_KEYS, drill_keys
from heeltap.tui.screens.history import HISTORY_KEYS
from heeltap.tui.screens.set_up import SETUP_KEYS
from heeltap.tui.screens.start import START_KEYS
from heeltap.tui.screens.take import TAKE_KEYS
from heeltap.views.bar_sheet import plain

TABLES = [START_KEYS, HISTORY_KEYS, TAKE_KEYS, SETUP_KEYS, REPORT_KEYS, *(drill_keys(p, Feedback.BAR) for p in Phase)]


def test_help_and_quit_stay_however_narrow_the_terminal() -> None:
    """Keys that do not fit are left to the help."""
    for keys in TABLES:
        for width in (60, 80, 120):
            (line,) = plain([bottom_line(keys, width)])
            assert len(line) <= width
            assert line.endswith("? help  q quit")


def test_a_click_on_a_words_column_is_that_key() -> None:
    """Every key that is written is found under its own words, nothing between them."""
    for keys in TABLES:
        (line,) = plain([bottom_line(keys, 80)])
        shown = [key for key in keys if f"  {key.text}" in line]
        assert [key_at(keys, 80, line.index(f"  {key.text}") + 2) for key in shown] == shown
        assert key_at(keys, 80, 0) is None
        assert key_at(keys, 80, len(line)) is None


def test_a_key_means_the_same_on_every_screen() -> None:
    """Quit, help and moving are one row each; no command of a drill is a pad of the computer's keyboard."""
    for keys in TABLES:
        assert HELP in keys
        assert QUIT in keys
        names = [key.name for key in keys]
        assert len(names) == len(set(names))
    playing = {key.name for key in drill_keys(Phase.PLAYING, Feedback.BAR)}
    assert playing.isdisjoint(set(KEYS) - {" "})


def test_every_key_is_explained() -> None:
    """The help has a sentence for each."""
    assert all(key.explained and key.does for keys in TABLES for key in keys)
