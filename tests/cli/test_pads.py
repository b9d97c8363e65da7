"""``heeltap pads`` and hands-free drills as a player meets them."""

from pathlib import Path

import pytest

from heeltap.cli import main
from heeltap.files.paths import takes_dir
from heeltap.files.settings import PadSet, read_settings
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from heeltap.session.session import Again, Finished
from tests.cli.test_drill import BEAT_US, EXERCISE


def kit(tmp_path: Path, keys: list[int]) -> str:
    """Somebody who hits these pads, five a second."""
    notes = make_notes([100_000 + 200_000 * i for i in range(len(keys))], keys, duration_us=[20_000] * len(keys))
    path = tmp_path / "kit.mid"
    write_midi(path, [TrackOut(notes)], tempo=steady_tempo(120.0))
    return f"fake:{path}"


@pytest.mark.live
def test_pads_are_learned_shown_and_forgotten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two roles by five hits, one of them on a pad that is taken; kept with its window, listed, and dropped again."""
    port = kit(tmp_path, [36, 36, 36, 40, 40])

    codes = [main(["pads", "learn", "kick", "snare", "--in", port, "--retrigger", "snare=45"])]
    learned = capsys.readouterr().out
    kept = read_settings()
    codes.append(main(["pads", "show"]))
    shown = capsys.readouterr().out
    codes.append(main(["pads", "forget"]))

    assert codes == [0, 0, 0]
    assert kept.pads == (PadSet(port, {"kick": 36, "snare": 40}, {"snare": 45.0}),)
    assert "kick is key 36 (C2)" in learned
    assert "key 36 (C2) is the kick already; hit another pad for snare" in learned
    assert "snare: key 40 (E2), double triggers within 45 ms" in shown
    assert read_settings().pads == ()


@pytest.mark.live
@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["pads", "lern"], 2, "did you mean learn?"),
        (["pads", "learn", "kick", "--in", "fake:", "--retrigger", "snare=45"], 5, "ROLE of kick"),
        (["pads", "learn", "kick", "--in", "fake:", "--retrigger", "kick=x"], 5, "0 to 200"),
        (["pads", "learn", "kick", "--in", "fake:missing.mid"], 3, "missing.mid"),
        (["drill", "--in", "keys", "--split", "H2", "--out", "none"], 5, "C-1 to G9"),
        (["drill", "--in", "keys", "--control", "strt=cc64", "--out", "none"], 5, "start=cc64"),
        (["drill", "--in", "keys", "--in", "keys", "--out", "none"], 4, "each input once"),
        (["score", "x.mid", "--split", "H2"], 5, "C-1 to G9"),
    ],
)
def test_mistakes_are_one_line(arguments: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With the exit code of their kind."""
    got = main(arguments)

    err = capsys.readouterr().err
    assert (got, err.count("\n")) == (code, 1)
    assert words in err


def hands_free_player(tmp_path: Path, presses: list[tuple[int, int]], notes: list[int]) -> str:
    """Notes on key 60 and presses (when, key)."""
    rows = sorted([(at, 60) for at in notes] + presses)
    path = tmp_path / "player.mid"
    table = make_notes([at for at, _ in rows], [key for _, key in rows], duration_us=[30_000] * len(rows))
    write_midi(path, [TrackOut(table)], tempo=steady_tempo(280.0))
    return f"fake:{path}"


@pytest.mark.slow
def test_a_pad_starts_the_take_and_another_one_ends_the_sitting(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing plays until the start; a repeat in the middle ends the take and begins the next; a stop ends that.

    The scripted player does the same in every take: a start 50 ms in, three notes, a repeat or stop at the end.
    """
    exercise = tmp_path / "two and four.toml"
    exercise.write_text(EXERCISE)
    player = hands_free_player(tmp_path, [(50_000, 84), (7 * BEAT_US, 86)], [BEAT_US, 3 * BEAT_US, 5 * BEAT_US])
    controls = ["--control", "start=84", "--control", "stop=86"]

    # In each wait the start comes first, so the sitting would go on for ever: the third wait is broken off.
    from heeltap.app.drill import handsfree

    waits: list[str] = []
    real = handsfree.wait_for_press

    def wait(settings: object, interrupted: object) -> str:
        waits.append("stop" if len(waits) == 2 else real(settings, interrupted))  # type: ignore[arg-type]
        return waits[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(handsfree, "wait_for_press", wait)
        code = main(["drill", str(exercise), "--in", player, "--out", "none", "--no-screen", *controls])

    out = capsys.readouterr().out
    takes = list_takes(takes_dir())
    assert (code, waits) == (0, ["start", "start", "stop"])
    assert out.count("Waiting (start: key 84 (C6), stop: key 86 (D6); Ctrl-C leaves)") == 3
    assert len(takes) == 2
    for folder in takes:
        take = load_take(folder)
        assert set(take.notes.pitch.tolist()) == {60}
        assert take.context.ending == "stopped"


@pytest.mark.live
def test_a_repeat_while_playing_tells_the_face_to_begin_again(tmp_path: Path) -> None:
    """The effects of the turn say both: this take is over, and another is wanted."""
    from heeltap.app.drill.player_setup import Player
    from heeltap.app.drill.run import Settings, drill
    from heeltap.devices.fake import script_from_notes
    from heeltap.session.handsfree import Controls, Trigger
    from tests.app.test_run import a_drill

    script = script_from_notes(make_notes([0, 200_000, 300_000], [60, 60, 86], duration_us=[20_000] * 3))
    seen: list[object] = []
    player = Player(controls=Controls({"repeat": Trigger("key", 86)}))
    settings = Settings("fake:", script=script, takes=tmp_path, start_delay_us=100_000, player=player)

    outcome = drill(a_drill(), settings, lambda state, new: seen.extend(new))

    assert [effect for effect in seen if isinstance(effect, Finished | Again)] == [Finished("stopped"), Again()]
    assert outcome.ending == "stopped"
