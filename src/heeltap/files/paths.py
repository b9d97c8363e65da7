"""Where things lie: what ships with heeltap, and what you keep. Importing this makes no folder and reads nothing.

Inside: `shipped`, `home`, `takes_dir`, `settings_file`.
"""

import difflib
import os
from pathlib import Path

from heeltap.errors import HeeltapError, sentence

__all__ = ["SHIPPED", "home", "settings_file", "shipped", "takes_dir"]

SHIPPED = ("exercises", "demo")
"""Folders that come with heeltap."""


def shipped(name: str) -> Path:
    """The folder ``exercises`` or ``demo``, or a file in one (``exercises/anchor.toml``), installed or in a checkout.

    Raises `HeeltapError` when heeltap was installed without it: that is our fault, not the user's.
    """
    top, _, rest = name.partition("/")
    if top not in SHIPPED:
        near = difflib.get_close_matches(top, SHIPPED, 1, 0.3)
        hint = f"nearest: {near[0]}" if near else ""
        raise HeeltapError(sentence("shipped data", f"'{top}'", " or ".join(SHIPPED), hint))
    package = Path(__file__).resolve().parents[1]
    places = [package / "_shipped" / top, package.parents[1] / top]
    for place in places:
        found = place / rest if rest else place
        if found.exists():
            return found
    tried = " nor ".join(str(place) for place in places)
    raise HeeltapError(
        sentence("shipped data", f"no {name} in {tried}", "both to come with heeltap", "install it again")
    )


def home() -> Path:
    """The folder of the user's takes, history and settings: ``HEELTAP_HOME``, else the system's place for user data."""
    chosen = os.environ.get("HEELTAP_HOME")
    if chosen:
        return Path(chosen).expanduser()
    import platformdirs

    return Path(platformdirs.user_data_dir("heeltap", appauthor=False))


def takes_dir() -> Path:
    """The folder that holds one folder a take; it may not exist yet."""
    return home() / "takes"


def settings_file() -> Path:
    """The user's settings; it may not exist yet."""
    return home() / "settings.toml"
