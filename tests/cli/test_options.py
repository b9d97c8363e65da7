"""Every option against every kind of input: it changes what comes out, or it is refused by name. None is passed over."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from msgspec.structs import replace as replace_fields

from heeltap.app.drill.drill import drill_of
from heeltap.app.practice.make_exercise import make_exercise, write_exercise
from heeltap.app.score.compare import compare_takes
from heeltap.app.score.score import ready
from heeltap.cli import build_parser, main
from heeltap.cli.options import options_of, reading_of
from heeltap.errors import OptionError
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.folder import open_take, save_take
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.model.lean import Lean
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan_from import plan_of
from tests.makers.commands import command_parsers

BARS = 8
PARSERS = command_parsers(build_parser())


def strokes(rng: np.random.Generator) -> Notes:
    """A take of the exercise whose left hand comes 25 ms late, and one key that bounces once after 20 ms."""
    plan = plan_of(make_exercise("split", 2, bars=BARS))
    left = np.arange(len(plan)) % 3 == 0
    late_ms = rng.normal(4, 6, len(plan)) + 25 * left
    at = np.maximum(plan.at_us + np.round(1000 * late_ms).astype(np.int64), 0)
    key = np.where(left, 48, 60)
    at, key = np.append(at, at[5] + 20_000), np.append(key, key[5])
    loud = np.append(np.full(len(plan), 80), 40)
    order = np.argsort(at, kind="stable")
    return make_notes(at[order], key[order], loud[order], duration_us=np.full(at.size, 15_000))


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """One of each kind of input that `heeltap score` takes, and a plan beside them."""
    rng, folder = np.random.default_rng(5), tmp_path_factory.mktemp("inputs")
    exercise = make_exercise("split", 2, bars=BARS)
    plan, notes = plan_of(exercise), strokes(rng)
    beats = plan.tempo.us_at_quarter(np.arange(4 * BARS)).round().astype(np.int64) + 7_000
    drums = make_notes(beats, np.where(np.arange(beats.size) % 2, 38, 36), np.full(beats.size, 90))
    context = Context(
        heeltap="0",
        name=exercise.name,
        exercise=exercise_to_toml(exercise),
        plan=plan_out(plan),
        count_in_us=2_000_000,
        ending="played",
        delay_ms=2.0,
        lean_ms=3.0,
    )
    kept = save_take(open_take(folder / "takes", context), context, plan, notes)
    (folder / "songs").mkdir()
    tracks = [TrackOut(notes, name="keys", channel=0), TrackOut(drums, name="kit", channel=9)]
    for name in ("one.mid", "songs/a.mid", "songs/b.mid"):
        write_midi(folder / name, tracks, tempo=plan.tempo, metre=plan.metre)
    write_exercise(exercise, folder / "plan.toml")
    keyed = replace(plan, pitch=np.where(np.arange(len(plan)) % 3 == 0, 48, 60).astype(np.int64))
    other = replace_fields(context, plan=plan_out(keyed), exercise=None)
    part = save_take(open_take(folder / "takes", other), other, keyed, notes)
    return {
        "file": str(folder / "one.mid"),
        "folder": str(folder / "songs"),
        "take": str(kept),
        "take of a part": str(part),
        "take.mid": str(kept / "take.mid"),
        "plan": str(folder / "plan.toml"),
    }


OPTIONS = {
    "part": ["--part", "kit"],
    "pattern": ["--pattern", "1"],
    "plan": ["--plan", "PLAN"],
    "leader": ["--leader", "drums"],
    "sections": ["--sections", "first:1 second:5"],
    "tempo": ["--tempo", "61"],
    "at": ["--at", "5"],
    "lean": ["--lean", "25"],
    "pocket": ["--pocket", "11"],
    "delay": ["--delay", "9"],
    "retrigger": ["--retrigger", "0"],
    "split": ["--split", "55"],
    "grid": ["--grid", "16"],
}
"""Every option that says what is read, or how it is judged."""

REFUSED = {
    "file": {"pattern"},
    "folder": {"pattern"},
    "take": {"part", "pattern", "leader", "tempo", "at", "split"},
    "take.mid": {"part", "pattern", "leader", "tempo", "at", "split"},
    "take of a part": {"part", "pattern", "leader", "tempo", "at"},
}
"""What each kind of input cannot honour; everything else it must. Any hand may play the exercise on any key."""


def scored(capsys: pytest.CaptureFixture[str], words: Sequence[str]) -> tuple[int, str, str]:
    """Exit code, JSON and messages of a run."""
    capsys.readouterr()
    code = main(["score", *words, "--json", "-"])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_table_names_every_shared_option() -> None:
    """An option that is added has to say here what it does for each kind of input."""
    own = {
        "files",
        "json",
        "html",
        "jobs",
        "help",
        "debug",
        "command",
        "force",
        "onsets",
        "metre",
    }  # the last two: test_score_onsets

    assert set(OPTIONS) == {action.dest for action in PARSERS["score"]._actions} - own
    assert set(OPTIONS) == {action.dest for action in PARSERS["compare"]._actions} - own - {"takes"}


@pytest.mark.parametrize("kind", REFUSED)
@pytest.mark.parametrize("option", OPTIONS)
def test_an_option_is_honoured_or_refused_by_name(
    option: str, kind: str, inputs: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Honoured: the result is another. Refused: exit code 2 and a line with the option's name for each file."""
    base = [inputs[kind], *(["--part", "keys"] if kind in ("file", "folder") and option != "part" else [])]
    usual = [inputs[kind], "--part", "keys"] if kind in ("file", "folder") else [inputs[kind]]
    words = [inputs["plan"] if word == "PLAN" else word for word in OPTIONS[option]]

    code, result, said = scored(capsys, [*base, *words])

    if option in REFUSED[kind]:
        assert (2, "") == (code, result)
        assert [True] * (2 if kind == "folder" else 1) == [words[0] in line for line in said.splitlines()]
    else:
        plain = scored(capsys, usual)
        assert (0, "", 0) == (code, said, plain[0])
        if not (option == "plan" and kind in ("take", "take.mid")):  # it is the plan that the take was played to
            assert plain[1] != result


