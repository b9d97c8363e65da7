"""The mix: each voice at its level, changed while it plays; what is silent is neither sent nor written down as a click."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeOutPort
from heeltap.engine.mixing import Mixing, mix_records
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import pack, unpack
from heeltap.files.takes.journal import read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import OFF, Schedule, merge
from heeltap.model.mix import CLICK, COUNT, DRUMS, Mix, part_kind, scaled, voice_of
from heeltap.sound.drums import DRUM
from heeltap.sound.render import Mixer
from tests.engine.test_process import Screen, four_bars

BAR_US = 2_000_000


def beats(key: int, kind: str, channel: int = 9) -> Schedule:
    """A note on every quarter of four bars, with its note-off."""
    rows = [(at, bytes((0x90 | channel, key, 100)), kind) for at in range(0, 4 * BAR_US, 500_000)]
    rows += [(at + 100_000, bytes((0x80 | channel, key, 0)), OFF) for at in range(0, 4 * BAR_US, 500_000)]
    rows.sort(key=lambda row: row[0])
    return Schedule(as_ints(r[0] for r in rows), tuple(r[1] for r in rows), tuple(r[2] for r in rows), 4 * BAR_US)


EVERYTHING = merge(four_bars(), beats(36, DRUM), beats(48, part_kind(1), 2))


@pytest.fixture
def run(tmp_path: Path) -> tuple[FakeOutPort, Path, int]:
    """Four bars of click, drums and a part; the click is off at first, in bar 3 the drums go and the click comes at half."""
    screen, zero_ns, told = Screen(), 0, [False]
    mix = Mix(off=frozenset({CLICK}))

    def on_wait(now_ns: int) -> None:
        if (now_ns - zero_ns) // 1000 >= 2 * BAR_US - 200_000 and not told[0]:
            told[0] = True
            screen.orders += mix_records(Mix(click_volume=50, off=frozenset({DRUMS})))

    clock = FakeClock(on_wait=on_wait)
    zero_ns = clock.now_ns() + (300_000 + BAR_US) * 1000
    output = FakeOutPort(clock.now_ns)
    run_here(EngineSpec(EVERYTHING, journal=tmp_path / "take.jsonl", mix=mix), clock, screen, inputs=[], output=output)
    return output, tmp_path / "take.jsonl", zero_ns


def test_each_voice_is_sent_at_its_level(run: tuple[FakeOutPort, Path, int]) -> None:
    """The count is heard though the click is off; then drums and part; from bar 3 on click and part, the click at half."""
    output, _, zero_ns = run
    ons = [(round((at - zero_ns) / 500_000_000), data) for at, data in output.sent if data[0] & 0xF0 == 0x90]

    def velocities(key: int) -> dict[int, int]:
        """By quarter."""
        return {quarter: data[2] for quarter, data in ons if data[1] == key}

    assert {-4: 110, 8: 55, 12: 55} == velocities(76)
    assert [-3, -2, -1, 9, 10, 11, 13, 14, 15] == sorted(velocities(77))
    assert dict.fromkeys(range(8), 100) == velocities(36)
    assert dict.fromkeys(range(16), 100) == velocities(48)


def test_what_was_silent_is_no_click_of_the_take(run: tuple[FakeOutPort, Path, int]) -> None:
    """The journal has the count, the drums of two bars and the clicks of two; a further part is no click at all."""
    journal = read_journal(run[1])

    assert 4 + 8 + 8 == len(journal.click_due_us)
    assert {76, 77, 36} == set(journal.click_key.tolist())
    assert [36] * 8 == journal.click_key[(journal.click_due_us >= 0) & (journal.click_due_us < 2 * BAR_US)].tolist()


def test_every_note_that_began_is_ended(run: tuple[FakeOutPort, Path, int]) -> None:
    """Note-offs belong to no voice."""
    output, _, _ = run
    offs = [data for _, data in output.sent if data[0] & 0xF0 == 0x80]

    assert EVERYTHING.kind.count(OFF) == len(offs)


def test_the_computers_own_sound_follows_the_mix() -> None:
    """A stroke sounds as the mix has its voice when it begins, and keeps that to its end; at 100 nothing changes."""
    schedule = merge(beats(36, DRUM), beats(48, part_kind(1), 2))
    plain, mixed = Mixer(schedule, 8000), Mixer(schedule, 8000)
    first = mixed.block(0, 2000)
    mixed.levels = {DRUMS: 50, part_kind(1): 0}
    rest, drums = mixed.block(2000, 6000), Mixer(beats(36, DRUM), 8000)
    tail = plain.block(2000, 2000)

    assert np.array_equal(plain.block(0, 2000), first)
    assert np.array_equal(tail, rest[:2000])
    assert np.allclose(0.5 * drums.block(4000, 4000), rest[2000:], atol=1e-12)


def test_a_mix_travels_whole() -> None:
    """Records out, records in: the levels of every voice."""
    mix = Mix(80, 60, 40, frozenset({part_kind(2)}))
    mixing = Mixing()
    mixing.take(unpack(b"".join(pack(record) for record in mix_records(mix))))

    voices = (COUNT, CLICK, DRUMS, part_kind(1), part_kind(2), part_kind(7))
    assert [80, 80, 60, 40, 0, 40] == [mixing.levels[voice] for voice in voices]
    assert b"\x99\x24\x32" == mixing.as_sent(part_kind(1), b"\x99\x24\x7d")
    assert mixing.as_sent(part_kind(2), b"\x99\x24\x7d") is None
    assert b"\x89\x24\x00" == mixing.as_sent(OFF, b"\x89\x24\x00")


def test_a_switch_keeps_the_volume_and_the_keys_change_what_was_switched_last() -> None:
    """Off and on again is as loud as before; a step is a tenth, within 0 and 100."""
    mix = Mix().louder(-2).switched(DRUMS).louder(-3).switched(DRUMS)

    assert (80, 70, 100) == (mix.level(CLICK), mix.level(DRUMS), mix.level(part_kind(1)))
    assert 100 == mix.louder(9).level(DRUMS)
    assert [0, 0] == [Mix().louder(-99).level(voice) for voice in (CLICK, COUNT)]
    assert [0, 100] == [Mix().switched(CLICK).level(voice) for voice in (CLICK, COUNT)]
    assert Mix().switched(CLICK).switched(DRUMS).silent((CLICK, DRUMS))
    assert ["count", "click", "click", "drums", "part 3", "", ""] == [
        voice_of(kind) for kind in ("count-in", "accent", "click", "drum", part_kind(3), OFF, "clock")
    ]
    assert [b"\x90\x01\x01", None] == [scaled(b"\x90\x01\x01", percent) for percent in (10, 0)]


def legato(kind: str, shift_us: int) -> Schedule:
    """One key held from beat to beat for two bars; everything belongs to its voice, and is struck again as it is let go."""
    rows = []
    for beat in range(8):
        at = beat * 500_000 + shift_us
        rows += [(at, 1, b"\x90\x3c\x64"), (at + 500_000, 0, b"\x80\x3c\x00")]
    rows.sort()
    return Schedule(as_ints(r[0] for r in rows), tuple(r[2] for r in rows), (kind,) * len(rows), 2 * BAR_US)


def test_two_voices_of_one_key_take_turns_without_a_gap(tmp_path: Path) -> None:
    """Two versions of a held line, 30 ms apart, change over in bar 2: until then the first sounds as if it were alone, then the
    second, every note for its whole length, and nothing is left on."""
    screen, told, zero_ns = Screen(), [False], 0
    first, second = part_kind(1), part_kind(2)

    def on_wait(now_ns: int) -> None:
        if (now_ns - zero_ns) // 1000 >= 2_100_000 and not told[0]:
            told[0] = True
            screen.orders += mix_records(Mix(off=frozenset({first})))

    clock = FakeClock(on_wait=on_wait)
    zero_ns = clock.now_ns() + 300_000_000
    output = FakeOutPort(clock.now_ns)
    schedule = merge(legato(first, 0), legato(second, 30_000))
    mix = Mix(off=frozenset({second}))
    run_here(EngineSpec(schedule, journal=tmp_path / "take.jsonl", mix=mix), clock, screen, inputs=[], output=output)
    notes = [
        (round((at - zero_ns) / 1e6), data[0] & 0xF0 == 0x90) for at, data in output.sent if data[0] & 0xE0 == 0x80
    ]
    struck = [at for at, on in notes if on]

    assert [0, 500, 1000, 1500, 2000, 2530, 3030, 3530] == struck
    assert [500, 1000, 1500, 2000, 2500, 3030, 3530, 4030] == [at for at, on in notes if not on]


def test_the_mixer_lets_each_voice_go_by_its_own_note_off() -> None:
    """As the engine does: of two versions of a held line each has its own ends."""
    both = merge(legato(part_kind(1), 0), legato(part_kind(2), 30_000))
    mixer = Mixer(both, 48_000)
    alone = Mixer(legato(part_kind(1), 0), 48_000)
    mixer.levels = {part_kind(2): 0}

    assert np.array_equal(alone.block(0, 3 * 48_000), mixer.block(0, 3 * 48_000))
