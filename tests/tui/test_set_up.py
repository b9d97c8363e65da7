"""What the set-up changes and keeps: here the click's sound and level."""

from collections.abc import Callable

import pytest

from heeltap.app.drill import changes as drill_changes
from heeltap.app.drill.backing import kept_sound, sound_of
from heeltap.app.drill.from_settings import DrillChoice, prepared
from heeltap.app.route.route import Route
from heeltap.course.next_exercise import NextStep
from heeltap.devices.systems import PortName
from heeltap.errors import HeeltapError, PlanError, SetFileError
from heeltap.files.paths import settings_file
from heeltap.files.settings import Stored, read_settings, write_settings
from heeltap.sound.click import CLICK_SOUNDS
from heeltap.tui.menu_app import MenuApp
from heeltap.tui.screens import set_up as setting_up
from heeltap.tui.screens.set_up import ROWS, SetUp, SetUpScreen, next_click, next_level


@pytest.fixture(autouse=True)
def _ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """One device, and no sound server to ask."""
    found = ([PortName("Pad MIDI 1", "Pad MIDI 1")], [PortName("Module", "Module")])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: found)
    monkeypatch.setattr("heeltap.app.route.route.sound_buffer", lambda: None)


def kept_after(stored: Stored, change: Callable[[SetUp], None], times: int) -> list[Stored]:
    """What the file holds after each of so many changes."""
    found = []
    for _ in range(times):
        change(SetUp(stored))
        stored = read_settings()
        found.append(stored)
    return found


def test_sounds_come_in_turn() -> None:
    """Every sound by name once, then the first again; the default counts as the first."""
    names = list(CLICK_SOUNDS)

    assert [*names[1:], *names] == [one.click_notes for one in kept_after(Stored(), next_click, 2 * len(names) - 1)]


def test_keys_by_hand_are_a_choice_while_they_are_the_present_one() -> None:
    """After them comes the first name, and they do not come again; nothing else that is kept changes."""
    stored = Stored(("Pad",), click_notes="56,49", click_channel=3, click_velocity=20)

    kept = kept_after(stored, next_click, 4)

    assert ["wood", "metronome", "stick", "wood"] == [one.click_notes for one in kept]
    assert (("Pad",), 3, 20) == (kept[-1].in_ports, kept[-1].click_channel, kept[-1].click_velocity)


@pytest.mark.parametrize(
    ("present", "following"),
    [
        (None, [127, 50, 65, 80, 95, 110]),
        (70, [80, 95, 110, 127, 50, 65]),
        (1, [50, 65, 80, 95, 110, 127]),
        (126, [127, 50, 65, 80, 95, 110]),
    ],
)
def test_levels_come_in_turn(present: int | None, following: list[int]) -> None:
    """From the default or one written by hand to the next higher, after the highest the lowest."""
    kept = kept_after(Stored(click_velocity=present), next_level, 6)

    assert following == [one.click_velocity for one in kept]


def test_a_file_with_a_mistake_is_not_written_over() -> None:
    """What it holds was not read and would be lost; the mistake is told instead."""
    settings_file().parent.mkdir(parents=True)
    settings_file().write_text('in_prts = ["Pad"]\n')
    now = setting_up.read_set_up()

    for change in (next_click, next_level, setting_up.next_input, setting_up.next_output):
        with pytest.raises(SetFileError, match="nearest: in_ports"):
            change(now)
    assert "nearest: in_ports" in now.problem
    assert 'in_prts = ["Pad"]\n' == settings_file().read_text()


def test_the_set_up_says_what_is_wrong_with_the_click() -> None:
    """In its line for problems, with the rest as it is; the next change mends it."""
    write_settings(Stored(click_notes="bell"))

    now = setting_up.read_set_up()

    assert "settings.toml: click notes: 'bell'" in now.problem
    assert (("Pad MIDI 1",), "Module") == (now.in_use, now.click_to)
    with pytest.raises(PlanError, match=r"settings\.toml: click channel: 17"):
        kept_sound(Stored(click_channel=17))
    next_click(now)
    assert "" == setting_up.read_set_up().problem


def test_a_drill_begun_on_a_screen_sounds_as_kept() -> None:
    """Notes, channel and level; a sound that there is not is one line."""
    write_settings(Stored(click_notes="stick", click_channel=3, click_velocity=80))

    drill, _ = prepared(DrillChoice("anchor 1"))

    assert sound_of("stick", channel=3, velocity=80) == drill.sound == kept_sound(read_settings())
    write_settings(Stored(click_notes="bell"))
    with pytest.raises(HeeltapError, match=r"settings\.toml"):
        prepared(DrillChoice("anchor 1"))


def test_another_drill_keeps_the_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """Simpler, slower, and what comes next."""
    own = sound_of("33,34", channel=3, velocity=80)
    write_settings(Stored(click_notes="33,34", click_channel=3, click_velocity=80))
    drill, settings = prepared(DrillChoice("turn 3", 80.0))
    step = NextStep("again", "a reason", "anchor", "pillars", tempo_bpm=70.0, seed=5)
    monkeypatch.setattr(drill_changes, "next_step", lambda _: step)

    following, _ = drill_changes.next_drill(settings.takes, own)

    assert following is not None
    made = (following, drill_changes.simpler(drill), drill_changes.at_tempo(drill, 60.0))
    assert [own] * 4 == [one.sound for one in (*made, drill_changes.for_pads(drill, settings))]


def test_the_unknown_delay_is_chosen_first() -> None:
    """From the start screen u and enter lead to measuring it; the computer's keyboard has none to measure."""
    keys, pad, known = (SetUpScreen(MenuApp()) for _ in range(3))
    keys.take_in("set-up", SetUp(in_use=("keys",)))
    pad.take_in("set-up", SetUp(in_use=("Pad",)))
    known.take_in("set-up", SetUp(in_use=("Pad",), route=Route(4.0, 0.5, "tapped")))

    assert (0, ROWS.index("delay"), 0) == (keys.at, pad.at, known.at)
    pad.at = 2
    pad.take_in("set-up", SetUp(in_use=("Pad",)))
    assert 2 == pad.at
