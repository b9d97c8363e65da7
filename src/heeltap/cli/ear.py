"""``heeltap ear``: how small a shift, or how little scatter, do you hear?"""

import argparse
import sys
from typing import TYPE_CHECKING

from heeltap.cli.parser import Commands

if TYPE_CHECKING:
    from heeltap.app.listen.ear import EarTest, Material, Question

__all__ = ["add", "run"]

_ASK = {
    "side": ("Is the part early or late against the drums? e, l", ("e", "l")),
    "tighter": ("Which is tighter, 1 or 2?", ("1", "2")),
}

_IN_WORDS = {"e": "early", "l": "late", "1": "1", "2": "2"}


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "ear",
        help="how small a shift you hear, and train it",
        description="Find out how small a shift (side) or how little scatter (tighter) you hear, in some seven minutes, or train "
        "around that. You hear a plain beat, or bars of your own take with every stroke where it belongs.",
        epilog="Answer with a letter or number and Enter; r plays the question again, q ends. Listen at a level at which you can "
        "talk over it.",
        example="heeltap ear side",
    )
    parser.add_argument(
        "task",
        choices=["side", "tighter", "history"],
        help="early or late; which of two is tighter; what was measured before",
    )
    parser.add_argument(
        "what", nargs="?", metavar="TAKE", help="your own material: a take folder, a MIDI file, or a song"
    )
    parser.add_argument("take", nargs="?", metavar="TAKE OF THE SONG", help="its name or number")
    parser.add_argument("--bars", metavar="BARS", help="which bars of it, at most four (default: the first two)")
    parser.add_argument(
        "--train", action="store_true", help="say after each answer whether it was right; keep no result"
    )
    parser.add_argument("--seed", type=int, help="the same questions again (default: others each time)")


def run(args: argparse.Namespace) -> int:
    """Ask, then say what the answers come to and keep it."""
    import numpy as np

    from heeltap.app.listen.ear import EarTest, plain_material

    if args.task == "history":
        return _history(args)
    if args.bars and not args.what:
        print("heeltap ear: --bars goes with a take (see heeltap ear --help)", file=sys.stderr)
        return 2
    material = _own(args) if args.what else plain_material()
    level = _train_at(args.task) if args.train else None
    test = EarTest(args.task, material, np.random.default_rng(args.seed), fixed_ms=level)
    print(f"You hear {material.name}. {_ASK[args.task][0]}; r plays it again, q ends.")
    if level is not None:
        print(f"Training at {level:.0f} ms.")
    asked = _ask_all(test, args.train)
    return _tell_training(test) if args.train else _tell(test, broken_off=not asked)


def _own(args: argparse.Namespace) -> "Material":
    """The player's own bars."""
    from heeltap.analysis.analyse import Options
    from heeltap.app.listen.ear import material_of
    from heeltap.app.listen.find import find_take
    from heeltap.app.score.reading import Reading
    from heeltap.errors import OptionError, sentence
    from heeltap.model.excerpt import bars_of_text

    heard = find_take(args.what, args.take, Reading(), Options(), None)
    first, last = bars_of_text(args.bars) if args.bars else (1, min(2, heard.bars))
    if last > heard.bars or last - first > 3:
        raise OptionError(sentence(heard.name, f"bars {first}-{last}", f"at most four bars from 1 to {heard.bars}"))
    return material_of(heard, first, last)


def _train_at(task: str) -> float:
    """A little more than was measured last; 40 ms where nothing was."""
    from heeltap.files.hearings import hearings

    known = [one.threshold_ms for one in hearings() if one.task == task and one.threshold_ms is not None]
    return 1.2 * known[0] if known else 40.0


def _ask_all(test: "EarTest", train: bool) -> bool:
    """Question after question; False where the player ended it."""
    from heeltap.app.listen.ear import ANSWERS

    while test.asked < ANSWERS:
        question = test.question()
        said = _asked(test, question)
        if said is None:
            return False
        right = test.answer(question, said)
        if train:
            print("right" if right else f"no: {_IN_WORDS[question.right]}")
    return True


def _asked(test: "EarTest", question: "Question") -> str | None:
    """Play a question until it is answered; None ends the test."""
    from heeltap.app.listen.give import play

    valid = _ASK[test.task][1]
    while True:
        for _ in play(question.heard):
            pass
        said = ""
        while said not in (*valid, "r", "q"):
            try:
                said = input(f"{test.asked + 1}: {', '.join(valid)}, r or q? ").strip().lower()
            except EOFError:
                return None
        if said != "r":
            return None if said == "q" else said


def _tell_training(test: "EarTest") -> int:
    print(f"{sum(test.right)} of {test.asked} right.")
    return 0


def _tell(test: "EarTest", *, broken_off: bool) -> int:
    """What the answers come to; kept where there were enough of them."""
    from heeltap.app.listen.ear import ANSWERS, PUBLISHED
    from heeltap.clock import wall_now
    from heeltap.files.hearings import keep_hearing

    if broken_off and test.asked < ANSWERS // 2:
        print(f"Too few answers to tell; a test has {ANSWERS}, and half of them would do. heeltap keeps nothing.")
        return 0
    kept = test.kept(wall_now().isoformat(timespec="seconds"))
    keep_hearing(kept)
    if kept.threshold_ms is None or kept.low_ms is None or kept.high_ms is None:
        print("Your answers could as well be guessed, so this could not be measured. Try a quiet room, or headphones.")
        return 0
    what = "a shift" if test.task == "side" else "a scatter"
    print(
        f"You hear {what} of {kept.threshold_ms:.0f} ms in three of four cases (95 % sure: between {kept.low_ms:.0f} and "
        f"{kept.high_ms:.0f} ms)."
    )
    print(PUBLISHED)
    if test.task == "side":
        print(f"If you want that as your pocket: --pocket {kept.threshold_ms:.0f}")
    return 0


def _history(args: argparse.Namespace) -> int:
    """What was measured before."""
    from heeltap.files.hearings import hearings

    if args.what or args.bars or args.train or args.seed is not None:
        print("heeltap ear: history takes nothing else (see heeltap ear --help)", file=sys.stderr)
        return 2
    rows = hearings()
    print(
        "date              task     threshold, ms   95 % sure      heard"
        if rows
        else "Nothing was measured yet: heeltap ear side"
    )
    for one in rows:
        value = "could not be measured" if one.threshold_ms is None else f"{one.threshold_ms:13.0f}   "
        sure = "" if one.low_ms is None or one.high_ms is None else f"{one.low_ms:.0f} to {one.high_ms:.0f}"
        print(f"{one.date[:16].replace('T', ' ')}  {one.task:<8} {value}{sure:<15}{one.material}")
    return 0
