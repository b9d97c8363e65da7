"""Your own settings: one TOML file in the home folder, which `heeltap pads learn`, the set-up screen or you write.

::

    format = "heeltap.settings/1"
    in_ports = ["Drum Pads"]        # opened when --in is not given
    out_port = "Synth"
    split = "C4"                    # keys below are the left hand's

    [control]                       # hands-free: key, pad or pedal
    start = "cc64"
    stop = "pad crash"

    [click]                         # how the click sounds
    notes = "stick"                 # wood, metronome, stick, or two keys: "33,34"
    channel = 10                    # 1 to 16
    velocity = 80                   # of the loudest click

    [volume]                        # per cent; the keys of the drill screen change them
    click = 80
    drums = 100
    parts = 60                      # the other parts of a song

    [[pads]]
    port = "Drum Pads"
    keys = { kick = 36, snare = 38 }
    retrigger_ms = { snare = 45 }   # double-trigger window of one pad

heeltap tells every mistake at once, with its line and the nearest valid name.

Inside: `PadSet`, `Stored`, `read_settings`, `write_settings`, `settings_toml`, `with_pad_set`, `without_pads`.
"""

import difflib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from heeltap.errors import InputFileError, PlanError, SetFileError
from heeltap.files.paths import settings_file
from heeltap.files.toml.check import REQUIRED, Check, toml_file_text, toml_text
from heeltap.model.pitch import key_name, key_of
from heeltap.write import write_whole

__all__ = ["PadSet", "Stored", "read_settings", "settings_toml", "with_pad_set", "without_pads", "write_settings"]

FORMAT = "heeltap.settings/1"

_VOLUMES = ("click", "drums", "parts")
_CONTROLS = ("start", "stop", "repeat")
_LONGEST_MS = 200.0
"""A double-trigger window beyond this would swallow playing: sixteenths at 75 bpm."""


@dataclass(frozen=True, slots=True)
class PadSet:
    """The pads of one device."""

    port: str
    """Its stable name; a beginning will do."""
    keys: Mapping[str, int]
    """Key number of each role."""
    retrigger_ms: Mapping[str, float] = field(default_factory=dict)
    """Double-trigger window of single roles; the others take the drill's."""


@dataclass(frozen=True, slots=True)
class Stored:
    """Everything that is kept."""

    in_ports: tuple[str, ...] = ()
    """Opened when nobody names an input."""
    out_port: str = ""
    split_key: int | None = None
    """Keys below are the left hand's."""
    controls: Mapping[str, str] = field(default_factory=dict)
    """By action (``start``, ``stop``, ``repeat``) the key, pad or pedal, as `heeltap.session.handsfree` reads it."""
    pads: tuple[PadSet, ...] = ()
    click_notes: str = ""
    """A name of `heeltap.sound.click.CLICK_SOUNDS` or keys, as `heeltap.app.drill.backing.sound_of` takes them; empty is
    the default."""
    click_channel: int | None = None
    """1-16 as people count; None is the default."""
    click_velocity: int | None = None
    """Of the loudest click, 1-127; None is the default."""
    volumes: Mapping[str, int] = field(default_factory=dict)
    """Per cent, 0 to 100, of ``click``, ``drums`` and ``parts``; what is not in it is at 100."""

    def pads_of(self, ports: tuple[str, ...] | list[str]) -> tuple[dict[str, int], dict[int, float]]:
        """Of these ports: the key of each role, and the double-trigger window of each key; an earlier port goes first."""
        keys: dict[str, int] = {}
        windows: dict[int, float] = {}
        for name in ports:
            for pads in self.pads:
                if name.casefold().startswith(pads.port.casefold()) or pads.port.casefold().startswith(name.casefold()):
                    keys = {**pads.keys, **keys}
                    windows = {**{pads.keys[role]: ms for role, ms in pads.retrigger_ms.items()}, **windows}
        return keys, windows


def read_settings(path: Path | None = None) -> Stored:
    """What the file says; nothing where there is no file.

    Raises
    ------
    SetFileError
        It cannot be read, is no TOML, or says something that cannot be; every mistake is in the message.
    """
    where = settings_file() if path is None else path
    if not os.path.lexists(where):
        return Stored()
    text = toml_file_text(where, "your settings")
    check = Check(str(where), text)
    top = check.document
    check.only(top, (), ("format", "in_ports", "out_port", "split", "control", "pads", "click", "volume"))
    form = check.text(top, (), "format", FORMAT)
    if form != FORMAT:
        check.wrong(("format",), repr(form), repr(FORMAT), "written by a newer heeltap?")
    stored = Stored(
        check.texts(top.get("in_ports", []), ("in_ports",)),
        check.text(top, (), "out_port", ""),
        _split(check),
        _controls(check),
        tuple(_pads(check, row, ("pads", number)) for number, row in enumerate(check.tables(top, (), "pads", []))),
        *_click(check),
        _volumes(check),
    )
    check.finish()
    return stored


def _split(check: Check) -> int | None:
    """The split key, by name or number."""
    value = check.document.get("split")
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool):
        return check.whole(check.document, (), "split", low=0, high=127)
    try:
        return key_of(check.text(check.document, (), "split"))
    except PlanError as error:
        check.planned(("split",), error)
        return None


def _controls(check: Check) -> dict[str, str]:
    """The hands-free controls, still as text: what a pad is called is known only with its port."""
    table = check.document.get("control", {})
    if not isinstance(table, dict):
        check.wrong(("control",), repr(table)[:60], "a table: [control]")
        return {}
    check.only(table, ("control",), _CONTROLS)
    return {action: check.text(table, ("control",), action) for action in _CONTROLS if action in table}


