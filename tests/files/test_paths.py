"""Where things lie."""

from pathlib import Path

import pytest

from heeltap.errors import HeeltapError
from heeltap.files import paths as places
from heeltap.files.paths import home, settings_file, shipped, takes_dir


def test_shipped_folders_are_found_in_a_checkout() -> None:
    """The graded data lies in the exercises folder, a file in it is found by its path."""
    assert (shipped("exercises") / "anchor.toml").is_file()
    assert shipped("exercises") / "anchor.toml" == shipped("exercises/anchor.toml")


def test_an_installed_copy_goes_before_the_checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Inside a wheel the data lies in the package, and that is what runs."""
    inside = tmp_path / "lib" / "heeltap" / "_shipped" / "exercises"
    inside.mkdir(parents=True)
    monkeypatch.setattr(places, "__file__", str(tmp_path / "lib" / "heeltap" / "files" / "places.py"))

    assert inside == shipped("exercises")


def test_data_that_did_not_come_along_is_our_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 1 and what to do."""
    monkeypatch.setattr(places, "__file__", str(tmp_path / "lib" / "heeltap" / "files" / "places.py"))

    with pytest.raises(HeeltapError, match="install it again") as caught:
        shipped("exercises/anchor.toml")
    assert 1 == caught.value.exit_code


def test_only_what_ships_can_be_asked_for() -> None:
    """A slip names the nearest folder."""
    with pytest.raises(HeeltapError, match="nearest: exercises"):
        shipped("exercise")


def test_home_is_where_the_environment_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Takes and settings lie below it, and asking makes no folder."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "mine"))

    assert tmp_path / "mine" == home()
    assert tmp_path / "mine" / "takes" == takes_dir()
    assert tmp_path / "mine" == settings_file().parent
    assert not (tmp_path / "mine").exists()


def test_home_is_the_systems_place_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the variable, or with an empty one, it is the user's data folder and bears our name."""
    monkeypatch.setenv("HEELTAP_HOME", "")

    assert "heeltap" == home().name
    assert home().is_absolute()
