"""A take without a plan: for every stroke the slot that was meant.

Public: `place`, `Slots`. How it works stands in `heeltap.analysis.quantise.decode`.
"""

from heeltap.analysis.quantise.quantise import Slots, place

__all__ = ["Slots", "place"]
