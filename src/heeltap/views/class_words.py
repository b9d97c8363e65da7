"""A kind of finding in three or four words, for a class's table: which way it fell and where.

Inside: `short_words`, `SHORT`.
"""

from heeltap.analysis.findings.catalogue import kind_of

__all__ = ["SHORT", "short_words"]

SHORT: dict[str, tuple[str, str]] = {
    "bias": ("early on the whole", "late on the whole"),
    "beat": ("one beat early", "one beat late"),
    "backbeat": ("two and four early", "two and four late"),
    "off-beats": ("off-beats early", "off-beats late"),
    "division": ("one division early", "one division late"),
    "swing": ("swing too flat", "swing too hard"),
    "section-drift": ("speeding up inside sections", "slowing down inside sections"),
    "drift": ("speeding up over the take", "slowing down over the take"),
    "into-change": ("running into changes", "holding back before changes"),
    "after-change": ("early after changes", "late after changes"),
    "fills": ("fills early", "fills late"),
    "landing": ("landings early", "landings late"),
    "after-rest": ("early after rests", "late after rests"),
    "loudness": ("louder is earlier", "louder is later"),
    "leaps": ("early after leaps", "late after leaps"),
    "hands": ("left hand early", "left hand late"),
    "scatter-off-beats": ("tighter between the beats", "loose between the beats"),
    "scatter-into-change": ("tighter before changes", "loose before changes"),
    "scatter-fills": ("tighter in fills", "loose in fills"),
    "scatter-after-rest": ("tighter after rests", "loose after rests"),
    "scatter-leaps": ("tighter after leaps", "loose after leaps"),
    "scatter-hands": ("tighter left hand", "loose left hand"),
    "scatter-grows": ("tighter towards the end", "looser towards the end"),
    "chord-spread": ("", "chords spread apart"),
    "accents-missing": ("accents missing", "accents missing"),
}
"""By code: when the size is negative, when it is positive."""


def short_words(code: str, effect_ms: float) -> str:
    """The words; what the guide says is asked where there are none."""
    less, more = SHORT.get(code, ("", ""))
    return (less if effect_ms < 0 else more) or kind_of(code).asks
