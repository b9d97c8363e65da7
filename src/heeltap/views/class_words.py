"""A kind of finding in three or four words, for a class's table: which way it fell and where.

Inside: `short_words`.
"""

from heeltap.analysis.findings.catalogue import kind_of

__all__ = ["short_words"]


def short_words(code: str, effect_ms: float) -> str:
    """The words; what the guide says is asked where there are none."""
    kind = kind_of(code)
    less, more = kind.class_words
    return (less if effect_ms < 0 else more) or kind.asks
