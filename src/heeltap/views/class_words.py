"""A finding in three or four words for the table of a class: early or late, and where.

Inside: `short_words`.
"""

from heeltap.analysis.findings.catalogue import kind_of

__all__ = ["short_words"]


def short_words(code: str, effect_ms: float) -> str:
    """Three or four words; for a kind without any, what the guide says that heeltap asks."""
    kind = kind_of(code)
    less, more = kind.class_words
    return (less if effect_ms < 0 else more) or kind.asks
