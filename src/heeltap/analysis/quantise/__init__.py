"""A take without a plan: for every stroke the slot that was meant.

Public: `quantise`, `Slots`. How it works stands in `heeltap.analysis.quantise.decode`.
"""

from heeltap.analysis.quantise.quantise import Slots, quantise

__all__ = ["Slots", "quantise"]
