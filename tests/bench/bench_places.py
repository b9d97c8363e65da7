"""Where takes lie on their plans: how often each situation is said, and what of it is left in the numbers.

``python -m tests.bench.bench_places [PARTS] [SEED]`` makes invented parts (four metres, 70 to 150 bpm, dense and sparse) and puts
each through every situation; it prints how often the right sentence was said, how often average and spread are within 3 ms of the
plain take's, and the longest time that the look took. At the end: other pieces refused, and plain takes about which something
was said.

Inside: `main`.
"""

import sys
import time

import numpy as np

from heeltap.analysis.analyse import Played, analyse
from heeltap.analysis.place import find_place
from heeltap.errors import InputFileError
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.model.result import Result
from tests.makers.situations import SITUATIONS, a_part, a_take, situation, sorted_notes

METRES = ((4, 4), (3, 4), (6, 8), (4, 4))


def _judged(plan: Plan, notes: Notes) -> Result:
    return analyse(Played(notes, plan.tempo, plan.metre, plan, find_place=True))


def _near(found: Result, plain: Result, scale: float, *, bias: bool) -> bool:
    spread = abs((found.overall.spread_ms or 1e9) - scale * (plain.overall.spread_ms or 0.0))
    off = abs((found.overall.bias_ms or 0.0) - scale * (plain.overall.bias_ms or 0.0)) if bias else 0.0
    return max(spread, off) <= 3.0 * max(scale, 1.0)


def main(parts: int = 20, seed: int = 1) -> None:
    """Print the table."""
    rng = np.random.default_rng(seed)
    plans = [
        a_part(seed * 1000 + at, bpm=float(rng.uniform(70, 150)), metre=METRES[at % 4], sparse=at % 4 == 3)
        for at in range(parts)
    ]
    longest = 0.0
    print(f"{'':<32}{'said':>8}{'numbers':>9}")
    for name, (_, wanted) in SITUATIONS.items():
        said = near = 0
        for at, plan in enumerate(plans):
            notes = situation(name, plan, at)
            start = time.process_time()
            find_place(plan, notes)
            longest = max(longest, time.process_time() - start)
            plain = _judged(plan, situation("as planned", plan, at))
            try:
                found = _judged(plan, notes)
            except InputFileError:
                continue
            said += wanted in " ".join(found.place) and bool(wanted) == bool(found.place)
            scale = {"half tempo": 2.0, "double tempo": 0.5}.get(name, 1.0)
            near += _near(found, plain, scale, bias="recording" not in wanted)
        print(f"{name:<32}{said:>4} /{parts:3d}{near:>5} /{parts:3d}", flush=True)
    print(f"longest look {1000 * longest:.0f} ms")
    refused = sum(_refused(plan, at, seed) for at, plan in enumerate(plans))
    print(f"other pieces refused {refused} of {parts}")


def _refused(plan: Plan, at: int, seed: int) -> bool:
    """Whether a take of another part is refused."""
    other = a_part(seed * 7919 + at + 500)
    try:
        _judged(plan, sorted_notes(*a_take(other, at)))
    except InputFileError:
        return True
    return False


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))
