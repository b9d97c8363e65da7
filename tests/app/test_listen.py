"""Hearing a take: what is in the samples, found again without looking at the schedule."""

import io
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.analyse import Options
from heeltap.app.listen.find import find_take, pair_of, stretches_of
from heeltap.app.listen.give import check_wav, play, write_wav
from heeltap.app.listen.hear import Heard, Part, one_after_the_other
from heeltap.app.score.reading import Reading
from heeltap.cli import main
from heeltap.clock import FakeClock
from heeltap.errors import HeeltapError, InputFileError
from heeltap.model.notes import make_notes
from heeltap.sound.render import CEILING, RATE_HZ, render
from tests.app.test_playback import kept
from tests.makers.drills import counted_plan
from tests.makers.songs import played as song_take
from tests.makers.songs import write_song, write_take

BAR_US = 2_000_000


@pytest.fixture(scope="module")
def quarters(tmp_path_factory: pytest.TempPathFactory) -> Heard:
    """Eight bars of quarters at 120 for pads, those of bar 5 60 ms late, the others scattered by 8 ms; a delay of 5 ms."""
    plan = counted_plan(["1 2 3 4"] * 8)
    late = np.round(np.random.default_rng(4).normal(0, 8_000, len(plan))).astype(np.int64) + 5_000
    late += np.where((plan.at_us >= 4 * BAR_US) & (plan.at_us < 5 * BAR_US), 60_000, 0)
    late[0] = 5_000
    notes = make_notes(plan.at_us + late, np.full(32, 38), np.full(32, 100), channel=9, duration_us=np.full(32, 40_000))
    return find_take(
        str(kept(tmp_path_factory.mktemp("takes"), plan, notes, delay_ms=5.0)), None, Reading(), Options(), None
    )


def silent(heard: Heard) -> Heard:
    """The same without its click."""
    return replace(heard, backing=replace(heard.backing, due_us=heard.backing.due_us[:0], messages=(), kind=()))


def onsets_in(samples: np.ndarray) -> np.ndarray:
    """Where sounds begin, seconds: the first sample after 30 ms below a hundredth of the loudest."""
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.max(np.abs(samples)))
    return loud[np.diff(loud, prepend=-RATE_HZ) > 0.03 * RATE_HZ] / RATE_HZ


def heard_ms(heard: Heard, version: str) -> np.ndarray:
    """The onsets of the whole take in the audio, milliseconds from bar 1."""
    return 1000 * onsets_in(render(one_after_the_other([Part(silent(heard), version, 1, 8)]).schedule, RATE_HZ)[0])


def test_as_played_sounds_where_it_was_played(quarters: Heard) -> None:
    """Each onset in the audio lies within 1 ms of the take's, the delay taken away."""
    at_ms = quarters.notes.onset_us / 1000 - 5.0

    assert at_ms == pytest.approx(heard_ms(quarters, "played"), abs=1.0)


def test_moved_sounds_where_it_belongs(quarters: Heard) -> None:
    """Each onset in the audio lies within 1 ms of its beat."""
    assert 500.0 * np.arange(32) == pytest.approx(heard_ms(quarters, "moved"), abs=1.0)


def test_half_way_lies_half_way(quarters: Heard) -> None:
    """Between both, to 1 ms."""
    between = (heard_ms(quarters, "played") + heard_ms(quarters, "moved")) / 2

    assert between == pytest.approx(heard_ms(quarters, "half"), abs=1.0)


def test_without_bars_the_ones_to_play_again_come_in_turns(quarters: Heard) -> None:
    """Bar 5 with bar 4 to run in: as played, where it belongs, as played; one, two, one short strokes before it."""
    parts = stretches_of(quarters, None, None, None)
    heard = one_after_the_other(parts)
    marks = [
        sum(
            kind == "mark" and 0 <= begins - due <= 1_000_000
            for due, kind in zip(heard.schedule.due_us, heard.schedule.kind, strict=True)
        )
        for begins, _ in heard.begins
    ]

    assert [("played", 4, 5), ("moved", 4, 5), ("played", 4, 5)] == [
        (part.version, part.first_bar, part.last_bar) for part in parts[:3]
    ]
    assert [1, 2, 1] == marks[:3]
    assert [1_000_000 + number * (2 * BAR_US + 1_000_000) for number in range(3)] == [at for at, _ in heard.begins[:3]]


