"""Learning pads on the set-up screen: heeltap asks for one pad after the other, and the player hits it twice.

Inside: `PadLearning`, `learning_words`, `LEARN_KEYS`.
"""

import queue

from heeltap.app.route.pads import keep_pads, learn_pads
from heeltap.model.pitch import key_name
from heeltap.session.pad_learning import ROLES, Ask, Counted, Effect, Skip, Taken, Took, Undo
from heeltap.tui.keys import Key
from heeltap.tui.screen import Host

__all__ = ["LEARN_KEYS", "PadLearning", "learning_words"]

LEARN_KEYS = (
    Key("enter", "there is none", "skip this pad"),
    Key("b", "one back", "ask for the pad before again"),
    Key("escape", "break off", "stop learning and change nothing", "esc"),
)


class PadLearning:
    """The pads of one input, learned in a thread while the screen asks for them."""

    def __init__(self, host: Host) -> None:
        self._host = host
        self.on = False
        """Whether pads are being learned."""
        self._leave = False
        self._wishes: queue.SimpleQueue[Skip | Undo] = queue.SimpleQueue()

    def begin(self, port: str) -> None:
        """Learn the pads of an input; what comes of it reaches the screen as the work "learn"."""
        self.on, self._leave = True, False
        self._host.say("heeltap is opening the input")

        def learn() -> str:
            found = learn_pads(port, ROLES, self._tell, asked=self._asked, interrupted=lambda: self._leave)
            if not found:
                return "heeltap learned no pad and changed nothing"
            keep_pads(port, found)
            return f"heeltap keeps {len(found)} pads of {port}"

        self._host.work("learn", learn)

    def skip(self) -> None:
        """Go on to the next pad: the player has none for this role."""
        self._wishes.put(Skip())

    def undo(self) -> None:
        """Ask for the pad before again."""
        self._wishes.put(Undo())

    def break_off(self) -> None:
        """Stop learning; nothing is changed."""
        self._leave = True

    def _tell(self, effect: Effect) -> None:
        words = learning_words(effect)
        if words:
            self._host.say(words)

    def _asked(self) -> Skip | Undo | None:
        try:
            return self._wishes.get_nowait()
        except queue.Empty:
            return None


def learning_words(effect: Effect) -> str:
    """A question or an answer while pads are learned; empty for what needs no words."""
    match effect:
        case Ask(role):
            return f"{role}: hit this pad twice"
        case Counted(role, key, _):
            return f"{role}: key {key} ({key_name(key)}); once more to be sure"
        case Took(role, key):
            return f"{role} is key {key} ({key_name(key)})"
        case Taken(role, key, other):
            return f"key {key} ({key_name(key)}) is the {other} already; hit another pad for {role}"
    return ""
