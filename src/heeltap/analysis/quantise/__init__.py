"""A take without a plan: for every stroke the slot that was meant.

Public: `place`, `Slots`. How it works stands in `heeltap.core.grid.follow`.
"""

from heeltap.core.grid.slots import Slots, place

__all__ = ["Slots", "place"]