def _click(check: Check) -> tuple[str, int | None, int | None]:
    """Notes, channel and velocity of the click; which names of sounds there are is known further up only."""
    table = check.document.get("click", {})
    if not isinstance(table, dict):
        check.wrong(("click",), repr(table)[:60], "a table: [click]")
        return "", None, None
    check.only(table, ("click",), ("notes", "channel", "velocity"))
    most = {"channel": 16, "velocity": 127}
    channel, velocity = (
        check.whole(table, ("click",), key, low=1, high=high) if key in table else None for key, high in most.items()
    )
    return check.text(table, ("click",), "notes", ""), channel, velocity


def _volumes(check: Check) -> dict[str, int]:
    """How loud click, drums and other parts are."""
    table = check.document.get("volume", {})
    if not isinstance(table, dict):
        check.wrong(("volume",), repr(table)[:60], "a table: [volume]")
        return {}
    check.only(table, ("volume",), _VOLUMES)
    return {name: check.whole(table, ("volume",), name, low=0, high=100) for name in _VOLUMES if name in table}


def _pads(check: Check, row: dict[str, object], path: tuple[str | int, ...]) -> PadSet:
    """The pads of one device; two roles on one key are a mistake."""
    check.only(row, path, ("port", "keys", "retrigger_ms"))
    port = check.text(row, path, "port", REQUIRED)
    table = _table(check, row, path, "keys")
    keys = {str(role): check.whole(table, (*path, "keys"), role, low=0, high=127) for role in table}
    for role, key in keys.items():
        other = next(name for name, number in keys.items() if number == key)
        if other != role:
            check.wrong((*path, "keys", role), f"key {key}, which is '{other}' already", "a key of its own")
    wide = _table(check, row, path, "retrigger_ms")
    windows = {}
    for role in wide:
        if role not in keys:
            near = difflib.get_close_matches(role, keys, 1, 0.4)
            hint = f"nearest: {near[0]}" if near else ""
            check.wrong((*path, "retrigger_ms", role), f"pad {role!r}", "one of " + ", ".join(keys), hint)
            continue
        windows[role] = check.number(wide, (*path, "retrigger_ms"), role, low=0.0, high=_LONGEST_MS)
    return PadSet(port, keys, windows)


def _table(check: Check, row: dict[str, object], path: tuple[str | int, ...], key: str) -> dict[str, object]:
    """A table within a row; empty where there is none."""
    value = row.get(key, {})
    if isinstance(value, dict):
        return value
    check.wrong((*path, key), repr(value)[:60], "a table: { snare = 38 }")
    return {}


def with_pad_set(stored: Stored, pads: PadSet) -> Stored:
    """The settings with these pads in place of that port's earlier ones; windows of roles that stay are kept."""
    old = next((one for one in stored.pads if one.port == pads.port), None)
    kept = {} if old is None else {role: ms for role, ms in old.retrigger_ms.items() if role in pads.keys}
    new = replace(pads, retrigger_ms={**kept, **pads.retrigger_ms})
    return replace(stored, pads=(*(one for one in stored.pads if one.port != pads.port), new))


def without_pads(stored: Stored, port: str | None = None) -> Stored:
    """The settings without the pads of ports that begin so; without all pads where none is named."""
    gone = "" if port is None else port.casefold()
    return replace(stored, pads=tuple(one for one in stored.pads if not one.port.casefold().startswith(gone)))


def settings_toml(stored: Stored) -> str:
    """The settings as the file holds them."""
    lines = [f"format = {toml_text(FORMAT)}"]
    if stored.in_ports:
        lines.append(f"in_ports = {toml_text(list(stored.in_ports))}")
    if stored.out_port:
        lines.append(f"out_port = {toml_text(stored.out_port)}")
    if stored.split_key is not None:
        lines.append(f"split = {stored.split_key}  # {key_name(stored.split_key)}")
    if stored.controls:
        lines += ["", "[control]", *(f"{action} = {toml_text(text)}" for action, text in stored.controls.items())]
    click = {"notes": stored.click_notes or None, "channel": stored.click_channel, "velocity": stored.click_velocity}
    given = [f"{key} = {toml_text(value)}" for key, value in click.items() if value is not None]
    lines += ["", "[click]", *given] if given else []
    volumes = [f"{name} = {stored.volumes[name]}" for name in _VOLUMES if name in stored.volumes]
    lines += ["", "[volume]", *volumes] if volumes else []
    for pads in stored.pads:
        lines += ["", "[[pads]]", f"port = {toml_text(pads.port)}", f"keys = {_inline(pads.keys)}"]
        if pads.retrigger_ms:
            lines.append(f"retrigger_ms = {_inline(pads.retrigger_ms)}")
    return "\n".join(lines) + "\n"


def _inline(table: Mapping[str, int] | Mapping[str, float]) -> str:
    """A table on one line."""
    return "{ " + ", ".join(f"{toml_text(name)} = {toml_text(value)}" for name, value in table.items()) + " }"


def write_settings(stored: Stored, path: Path | None = None) -> Path:
    """Write the file whole or not at all; comments that somebody put into it are lost. Raises `SetFileError`."""
    where = settings_file() if path is None else path
    try:
        return write_whole(where, settings_toml(stored).encode(), make_folder=True)
    except InputFileError as error:
        raise SetFileError(error.where, error.found) from error
