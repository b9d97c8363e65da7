"""The shipped drum patterns, and mistakes in one's own."""

from pathlib import Path

import pytest

from heeltap.errors import SetFileError
from heeltap.files.toml.beats import read_beat_file, read_beats
from heeltap.model.exercise import METRES


def test_every_usual_metre_but_one_has_a_pattern() -> None:
    """Two-four goes with none; every pattern has a kick on the one and a title."""
    beats = read_beats()

    assert set(METRES) - {"2/4"} == {str(beat.metre) for beat in beats.values()}
    for beat in beats.values():
        assert beat.title
        kick = next(line for line in beat.lines if line.drum == "kick")
        assert all(bar.at_tick[0] == 0 for bar in kick.bars)


def test_every_mistake_is_told_with_its_line(tmp_path: Path) -> None:
    """A drum that there is not, a syllable out of order, a name twice."""
    path = tmp_path / "mine.toml"
    path.write_text(
        'format = "heeltap.beats/1"\n[[beat]]\nname = "a"\nmetre = "4/4"\nkik = "1"\nsnare = "2 1"\n'
        '[[beat]]\nname = "a"\nmetre = "3/4"\nkick = "1"\n'
    )
    with pytest.raises(SetFileError) as told:
        read_beat_file(path)

    for part in ("3 mistakes", "line 5", "nearest: kick", "line 6", "another name for each pattern"):
        assert part in str(told.value)
