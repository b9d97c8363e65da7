"""Figures of notation, maps, parts, sets and classes for inputs that never change: the other half of `tests.makers.figures`.

Inside: `refused`, `MODEL_CASES`.
"""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from heeltap.analysis.advice.remedies import family_of, remedy_of
from heeltap.analysis.findings import findings
from heeltap.analysis.findings.catalogue import FINDING_KINDS
from heeltap.analysis.section_words import delay_share, section_word, widened
from heeltap.analysis.statistics.robust import mad_scale, theil_sen
from heeltap.app.practice.advise import course
from heeltap.app.practice.make_exercise import families, make_exercise
from heeltap.classroom.integrity import questions
from heeltap.classroom.students import ClassItem, Student, TakeFigures, cell_of, differs, next_for, weaknesses
from heeltap.errors import PlanError
from heeltap.files.toml.beats import read_beats
from heeltap.model.counting import bar_ticks, counting_line, parse_counting, unit_ticks
from heeltap.model.excerpt import bars_of_text, excerpt, repeated
from heeltap.model.exercise import click_levels, clicks, felt_beats, parse_click, parse_metre, with_pads
from heeltap.model.hands import hand_lines, hands_of, side_key, with_hands
from heeltap.model.messages import Schedule, is_clock_message, is_note_on, merge, song_position
from heeltap.model.parts import Part, choose_part, describe_parts, guess_drums
from heeltap.model.pitch import key_name, key_of
from heeltap.model.plan_from import plan_of
from heeltap.model.practice_set import Done, is_done, meets
from heeltap.model.result import SectionRow
from heeltap.model.sections import sections_from_markers, sections_from_text
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo
from tests.classroom.test_students import ITEM, student, take
from tests.makers.tables import noise, offsets_table

_METRES = ("2/4", "3/4", "4/4", "5/4", "3/8", "6/8", "7/8", "9/8", "12/8", "2/2", "1/1", "15/16")

_Cases = Iterable[tuple[str, Any]]


def refused(wanted: Callable[..., Any], *given: Any, **named: Any) -> Any:
    """What comes back, or what the refusal says."""
    try:
        return wanted(*given, **named)
    except (PlanError, ValueError, KeyError) as error:
        return f"{type(error).__name__}: {error}"


def _counting() -> _Cases:
    """How bars are counted, clicked and felt in every metre, and what cannot be."""
    for text in (*_METRES, "0/4", "4/3", "65/4", "64/32", "4"):
        yield text, refused(_of_metre, text)
    for text in ("1 & 2 - 3 e & a 4", "1 2 3 5", "-", "", "1 x", "> 1 2", "1 2 3 4 &", "1, 2"):
        for metre in (Metre(4, 4), Metre(6, 8)):
            yield f"'{text}' {metre}", refused(parse_counting, text, metre)


