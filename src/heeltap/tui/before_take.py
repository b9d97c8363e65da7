"""What the screen of a drill hears and tries before a take: every hit of the inputs, the test click, the tapped tempo.

So a wrong port, a silent output or a wrong tempo is found before the take, not after it.

Inside: `BeforeTake`, `click_words`.
"""

from collections.abc import Iterable

from heeltap.app.drill.handsfree import Hit
from heeltap.app.drill.tap_tempo import TAPS, Taps, tapped, tapped_bpm
from heeltap.model.pitch import key_name
from heeltap.sound.percussion import CHANNEL, PERCUSSION

__all__ = ["BeforeTake", "click_words"]

_KEY_T = "the key t"


def click_words(out_port: str | None) -> str:
    """What a player should hear now, and what to do otherwise; ``out_port`` is where the click goes."""
    return f"The click sounds on {out_port}. If you hear nothing, choose another output: the set-up screen, or --out."


class BeforeTake:
    """The hits and the taps between two takes."""

    def __init__(self) -> None:
        self._hits = 0
        self._hit: Hit | None = None
        self._taps = Taps()
        self.tapping = False
        """Whether hits are taps of the tempo."""

    @property
    def heard(self) -> str:
        """The last hit, in words; empty before the first. The number tells two alike apart."""
        hit = self._hit
        if hit is None:
            return ""
        name = PERCUSSION.get(hit.pitch, key_name(hit.pitch)) if hit.channel == CHANNEL else key_name(hit.pitch)
        return f"hit {self._hits}: {name}, velocity {hit.velocity}, on {hit.port}"

    def hear(self, hits: Iterable[Hit], beat_quarters: float) -> tuple[float | None, str]:
        """Take up what was struck.

        Parameters
        ----------
        hits : iterable of Hit
            In the order in which they were struck.
        beat_quarters : float
            Length of the beat that a player taps.

        Returns
        -------
        bpm : float or None
            The tempo, once four taps are whole.
        words : str
            How far the taps are; empty where nobody taps.
        """
        bpm, words = None, ""
        for hit in hits:
            self._hits, self._hit = self._hits + 1, hit
            if self.tapping:
                bpm, words = self._tap(hit.port, hit.at_ns, beat_quarters)
        return bpm, words

    def tap_key(self, at_ns: int, beat_quarters: float) -> tuple[float | None, str]:
        """The key t was pressed: it asks for taps, and is the first one itself; answers as `hear`."""
        self.tapping = True
        return self._tap(_KEY_T, at_ns, beat_quarters)

    def forget(self) -> None:
        """No taps any more."""
        self.tapping, self._taps = False, Taps()

    def _tap(self, source: str, at_ns: int, beat_quarters: float) -> tuple[float | None, str]:
        self._taps = tapped(self._taps, source, at_ns)
        if not self._taps.whole:
            return None, f"Tap {TAPS} beats, here or where you play: {len(self._taps.at_ns)} of {TAPS} on {source}."
        bpm = tapped_bpm(self._taps, beat_quarters)
        self.forget()
        return bpm, f"{bpm:.0f} bpm, as you tapped."