def test_a_kept_take_is_judged_as_it_was_played_unless_somebody_says_otherwise(
    inputs: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Lean and delay of the take hold; what is given goes before them, and only that."""
    usual = json.loads(scored(capsys, [inputs["take"]])[1])
    other = json.loads(scored(capsys, [inputs["take"], "--lean", "25"])[1])

    assert (3.0, 2.0) == (usual["lean_ms"], usual["calibration"]["delay_ms"])
    assert (25.0, 2.0) == (other["lean_ms"], other["calibration"]["delay_ms"])


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["--grid", "16", "--plan", "PLAN"], "--grid"),
        (["--tempo", "61", "--plan", "PLAN"], "--tempo"),
    ],
)
def test_options_that_exclude_each_other_are_refused(
    words: list[str], named: str, inputs: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """A plan says where each note belongs and how fast."""
    words = [inputs["plan"] if word == "PLAN" else word for word in words]

    code, result, said = scored(capsys, [inputs["file"], "--part", "keys", *words])

    assert (2, "", 1) == (code, result, said.count("\n"))
    assert named in said


@pytest.mark.parametrize(
    "words",
    [
        ["score", "FOLDER", "--html", "page.html"],
        ["drill", "anchor", "1", "--no-screen", "--guess"],
        ["drill", "anchor", "1", "--no-screen", "--follow-clock", "Pad", "--click", "one"],
        ["drill", "anchor", "1", "--no-screen", "--follow-clock", "Pad", "--click-velocity", "90"],
        ["drill", "anchor", "1", "--no-screen", "--follow-clock", "Pad", "--song-bar", "9"],
        ["make", "--seed", "3"],
        ["make", "--out", "x.mid"],
        ["history", "next", "--all"],
        ["set", "check", "first-week", "--out", "sheet.html"],
        ["set", "show", "first-week", "--out", "sheet.html"],
    ],
)
def test_an_option_of_a_command_that_cannot_apply_is_refused(
    words: list[str], inputs: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line that names it, and nothing is done."""
    code = main([inputs["folder"] if word == "FOLDER" else word for word in words])

    told = capsys.readouterr()
    assert (2, "", 1) == (code, told.out, told.err.count("\n"))
    assert [word for word in words if word.startswith("--")][-1] in told.err


def test_compare_hands_every_option_on(inputs: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read and judged is asked for in the same words as for a score, take by take."""
    asked = []
    monkeypatch.setattr(
        "heeltap.app.score.compare.ready",
        lambda path, reading, options: asked.append((reading, options)) or ready(path, reading, options),
    )
    words = [word for option in ("part", "leader", "sections", "lean", "pocket", "delay", "retrigger", "split", "grid")
             for word in OPTIONS[option]]  # fmt: skip
    args = PARSERS["compare"].parse_args([inputs["file"], inputs["file"], *words])

    compare_takes(args.takes, reading_of(args), options_of(args))

    assert [(reading_of(args), options_of(args))] * 2 == asked
    assert ("kit", "drums", Lean(25.0), 16) == (
        asked[0][0].part,
        asked[0][0].leader,
        asked[0][1].lean,
        asked[0][1].grid,
    )


DRILLS: dict[str, Callable[[dict[str, str]], str]] = {
    "family": lambda inputs: "anchor 2",
    "exercise": lambda inputs: inputs["plan"],
    "midi": lambda inputs: inputs["file"],
    "set": lambda inputs: "first-week:1",
}
"""Every kind of thing that can be drilled."""

DRILL_OPTIONS: dict[str, object] = {
    "tempo_bpm": 71.0, "lean": Lean(12.0), "pocket_ms": 13.0, "click": "bars 1+1", "seed": 5, "part": "kit",
}  # fmt: skip

DRILL_REFUSED = {"family": {"part"}, "exercise": {"part", "seed"}, "midi": {"seed"}, "set": {"part", "seed"}}


@pytest.mark.parametrize("kind", DRILLS)
@pytest.mark.parametrize("option", DRILL_OPTIONS)
def test_a_drill_honours_an_option_or_refuses_it_by_name(option: str, kind: str, inputs: dict[str, str]) -> None:
    """Honoured: what is played, heard or aimed at is another."""
    what = DRILLS[kind](inputs)
    usual = {"part": "keys"} if kind == "midi" else {}
    given = {**usual, option: DRILL_OPTIONS[option]}
    if option in DRILL_REFUSED[kind]:
        with pytest.raises(OptionError, match=f"--{option}"):
            drill_of(what, **given)
        return

    drill, plain = drill_of(what, **given), drill_of(what, **usual)

    def told(one: object) -> tuple[object, ...]:
        plan = one.plan
        return (
            plan.at_tick.tolist(), plan.pitch.tolist(), plan.tempo.us_per_quarter.tolist(), one.lean_ms, one.pocket_ms,
            one.clicked and one.clicked.at_tick.tolist(),
        )  # fmt: skip

    assert told(plain) != told(drill)
