"""``heeltap ports``: list the MIDI ports, by names that stay the same from start to start."""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from heeltap.devices.systems import PortName

from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    commands.add_parser(
        "ports",
        help="list the MIDI ports",
        description="List the MIDI inputs and outputs, by the names that --in and --out take.",
        example="heeltap ports",
    )


def run(_: argparse.Namespace) -> int:
    """Print both lists; a machine without a MIDI system is an error with one line."""
    from heeltap.devices.systems import list_ports

    inputs, outputs = list_ports()
    print("\n".join([*_lines("inputs (--in)", inputs), *_lines("outputs (--out)", outputs)]))
    if not inputs:
        print("No keyboard or pads found. To try without: heeltap drill --in keys (space bar as a pad)")
    return 0


def _lines(title: str, ports: "Sequence[PortName]") -> list[str]:
    return [title, *(safe_line(f"  {port.stable}") for port in ports)] if ports else [title, "  none"]