def _of_metre(text: str) -> Any:
    """Everything that a metre alone decides."""
    metre = parse_metre(text)
    ticks = unit_ticks(metre)
    bar = bar_ticks(metre)
    halves, thirds = range(0, bar, ticks // 2), range(0, bar, ticks // 3)
    said = [
        [(one.at_quarter, one.text) for one in counting_line(places, metre, least=least)]
        for places in (halves, thirds, (0,), (bar - 1,), (-1, bar + 5))
        for least in (1, 2, 3, 4)
    ]
    kinds = {kind: refused(_clicks, kind, metre) for kind in _CLICKS}
    return metre.bar_quarters, metre.beat_quarters, metre.beats, felt_beats(metre), said, kinds


def _clicks(text: str, metre: Metre) -> Any:
    """Five bars of a click."""
    return clicks(parse_click(text), metre, 5)


_CLICKS = (
    "every",
    "backbeat",
    "one",
    "fade",
    "none",
    "bars 2+2",
    "bars 1+64",
    "bars 0+2",
    "bars 2+65",
    "bars 2",
    "ever",
)


def _maps() -> _Cases:
    """Tempo and metre maps on both sides of every change, with a pick-up and without."""
    tempo = TempoMap(480, np.array([0, 960, 4800]), np.array([500_000, 400_000, 1_000_000]))
    ticks = np.array([-1, 0, 959, 960, 961, 4799, 4800, 4801, 100_000])
    quarters = ticks / 480
    yield "tempo", (tempo.us_at(ticks), tempo.quarter_at(np.arange(0, 9_000_000, 333_333)))
    yield "tempo at quarters", (tempo.us_at_quarter(quarters), tempo.us_per_quarter_at(quarters))
    yield "ticks", tempo.tick_at(np.arange(0, 9_000_000, 333_333))
    maps = {
        "steady": steady_metre(4, 4),
        "felt": steady_metre(6, 8),
        "pick-up": MetreMap(np.array([0.0, 1.0]), (Metre(1, 4), Metre(4, 4))),
        "changing": MetreMap(np.array([0.0, 8.0, 11.0, 14.5]), (Metre(4, 4), Metre(3, 4), Metre(7, 8), Metre(6, 8))),
    }
    for name, metre in maps.items():
        bars = np.arange(-1, 9)
        yield (
            name,
            (
                metre.bar_beat(np.arange(-1.0, 20.0, 0.25)),
                [float(metre.quarter_of_bar(int(bar))) for bar in bars if bar > 0],
                [str(metre.metre_of_bar(int(bar))) for bar in bars if bar > 0],
                metre.pickup_quarters,
                str(metre.counted_metre),
                metre.count_in_quarters,
            ),
        )
        for text in ("verse 1-2, chorus 3-4", "1-4", "a 2-1", "a 1-9", "", "a 1-3, b 3-4"):
            yield f"{name} sections {text}", refused(sections_from_text, text, 4)
        markers = [(0, "a"), (4 * 480, "b"), (4 * 480 + 1, "c"), (9 * 480, "d")]
        yield f"{name} markers", sections_from_markers(markers, metre, 5, ticks_per_quarter=480)
    yield "steady tempi", [steady_tempo(bpm).us_at_quarter(3.0) for bpm in (30.0, 96.0, 300.0)]


def _excerpts() -> _Cases:
    """Bars of exercises in every metre, once and several times, and ranges that there are not."""
    for family, metre in (("anchor", "4/4"), ("turn", "6/8"), ("split", "3/4")):
        plan = plan_of(make_exercise(family, course()[family][0].grade, metre=metre, seed=4))
        for first, last, passes in ((1, 1, 1), (2, 4, 3), (plan.bars, plan.bars, 2), (3, 2, 1), (0, 1, 1), (1, 999, 1)):
            yield (
                f"{metre} {first}-{last} x{passes}",
                refused(excerpt, plan, first, last, passes=passes),
            )
    for text in ("14-16", " 3 ", "3-1", "0", "1-", "a", "00-1"):
        yield f"'{text}'", refused(bars_of_text, text)
    yield "repeated", [repeated(np.array([-5, 0, 10, 19, 20, 21]), 0, 20, passes) for passes in (1, 2, 3)]


def _keys() -> _Cases:
    """Key names, hands at both sides of a split, and messages."""
    yield "names", [(key_name(key), key_of(key_name(key))) for key in range(128)]
    for text in ("C-1", "Cb-1", "G9", "G#9", "b3", "H2", "128", "127", "0060", "060", "", "C", "Bb10"):
        yield f"'{text}'", refused(key_of, text)
    pitch = np.array([0, 47, 48, 49, 127])
    hands = plan_of(make_exercise("split", "hands" if "hands" in _grades("split") else _grades("split")[0], seed=2))
    for split in (0, 48, 128):
        yield f"split {split}", (hands_of(pitch, split), [side_key(int(one), split) for one in pitch])
        yield f"lines {split}", (hand_lines(hands, pitch, split), with_hands(hands, split).hand)
    yield "no split", (hand_lines(hands, pitch, None), with_hands(hands, None).hand)
    bytes_of = [bytes([status, 60, velocity]) for status in (0x80, 0x8F, 0x90, 0x9F, 0xA0) for velocity in (0, 1, 127)]
    clock = [bytes([status]) for status in (0xF1, 0xF2, 0xF7, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE)]
    yield "messages", [(is_note_on(one), is_clock_message(one)) for one in [*bytes_of, *clock]]
    yield "song position", [refused(song_position, n) for n in (0, 1, 127, 128, 16_383)]
    parts = [
        Schedule(np.array(at), tuple(bytes([0x90, 60, n]) for n in at), tuple("click" for _ in at), 9)
        for at in ([1, 3], [0, 3], [])
    ]
    yield "merged", [(one.due_us, [m.hex() for m in one.messages], one.kind, one.end_us) for one in [merge(*parts)]]


def _grades(family: str) -> list[str]:
    """Names of a family's grades."""
    return [step.grade for step in course()[family]]


def _classes() -> _Cases:
    """What is said of students, from nothing played to everything done, and what is asked about takes."""
    rng = np.random.default_rng(8)
    items = [
        ITEM,
        ClassItem(2, "Off-beats", (90.0,), 1, Done(60.0, 12.0, 1)),
        ClassItem(3, "Free", (70.0,), 1, Done(None, None, 2)),
    ]
    same, even = rng.normal(0, 9, 64), rng.normal(0, 0.5, 64)
    takes = [
        [],
        [take(p=1e-6), take(p=1e-3, effect_ms=25.0), take(share=0.7), take(tempo_bpm=90.0, share=0.69)],
        [take(p=1e-5, code="swing"), take(p=1e-9, code="into-change"), take(whole=False)],
        [take(offset_ms=same), take(offset_ms=same + 3, item=2, tempo_bpm=90.0), take(offset_ms=even)],
        [take(offset_ms=same + rng.normal(0, 0.3, 64)), take(offset_ms=same[:32], events="x"), take(events="x")],
        [take(tempo_bpm=bpm) for bpm in (80.0, 80.0, 90.0, 90.0)]
        + [take(item=2, tempo_bpm=90.0), take(item=3, tempo_bpm=70.0)],
        [
            take(said=TakeFigures(n, bias, spread, 0.0))
            for n, bias, spread in (
                (100, -4.0, 10.0),
                (99, -4.0, 10.0),
                (98, -4.0, 10.0),
                (100, -4.6, 10.0),
                (100, -4.0, 11.0),
            )
        ],
    ]
    class_ = [student(*mine, name=f"student {number}") for number, mine in enumerate(takes)]
    found = weaknesses(class_)
    yield "weaknesses", found
    for one, mine in zip(class_, found, strict=True):
        cells = [(cell, cell.done) for cell in (cell_of(one, item) for item in items)]
        yield one.name, (cells, next_for(one, items, mine), next_for(one, items, ()), [differs(t) for t in one.takes])
    yield "questions", [(q.kind, q.who, len(q.takes), q.size) for q in questions(class_)]
    yield "alone", [(q.kind, q.who, len(q.takes), q.size) for q in questions([Student("a", (), class_[4].takes)])]
    for done in (Done(70.0, None, 2), Done(None, 12.0, 1), Done(50.0, 9.0, 3), Done(None, None, 1)):
        marks = [(share, spread) for share in (0.499, 0.5, 0.7, None) for spread in (9.0, 12.0, 12.1, None)]
        yield (
            str(done),
            ([meets(done, in_pocket=a, spread_ms=b) for a, b in marks], is_done(done, marks), is_done(done, marks[:2])),
        )


def _words() -> _Cases:
    """Words of sections and remedies on both sides of each limit."""
    for off in (-40.0, -12.0, -3.0, 0.0, 9.0, 30.0):
        for share in (None, 0.5, 0.75, 0.9):
            row = SectionRow("a", 1, 4, 16, off, None, 10.0, None, share)
            yield (
                f"section {off} {share}",
                [
                    section_word(row, missed, centre_ms=centre, heard_ms=12.0, delay_uncertainty_ms=unsure)
                    for missed in (0, 16, 17)
                    for centre in (0.0, 5.0)
                    for unsure in (0.0, 12.0, 30.0)
                ],
            )
    yield "empty section", section_word(replace(row, n=0, bias_ms=None), 0, centre_ms=0.0, heard_ms=12.0)
    yield "widened", [(widened(5.0, (1.0, 9.0), unsure), delay_share(unsure)) for unsure in (0.0, 3.0, 12.25)]
    for code in [kind.code for kind in FINDING_KINDS] + ["of a newer heeltap"]:
        yield (
            f"remedy {code}",
            [(refused(remedy_of, code, size), family_of(code, size)) for size in (-20.0, -1.0, 1.0, 20.0)],
        )


def _columns() -> _Cases:
    """Findings of plain columns: names for codes, drums, gaps and sections by label, and what is refused."""
    rng = np.random.default_rng(9)
    table = offsets_table(noise("ar35", 256, rng, sd_ms=9.0), rng)
    plain = {"offset_ms": table.offset_ms, "bar": table.bar, "beat": table.beat}
    labels = np.where(table.bar % 16 < 8, "verse", "chorus")
    drum = np.where(table.beat % 2 < 1, 36, 38)
    loud = rng.integers(40, 120, table.bar.size)
    more: dict[str, dict[str, Any]] = {
        "three columns": {},
        "labels": {"section": labels},
        "drums": {"drum": drum, "velocity": loud, "pitch": drum},
        "louder later": {"velocity": loud, "offset_ms": table.offset_ms + (loud - 80) * 0.5},
        "drums louder later": {"drum": drum, "velocity": loud, "offset_ms": table.offset_ms + (loud - 80) * 0.5},
        "leaps": {"pitch": rng.integers(30, 90, table.bar.size)},
        "leaps late": {
            "pitch": (pitch := rng.integers(30, 90, table.bar.size)),
            "offset_ms": table.offset_ms + np.abs(np.diff(pitch, prepend=pitch[:1])) * 0.6,
        },
        "uneven off-beats": {"offset_ms": table.offset_ms * np.where(table.beat % 1 > 0.1, 2.5, 1.0)},
        "uneven fills": {
            "kind": np.where(table.bar % 8 == 0, "fill", "groove"),
            "offset_ms": table.offset_ms * np.where(table.bar % 8 == 0, 2.5, 1.0),
        },
        "slack": {"offset_ms": table.offset_ms * np.linspace(0.6, 2.4, table.bar.size)},
        "times": {"onset_us": np.arange(table.bar.size)[::-1] * 1000},
        "holes": {"offset_ms": np.where(table.bar == 3, np.nan, table.offset_ms)},
        "hands": {
            "hand": np.where(table.beat % 1 > 0.1, "left", "right"),
            "offset_ms": table.offset_ms + np.where(table.beat % 1 > 0.1, 12, 0),
        },
        "chords": {"spread_ms": 34.0 + rng.normal(0, 6, table.bar.size)},
        "chords, hardly": {"spread_ms": np.where(table.bar % 2 == 0, 0.0, 30.0 + rng.normal(0, 9, table.bar.size))},
        "one bar": {"offset_ms": table.offset_ms + np.where(table.bar == 9, -60.0, 0.0)},
        "unknown kind": {"kind": np.full(table.bar.size, "solo")},
        "unknown column": {"offset": table.offset_ms},
        "short column": {"velocity": loud[:-1]},
    }
    for name, columns in more.items():
        yield name, refused(findings, {**plain, **columns}, lean_ms=0.0)
    for beats in ((1.0,), (2.0, 4.0)):
        for step in (0, 2, 9):
            accents = {
                **plain,
                "velocity": 70 + rng.integers(-3, 4, table.bar.size) + step * np.isin(table.beat, beats),
            }
            yield f"accents {beats} {step}", findings(accents, lean_ms=0.0, accent_beats=beats)
    row = rng.normal(3, 8, 41)
    yield "robust", (mad_scale(row), theil_sen(np.arange(41), row + np.arange(41) * 0.3), mad_scale([1.0, 1.0, 4.0]))


def _sets() -> _Cases:
    """Pads laid on other keys, click levels, difficulty by metre, prints of sets, drums by ear."""
    for family in families():
        grade = family.grades[0].name
        with suppress(PlanError):
            made = make_exercise(family.name, grade, seed=7)
            keys = {voice.name: 61 + number for number, voice in enumerate(made.voices)}
            yield f"pads {family.name}", plan_of(with_pads(made, keys)).pitch
            for kind in ("fade", "bars 2+1", "every"):
                with suppress(PlanError):
                    yield f"levels {family.name} {kind}", click_levels(parse_click(kind), 9)
    parts = [
        Part(n, name, n, channel, None, 10 * n, drums)
        for n, name, channel, drums in (
            (0, "", 0, False),
            (1, "Keys", 3, False),
            (2, "keys left", 3, False),
            (3, "Kit", 9, True),
        )
    ]
    for some in (parts, parts[1:3], parts[3:], parts[:1], []):
        yield f"parts of {len(some)}, {some[0].index if some else None}", describe_parts(some)
        for wanted in (None, "keys", "0", "1", "drums", "kit", "9", "Key", "track 2"):
            midi = SimpleNamespace(path="a.mid", parts=some)
            yield (
                f"part {wanted} of {len(some)}, {some[0].index if some else None}",
                refused(choose_part, midi, wanted),
            )
    for channel, name, pitches in (
        (9, "", [36]),
        (0, "drums", [36, 38]),
        (0, "keys", [36, 38, 42]),
        (0, "", [60, 64]),
        (0, "", []),
    ):
        yield (
            f"drums {channel} {name} {pitches}",
            guess_drums(channel, name, np.array(pitches), np.arange(len(pitches)) * 240),
        )
    yield "beats", [(pattern.name, pattern) for pattern in read_beats().values()]


MODEL_CASES = (_counting, _maps, _excerpts, _keys, _classes, _words, _columns, _sets)
"""Generators of a case's name and its figures."""
