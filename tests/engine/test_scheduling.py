"""What the engine asks the system for, and what it says of the answer."""

import os

import pytest

from heeltap.engine.scheduling import FAVOURED, ORDINARY, SCHEDULERS, ask_for_real_time


def _refuse(*_: object) -> None:
    raise PermissionError


@pytest.mark.skipif(not hasattr(os, "sched_setscheduler"), reason="a scheduler of Linux")
@pytest.mark.parametrize(("granted", "code"), [((), ORDINARY), ((-11, -5), FAVOURED)])
def test_without_real_time_the_best_ordinary_turn_is_asked_for(
    granted: tuple[int, ...], code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the best on; the first one that the system grants is kept, and it is said that it is no real-time scheduling."""
    asked: list[int] = []

    def nice(_which: int, _who: int, value: int) -> None:
        asked.append(value)
        if value not in granted:
            raise PermissionError

    monkeypatch.setattr(os, "sched_setscheduler", _refuse)
    monkeypatch.setattr(os, "setpriority", nice)
    found = ask_for_real_time()

    assert code == found
    assert [-19, -15, -11] == asked[:3]
    assert (len(granted) == 0) == (4 == len(asked))
    assert SCHEDULERS[found].startswith("ordinary scheduling")
