"""heeltap needs no network and asks for none: by what it imports, by what it does, and with the network cut off."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

TALKATIVE = {
    "urllib",
    "http",
    "ssl",
    "ftplib",
    "smtplib",
    "asyncio",
    "requests",
    "httpx",
    "xmlrpc",
    "telnetlib",
    "webbrowser",
}
"""Modules by which programs reach other machines."""

PIPES = {"engine/channel.py", "engine/process.py"}
"""They hold the pair of connected sockets between engine and screen, which has no address."""

COMMANDS = [
    ["--version"],
    [
        "score",
        "demo/tollgate-road-take-1.mid",
        "--plan",
        "demo/tollgate-road.mid",
        "--part",
        "keys",
        "--html",
        "{out}/a.html",
    ],
    ["score", "demo/tollgate-road-take-1.mid", "--json", "{out}/a.json"],
    ["make", "anchor", "one", "--out", "{out}/one.toml"],
    ["set", "sheet", "first-week", "--out", "{out}/sheet.html"],
    ["simplify", "demo/tollgate-road.mid", "--part", "keys", "--out", "{out}"],
    ["history"],
    ["calibrate", "--show"],
    ["pads", "show"],
]

WATCHED = """
import json, os, sys
asked = []
def watch(event, args):
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo",
                 "socket.gethostbyname", "socket.gethostbyaddr", "socket.gethostname", "urllib.Request", "http.client.connect"):
        asked.append(event)
sys.addaudithook(watch)
from heeltap.cli import main
codes = [main(words) for words in json.loads(sys.argv[1])]
print(json.dumps({"asked": asked, "codes": codes}))
"""


_IMPORT = re.compile(r"^\s*(?:import|from)\s+(\w+)", re.MULTILINE)


def _imports(path: Path) -> set[str]:
    """The packages that a module imports, anywhere in it."""
    return set(_IMPORT.findall(path.read_text(encoding="utf-8")))


def test_no_module_imports_what_reaches_other_machines() -> None:
    """Neither directly nor in a function; plain sockets only where engine and screen are joined."""
    source = ROOT / "src" / "heeltap"
    used = {path.relative_to(source).as_posix(): _imports(path) for path in source.rglob("*.py")}

    assert {} == {name: found & TALKATIVE for name, found in used.items() if found & TALKATIVE}
    assert PIPES == {name for name, found in used.items() if "socket" in found}


def _run(out: Path, *before: str) -> dict[str, list[object]]:
    """The commands one after the other in a fresh Python; what they asked of the network, and their exit codes."""
    words = json.dumps([[word.format(out=out) for word in command] for command in COMMANDS])
    done = subprocess.run(
        [*before, sys.executable, "-c", WATCHED, words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert 0 == done.returncode, done.stderr
    found: dict[str, list[object]] = json.loads(done.stdout.splitlines()[-1])
    return found


@pytest.mark.live
def test_no_command_asks_anything_of_the_network(tmp_path: Path) -> None:
    """Python tells every look-up and every connection; there is none, nor in the libraries."""
    assert {"asked": [], "codes": [0] * len(COMMANDS)} == _run(tmp_path)


@pytest.mark.live
@pytest.mark.skipif(shutil.which("unshare") is None, reason="needs unshare, which cuts a program off")
def test_every_command_works_with_the_network_cut_off(tmp_path: Path) -> None:
    """In a space of its own without any interface."""
    cut = ("unshare", "--map-root-user", "--net")
    if subprocess.run([*cut, "true"], check=False, capture_output=True).returncode:
        pytest.skip("this system lets nobody cut a program off")

    assert [0] * len(COMMANDS) == _run(tmp_path, *cut)["codes"]
