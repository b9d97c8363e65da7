"""`heeltap.result/2` as JSON: valid against its own schema, the same when read back, promised fields kept."""

import json
from pathlib import Path

import jsonschema
import msgspec
import pytest

from heeltap import score_file
from heeltap.errors import TakeFileError
from heeltap.files.result_json import from_json, schema, to_json
from heeltap.model.result import Result

ROOT = Path(__file__).resolve().parents[2]
PROMISED = {
    "": "format file part reference lean_ms pocket_ms calibration resolution_ms counts overall by_beat by_division "
    "by_section swing findings replay advice notes warnings",
    "counts": "planned matched missed extra wrong_pitch unplaced",
    "calibration": "known delay_ms uncertainty_ms method",
    "overall": "n bias_ms bias_ci95_ms spread_ms spread_ci95_ms in_pocket score",
}


@pytest.fixture(scope="module")
def result() -> Result:
    """The demo's first take."""
    demo = ROOT / "demo"
    return score_file(demo / "tollgate-road-take-1.mid", part="keys", plan=demo / "tollgate-road.mid")


def test_a_result_validates_against_the_published_schema(result: Result) -> None:
    """The schema in docs/ describes what is written."""
    published = json.loads((ROOT / "docs" / "result.schema.json").read_text())

    jsonschema.validate(json.loads(to_json(result)), published)


def test_the_published_schema_is_the_current_one() -> None:
    """A changed field fails here until docs/result.schema.json is written again (``python -m tests.makers.schema``)."""
    assert json.loads((ROOT / "docs" / "result.schema.json").read_text()) == json.loads(msgspec.json.encode(schema()))


def test_the_promised_fields_are_there(result: Result) -> None:
    """Fields that other programs rely on keep their names."""
    document = json.loads(to_json(result))
    for place, names in PROMISED.items():
        part = document[place] if place else document

        assert set() == set(names.split()) - set(part)


def test_a_result_comes_back_from_its_json(result: Result) -> None:
    """Reading what was written gives the same result, indented or not."""
    assert result == from_json(to_json(result))
    assert result == from_json(to_json(result, indent=True))


def test_another_version_is_refused(result: Result) -> None:
    """A document of a newer version is an error that says so."""
    data = to_json(result).replace(b"heeltap.result/2", b"heeltap.result/9")

    with pytest.raises(TakeFileError, match="another version"):
        from_json(data)


def test_what_is_no_result_is_refused() -> None:
    """Neither broken JSON nor another document passes."""
    for data in (b"{", b"[]", b'{"format": "heeltap.result/2"}'):
        with pytest.raises(TakeFileError, match=r"heeltap\.result/2"):
            from_json(data)


def paths_of(data: object, path: str = "") -> set[str]:
    """Path of every field of a JSON value; lists count as what they hold."""
    if isinstance(data, list):
        return set().union(*(paths_of(item, path) for item in data)) if data else set()
    if not isinstance(data, dict):
        return set()
    here = {f"{path}.{name}".strip("."): value for name, value in data.items()}
    return set(here).union(*(paths_of(value, name) for name, value in here.items())) if here else set()


def half_of(path: str, halves: dict[str, list[str]]) -> set[str]:
    """The halves that name the longest part of a path."""
    named = [(len(one), half) for half, names in halves.items() for one in names if f"{path}.".startswith(f"{one}.")]
    longest = max(size for size, _ in named)
    return {half for size, half in named if size == longest}


def test_every_field_is_of_the_take_or_of_the_player(result: Result) -> None:
    """Each belongs to one half and not to both, and each path that is named exists."""
    data = json.loads(to_json(result))
    paths = paths_of(data)
    halves = data["halves"]

    assert {1} == {len(half_of(path, halves)) for path in paths}
    assert {"take"} == half_of("overall.score", halves)
    assert {"player"} == half_of("overall.spread_ci95_ms", halves) | half_of("findings.text", halves)
    known = paths | {"swing.ci95"}  # the demo's song does not swing
    assert set() == {name for names in halves.values() for name in names} - known
