"""Every command and every field with one hostile name: nothing that a terminal or a browser would obey comes out."""

import json
import shlex
import sys
from itertools import pairwise
from pathlib import Path

import msgspec
import numpy as np
import pytest

from heeltap.cli import main
from heeltap.devices.systems import PortName
from heeltap.files.calibrations import Calibrated, Selftested, keep_calibration, keep_selftest
from heeltap.files.settings import PadSet, Stored, write_settings
from heeltap.files.takes.folder import CONTEXT
from heeltap.files.takes.metadata import context_bytes, context_from
from heeltap.safe_text import safe
from heeltap.views.text import WIDTH
from tests.makers.amounts import share
from tests.makers.classes import small_class
from tests.makers.kept import keep
from tests.makers.midi_bytes import meta, note_on, smf, tempo, track

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows gives no file such a name")

HOSTILE = "Ev\x1b[2J\x1b]0;a\x07il\x9b31m\x7f\x85\u202eabc\u2066\u2028\u200b\r\nFORGED\tline"
"""Erases the screen, renames the window, colours, turns the direction, and begins a line of its own."""

NAMED = HOSTILE.replace("\n", "\x1b")
"""For what has to stay on one line of TOML."""

COMMANDS = {
    "score a file": "score {midi} --html out/a.html --json out/a.json",
    "score to stdout": "score {midi} --json -",
    "score against itself": "score {midi} --plan {midi} --html out/b.html",
    "score with named sections": "score {midi} --sections {sections}",
    "score a folder": "score {folder} --json out/c.json",
    "score a kept take": "score {take} --html out/d.html --json out/d.json",
    "score a plan that is none": "score {midi} --plan {toml}",
    "score what is not there": "score {name}",
    "score an option": "score {midi} --{name}",
    "score an option's value": "score {midi} --part {name}",
    "score a section's name": "score {midi} --sections {name}",
    "compare": "compare {take} {other}",
    "compare files": "compare {midi} {midi}",
    "song new": "song new {midi} --out out/song.toml",
    "song new beside it": "song new {midi}",
    "song": "song {song} {folder} --csv out/e.csv --json out/e.json --page out/e.html",
    "comp": "comp {song} {folder} --out out/comp.mid --csv out/f.csv",
    "listen": "listen {midi} --bars 1 --out out/j.wav",
    "listen to a kept take": "listen {take} --out out/k.wav",
    "listen to a take of a song": "listen {song} {name} --out out/l.wav",
    "listen to a section": "listen {midi} --section {name} --out out/m.wav",
    "listen with a part": "listen {midi} --with {name} --out out/n.wav",
    "ear": "ear side {name}",
    "ear of a song": "ear side {song} {name}",
    "ear before": "ear history",
    "history": "history",
    "history all": "history list --all",
    "history next": "history next",
    "history rebuild": "history rebuild",
    "history as a table": "history export out/g.csv",
    "history as JSON": "history export out/g.json",
    "history of nothing": "history {name}",
    "make": "make anchor one --out {new}.toml",
    "make nothing": "make {name} {name}",
    "make a metre": "make anchor one --metre {name}",
    "simplify": "simplify {midi} --out out",
    "set check": "set check {set}",
    "set check a bad one": "set check {toml}",
    "set show": "set show {set}",
    "set sheet": "set sheet {set} --out out/h.html",
    "set new": "set new {new}.toml",
    "set of nothing": "set {name}",
    "handin": "handin {set} --name {name} --out out/one.handin",
    "handin to a hostile name": "handin {set} --name x --out {new}.handin",
    "class": "class {classroom} --set {set} --html out/i.html --csv out/i.csv",
    "class without a set": "class {classroom}",
    "class of nothing": "class {folder}",
    "ports": "ports",
    "pads": "pads show",
    "pads forgotten": "pads forget {name}",
    "calibrations": "calibrate --show",
    "calibrations of a port": "calibrate --forget --in {name}",
    "calibrate a port": "calibrate --tap --in {name} --out {name}",
    "drill an exercise": "drill {name}",
    "drill a file": "drill {toml} --no-screen",
    "drill a port": "drill anchor one --in {name} --no-screen",
    "drill a control": "drill anchor one --control {name}={name} --no-screen",
    "a command": "{name}",
}
"""Each way in which a name of somebody else's comes in."""


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path | str]:
    """A folder, a home and a class in which everything bears the hostile name."""
    home, rng = tmp_path_factory.mktemp("home"), np.random.default_rng(7)
    folder = tmp_path_factory.mktemp("files") / HOSTILE
    folder.mkdir()
    (folder / "out").mkdir()
    midi = folder / f"{HOSTILE}.mid"
    name = HOSTILE.encode()
    notes = [note_on(480 if at else 0, 60) for at in range(24)]
    midi.write_bytes(smf(track(meta(0, 3, name), meta(0, 6, name), tempo(0, 500_000), *notes)))
    (folder / f"{HOSTILE}-2.mid").write_bytes(b"MThd" + name)
    toml = folder / f"{HOSTILE}.toml"
    written = "".join(f"\\U{ord(c):08x}" if not c.isprintable() else c for c in NAMED)
    toml.write_text(
        f'format = "heeltap.set/1"\n"{written}" = "{written}"\n[[item]]\nfamily = "{written}"\n', encoding="utf-8"
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HEELTAP_HOME", str(home))
        takes = [_kept(home / "takes", number, rng) for number in (1, 2)]
        _gear()
        classroom = tmp_path_factory.mktemp("class")
        chosen = small_class(classroom, rng, [HOSTILE, "Ana"])
        patch.chdir(folder)
        assert 0 == main(["song", "new", str(midi), "--out", "given.song.toml"])
    return {
        "home": home, "cwd": folder, "midi": midi, "folder": folder, "toml": toml, "take": takes[0], "other": takes[1],
        "set": chosen, "classroom": classroom, "name": HOSTILE, "sections": f"{NAMED}:1", "song": "given.song.toml",
        "new": "out/" + HOSTILE,
    }  # fmt: skip


def _kept(root: Path, seed: int, rng: np.random.Generator) -> Path:
    """A kept take whose context bears the name in every text that it has."""
    take = keep(root, seed=seed, rng=rng, date=f"2026-03-0{seed}T18:00:00+01:00")
    context = context_from((take / CONTEXT).read_bytes(), "made")
    kept = {"format", "date", "exercise", "plan", "delay_method", "heard", "feedback"}
    fields = msgspec.structs.asdict(context).items()
    texts = {name: HOSTILE for name, value in fields if isinstance(value, str) and name not in kept}
    plan = msgspec.structs.replace(context.plan, name=HOSTILE, sections=[(HOSTILE, 1, 4), (HOSTILE, 5, 8)])
    context = msgspec.structs.replace(context, **texts, plan=plan, more_in_ports=[HOSTILE])
    (take / CONTEXT).write_bytes(context_bytes(context))
    return take


def _gear() -> None:
    """Ports, pads, a calibration and a self-test of that name."""
    ports = {"in_port": HOSTILE, "out_port": HOSTILE, "date": HOSTILE}
    keep_calibration(Calibrated(method="same-path", delay_ms=4.0, uncertainty_ms=1.0, buffer=HOSTILE, **ports))
    keep_selftest(Selftested(loop="ports", summary=HOSTILE, trusted=True, stamp_p99_ms=1.0, click_p99_ms=1.0, **ports))
    write_settings(Stored(pads=(PadSet("Pads", {NAMED: 36}),)))


STARTS = ("calibrate a port", "drill a port")
"""They look for ports, in a process of its own."""


@pytest.mark.parametrize(
    "way",
    [pytest.param(way, marks=pytest.mark.live) if way in STARTS else way for way in share(list(COMMANDS), every=4)],
)
def test_no_command_lets_a_hostile_name_out(
    way: str, world: dict[str, Path | str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it prints and what it writes is safe, no line of it is forged, and no error is a fault."""
    monkeypatch.setenv("HEELTAP_HOME", str(world["home"]))
    monkeypatch.chdir(world["cwd"])
    port = PortName(HOSTILE, HOSTILE)
    monkeypatch.setattr("heeltap.devices.systems.list_ports", lambda: ([port], [port]))
    before = {path: path.stat().st_mtime_ns for path in Path("out").iterdir()}
    words = [word.format(**world) for word in COMMANDS[way].split()]
    code = main(words)
    said = capsys.readouterr()

    assert code in (0, 2, 3, 4, 5, 6), said.err
    for text in (said.out, said.err):
        assert text == safe(text)
        assert [] == _forged(text)
    for path in Path("out").iterdir():
        if path not in before or path.stat().st_mtime_ns != before[path]:
            _check_file(path)


def _forged(text: str) -> list[str]:
    """Lines that the name began, not the breaking of a paragraph: there was room for its word on the line before."""
    return [
        after
        for before, after in pairwise(text.splitlines())
        if after.startswith("FORGED") and len(f"{before} FORGED") <= WIDTH
    ]


def _check_file(path: Path) -> None:
    """A file that was written: safe as a whole; a page and a report have no forged line."""
    data = path.read_bytes()
    if path.suffix in (".mid", ".handin", ".wav"):
        return
    text = data.decode()
    assert text == safe(text)
    if path.suffix == ".json":
        assert [json.loads(line) for line in text.splitlines()] if text.startswith('{"') else json.loads(text)


def test_the_ways_name_every_command_that_can_run_by_itself() -> None:
    """A command that is added has to say here how names come into it."""
    from heeltap.cli import COMMANDS as KNOWN

    words = {shlex.split(line)[0] for line in COMMANDS.values()}

    assert {"demo", "selftest"} == set(KNOWN) - words  # these two take no name that they show