def test_nothing_is_louder_than_the_ceiling(quarters: Heard) -> None:
    """With its click, in a pile of the loudest strokes."""
    loudest = replace(quarters, notes=replace(quarters.notes, velocity=np.full(32, 127)))
    samples = render(one_after_the_other([Part(loudest, "moved", 1, 8)]).schedule, RATE_HZ)[0]

    assert np.max(np.abs(samples)) <= CEILING
    assert 20 * np.log10(CEILING) == pytest.approx(-6.02, abs=0.01)


def test_two_takes_are_equally_loud(quarters: Heard) -> None:
    """One at velocity 100, one at 50: the root mean square of both is the same to 0.2 dB."""
    soft = replace(quarters, notes=replace(quarters.notes, velocity=np.full(32, 50)))
    parts, swapped = pair_of(silent(quarters), silent(soft), None, ("3-6", None), None)
    heard = one_after_the_other(parts, alike=True)
    samples = render(heard.schedule, RATE_HZ)[0]
    first, second = (
        samples[round(at * RATE_HZ / 1e6) : round((at + 4 * BAR_US) * RATE_HZ / 1e6)] for at, _ in heard.begins
    )

    assert not swapped
    assert pytest.approx(0.0, abs=0.2) == 20 * np.log10(np.sqrt(np.mean(first**2)) / np.sqrt(np.mean(second**2)))


def test_a_blind_order_is_drawn(quarters: Heard) -> None:
    """Either take comes first about as often."""
    rng = np.random.default_rng(5)
    drawn = [pair_of(quarters, quarters, None, (None, None), rng)[1] for _ in range(200)]

    assert 70 < sum(drawn) < 130


def test_slower_keeps_the_pitch_and_takes_longer(quarters: Heard, tmp_path: Path) -> None:
    """A quarter at 120 is 0.625 s at 20 per cent less."""
    heard = one_after_the_other([Part(silent(quarters), "moved", 1, 8)])
    seconds = write_wav(tmp_path / "a.wav", heard, slower_percent=20.0)
    with wave.open(io.BytesIO((tmp_path / "a.wav").read_bytes())) as file:
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767
        rate = file.getframerate()

    assert (20.0, RATE_HZ) == (seconds, rate)
    assert 0.625 * np.arange(32) == pytest.approx(onsets_in(samples), abs=0.001)


def test_a_recording_is_never_written_over(tmp_path: Path) -> None:
    """A file of somebody else's stays; one of heeltap's is replaced."""
    mine, ours = tmp_path / "mine.wav", tmp_path / "ours.wav"
    mine.write_bytes(b"RIFF\x04\x00\x00\x00WAVE")
    heard = one_after_the_other([])

    write_wav(ours, heard)
    check_wav(ours, inputs=[], force=False)
    with pytest.raises(InputFileError, match="--force"):
        check_wav(mine, inputs=[], force=False)


