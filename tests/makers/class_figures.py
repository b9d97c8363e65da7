"""How often a class's page names what was planted and what was not: ``python -m tests.makers.class_figures 10``."""

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

from heeltap.app.practice.classroom import read_class
from heeltap.classroom.students import differs
from tests.makers.classes import PLANTED, hand_in_all, pupils, write_set


def main(classes: int, *, share: float = 1.0, first_seed: int = 101) -> None:
    """Print the figures of so many classes of thirty; ``share`` is how much of each weakness is planted."""
    planted: Counter[str] = Counter()
    named: Counter[str] = Counter()
    invented = pages = unlike = asked = 0
    for seed in range(first_seed, first_seed + classes):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "set").mkdir()
            rng = np.random.default_rng(seed)
            who = pupils(rng, list(PLANTED) * 5 + [""] * 5, share=share)
            hand_in_all(rng, folder, who, write_set(folder / "set"))
            room = read_class(folder, set_name=folder / "set" / "week-five.toml")
        told = dict(zip((student.name for student in room.students), room.weaknesses, strict=True))
        wrong = sum(bool(told[pupil.name]) for pupil in who if not pupil.weakness)
        invented, pages = invented + wrong, pages + bool(wrong)
        unlike += sum(differs(take) for student in room.students for take in student.takes)
        asked += len(room.questions)
        for pupil in who:
            if pupil.weakness:
                planted[pupil.weakness] += 1
                found = {(one.code, one.effect_ms < 0) for one in told[pupil.name]}
                named[pupil.weakness] += PLANTED[pupil.weakness] in found
    for weakness, number in planted.items():
        print(f"{weakness:<10} named {named[weakness]} of {number}")
    print(f"all        named {sum(named.values())} of {sum(planted.values())}")
    print(f"none planted: {invented} of {5 * classes} named for something, on {pages} of {classes} pages")
    print(f"own figures that differ {unlike}, questions {asked}")


if __name__ == "__main__":
    main(int(sys.argv[1]), share=float(sys.argv[2]) if len(sys.argv) > 2 else 1.0)
