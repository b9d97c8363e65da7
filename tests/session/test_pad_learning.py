"""Learning pads by hitting them: the pure step."""

import pytest

from heeltap.session.pad_learning import (
    Ask,
    Counted,
    Effect,
    Hit,
    Learned,
    Learning,
    Skip,
    Taken,
    Took,
    Undo,
    begin_learning,
    learn,
)

SECOND = 1_000_000


def play(roles: list[str], events: list[Hit | Skip | Undo]) -> tuple[Learning, list[Effect]]:
    """The last state and all that was said."""
    state, said = begin_learning(roles)
    told = list(said)
    for event in events:
        state, said = learn(state, event)
        told += said
    return state, told


def hits(*keys: int, velocity: int = 90) -> list[Hit]:
    """One hit a second."""
    return [Hit(number * SECOND, key, velocity) for number, key in enumerate(keys)]


def test_two_hits_of_one_pad_settle_a_role() -> None:
    """Each role is asked for, counted once, taken at the second hit; at the end all keys are told."""
    state, told = play(["kick", "snare"], hits(36, 36, 38, 38))

    assert told == [
        Ask("kick"),
        Counted("kick", 36, 1),
        Took("kick", 36),
        Ask("snare"),
        Counted("snare", 38, 1),
        Took("snare", 38),
        Learned({"kick": 36, "snare": 38}),
    ]
    assert state.over


def test_another_pad_in_between_starts_the_count_anew() -> None:
    """A pad hit by mistake settles nothing: the two hits must follow each other."""
    _, told = play(["kick"], hits(36, 40, 36, 36))

    assert [effect for effect in told if isinstance(effect, Took)] == [Took("kick", 36)]
    assert [effect for effect in told if isinstance(effect, Counted)] == [
        Counted("kick", 36, 1),
        Counted("kick", 40, 1),
        Counted("kick", 36, 1),
    ]


def test_a_bounce_is_not_a_second_hit() -> None:
    """The same key within 80 ms, however loud, is the first hit still ringing."""
    state, _ = play(["kick"], [Hit(0, 36, 90), Hit(25_000, 36, 100), Hit(79_000, 36, 40)])
    after, _ = learn(state, Hit(81_000 + 79_000, 36, 90))

    assert (state.over, after.over) == (False, True)


def test_the_echo_of_a_neighbouring_pad_is_no_hit() -> None:
    """A softer note of another pad within 30 ms is the stand shaking, and does not disturb the count."""
    state, told = play(
        ["kick"], [Hit(0, 36, 100), Hit(4_000, 45, 20), Hit(SECOND, 36, 100), Hit(SECOND + 3_000, 45, 12)]
    )

    assert state.keys == {"kick": 36}
    assert [effect for effect in told if isinstance(effect, Counted)] == [Counted("kick", 36, 1)]


def test_two_roles_on_one_key_are_told_and_asked_again() -> None:
    """A pad that is taken stays with its first role; the second one waits for another pad."""
    state, told = play(["kick", "snare"], hits(36, 36, 36, 36, 38, 38))

    assert [effect for effect in told if isinstance(effect, Taken)] == [Taken("snare", 36, "kick")] * 2
    assert state.keys == {"kick": 36, "snare": 38}


def test_a_role_without_a_pad_is_skipped_and_one_may_go_back() -> None:
    """Skip leaves a role out; Undo asks for the one before again and frees its key."""
    state, told = play(["kick", "snare", "hat"], [*hits(36, 36), Skip(), Undo(), Undo(), *hits(40, 40), Skip(), Skip()])

    assert state.keys == {"kick": 40}
    assert [effect.role for effect in told if isinstance(effect, Ask)] == [
        "kick",
        "snare",
        "hat",
        "snare",
        "kick",
        "snare",
        "hat",
    ]


def test_nothing_changes_once_it_is_over() -> None:
    """Hits after the last role say nothing; a role that comes twice is refused."""
    state, _ = play(["kick"], hits(36, 36))

    assert learn(state, Hit(9 * SECOND, 40, 90)) == (state, ())
    with pytest.raises(ValueError, match="each once"):
        begin_learning(["kick", "kick"])
