"""One input, and what the engine's loop keeps for it.

Inside: `InputState`.
"""

from heeltap.devices.protocols import InPort
from heeltap.engine.stamping import Assembler, LiveStamper

__all__ = ["InputState"]


class InputState:
    """One input and what the loop keeps for it."""

    def __init__(self, port: InPort, index: int) -> None:
        self.port, self.index, self.name = port, index, port.name
        self.stamper, self.assembler = LiveStamper(), Assembler()
        self.empty_ns = 0
        self.sign_ns = 0
        """Last sign of life: a message, or the device in the list."""
        self.lost = False
