"""The figures of takes that never change stay what they were."""

import json

import pytest

from tests.makers.figures import GOLDEN, figures


def test_figures_are_as_they_were() -> None:
    """Every number to four digits, every word to the letter; ``python -m tests.makers.figures`` makes them anew."""
    approved = json.loads(GOLDEN.read_text(encoding="utf-8"))
    found = json.loads(json.dumps(figures()))

    assert list(approved) == list(found)
    for case, value in approved.items():
        assert _leaves(found[case]) == pytest.approx(_leaves(value), rel=1e-4, abs=1e-6, nan_ok=True), case


def _leaves(value: object, path: str = "") -> dict[str, object]:
    """Every number and word in a value, by where it stands."""
    if isinstance(value, dict):
        return {name: leaf for key, one in value.items() for name, leaf in _leaves(one, f"{path}.{key}").items()}
    if isinstance(value, list):
        return {name: leaf for key, one in enumerate(value) for name, leaf in _leaves(one, f"{path}.{key}").items()}
    return {path: value}