@pytest.fixture
def song(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A song of two takes, the first early in bar 8, in the folder that is open."""
    rng = np.random.default_rng(6)
    path = write_song(tmp_path)
    write_take(
        tmp_path / "harbour-takes" / "take-1.mid", song_take(rng, 6.0, lambda bar: np.where(bar == 8, -45.0, 0.0))
    )
    write_take(tmp_path / "harbour-takes" / "take-2.mid", song_take(rng, 6.0))
    monkeypatch.chdir(tmp_path)
    return path


@pytest.mark.parametrize("take", ["1", "take-1", "TAKE-1", "harbour-takes/take-1.mid"])
def test_a_take_of_a_song_is_found_by_number_name_or_file(take: str, song: Path) -> None:
    """And is heard with the song's drums."""
    heard = find_take("harbour", take, Reading(), Options(), None)

    assert song.is_file()
    assert "take-1" == heard.name
    assert {"drum"} == set(heard.backing.kind) - {"off"}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["harbour"], 3, "no take named; expected one of take-1, take-2"),
        (["harbour", "take"], 3, "no take 'take'"),
        (["harbour", "9"], 3, "no take '9'"),
        (["harbour", "1", "--plan", "a.mid"], 2, "they stand in the song file"),
        (["harbour-takes/take-1.mid", "2"], 2, "only a song has several"),
        (["harbour", "1", "--bars", "8-99"], 3, "bars 8-99; expected bars from 1 to 16"),
        (["harbour", "1", "--section", "bridge"], 3, "no section 'bridge'; expected verse"),
        (["harbour", "1", "--with", "flute"], 3, "flute"),
        (["harbour-takes/take-1.mid", "--with", "drums"], 2, "--with drums"),
        (["harbour", "1", "--blind"], 2, "--blind goes with --against"),
        (["harbour", "1", "--bars", "1", "--section", "verse"], 2, "name --bars or --section, not both"),
        (["harbour", "1", "--loop", "0"], 2, "--loop takes 1 to 100"),
        (["harbour", "1", "--slower", "90"], 2, "--slower takes 0 to 80"),
        (["harbour", "1", "--against", "2", "--as", "turns"], 2, "--as turns is for one take"),
        (["harbour", "1", "--against", "2", "--blind"], 2, "needs a terminal"),
    ],
)
def test_what_cannot_be_heard_is_one_line(
    words: list[str], code: int, said: str, song: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where, what was found, what was expected."""
    assert code == main(["listen", *words, "--out", "a.wav"])
    assert song.is_file()
    assert said in capsys.readouterr().err
    assert not Path("a.wav").exists()


def test_the_command_writes_the_bars_to_play_again(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the times at which each version begins; the second take beside it, and other parts, too."""
    codes = [
        main(["listen", "harbour", "1", "--out", "a.wav"]),
        main(["listen", "harbour", "1", "--against", "2", "--bars", "7-8", "--out", "b.wav"]),
        main(
            ["listen", "harbour", "2", "--section", "chorus", "--with", "drums,keys", "--as", "moved", "--out", "c.wav"]
        ),
    ]
    told = capsys.readouterr().out

    assert [0, 0, 0] == codes
    assert song.is_file()
    assert "take-1, bars 7-8, as played\n" in told
    assert "take-1, bars 7-8, where it belongs\n" in told
    assert "take-2, bars 7-8, as played\n" in told
    assert "take-2, bars 5-8, where it belongs\n" in told


def test_a_choice_in_the_dark_is_revealed(
    song: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is told before you choose; any other word is asked again."""
    answers = iter(["x", "1"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", lambda _: next(answers))

    assert 0 == main(["listen", "harbour", "1", "--against", "2", "--blind", "--out", "a.wav"])
    told = capsys.readouterr().out

    assert song.is_file()
    assert told.index("a.wav") < told.index("take-")
    assert 1 == told.count("(you chose it)")


def test_playing_needs_an_output(quarters: Heard, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where none is set up it says how to choose one."""
    monkeypatch.setattr("heeltap.app.listen.give.sound_in_use", lambda: (None, None))

    with pytest.raises(HeeltapError, match="no output"):
        list(play(one_after_the_other([Part(quarters, "played", 1, 1)]), clock=FakeClock()))


def test_an_exercise_is_heard_before_anybody_plays_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With its count-in; what is for takes is refused by name, and so is a grade that there is not."""
    out = str(tmp_path / "a.wav")
    codes = [
        main(["listen", "anchor", "2", "--out", out]),
        main(["listen", "anchor", "2", "--bars", "1-2", "--as", "moved", "--out", out]),
        main(["listen", "anchor", "nothing", "--out", out]),
    ]
    told = capsys.readouterr()

    assert [0, 2, 5] == codes
    assert "as it should be played" in told.out
    assert "--as and --bars says something of a take" in told.err
