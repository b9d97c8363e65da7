"""Pictures of every screen as text, from a fixed day, fixed takes and a fixed drill: ``python -m tests.makers.screens``.

It also draws the screens that the README and the guide show.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Options, analyse
from heeltap.app.drill.changes import Change, before
from heeltap.app.drill.demo import demo_drill, simulated_player
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.from_settings import DrillChoice, drill_chosen
from heeltap.app.drill.run import Settings
from heeltap.app.drill.voices import mix_of, voices_of
from heeltap.app.practice.advise import course
from heeltap.app.practice.set_standing import standing_of, standing_words
from heeltap.app.practice.sets import open_set
from heeltap.app.route.route import Route
from heeltap.course.next_exercise import NextStep
from heeltap.files.settings import PadSet, Stored
from heeltap.gear.selftest import LoopReport, Spread
from heeltap.model.mix import Mix
from heeltap.model.notes import make_notes
from heeltap.model.past_take import PastTake
from heeltap.model.plan import Section
from heeltap.model.played import Played
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import Begin, Elapsed, Feedback, Note, Phase, State, begin, step
from heeltap.sound.click import CLICK_SOUNDS
from heeltap.tui.keys import Key
from heeltap.tui.page import Look
from heeltap.tui.screens.drill import KEY_LINES, View, draw_drill, view_of
from heeltap.tui.screens.drill_keys import DRILL_HELP, REPORT_KEYS, drill_keys, guess_page, mix_keys
from heeltap.tui.screens.exercises import draw_map, map_of
from heeltap.tui.screens.help import help_lines, help_page
from heeltap.tui.screens.history import Order, draw_history
from heeltap.tui.screens.listen import LISTENING_KEYS
from heeltap.tui.screens.measure import clock_ways, delay_ways, draw_measure
from heeltap.tui.screens.options import draw_options, option_rows
from heeltap.tui.screens.report import Report, draw_report, played_words, report_lines, report_room
from heeltap.tui.screens.set_up import SetUp, draw_set_up
from heeltap.tui.screens.start import START_HELP, START_KEYS, Due, Today, draw_start, week_of
from heeltap.views.bar_sheet import UNICODE, Line, plain
from heeltap.views.plan_rows import PlanRows
from heeltap.views.selftest_text import lines
from tests.makers.drills import counted_plan, played
from tests.makers.guide_screens import pages, with_screens

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "tui"
SIZES = ((80, 24), (120, 40))
NOW = datetime.fromisoformat("2026-03-04T18:05:00+01:00")

TITLES = {
    ("anchor", "backbeat"): "Two and four",
    ("anchor", "pillars"): "One and three",
    ("split", "one-beat"): "Eighths on one beat",
}


def past_take(
    date: str, family: str, grade: str, bpm: float, bias: float | None, spread: float | None, title: str = ""
) -> PastTake:
    """One take of the invented history."""
    share = None if spread is None else round(min(1.0, 12.0 / spread), 2)
    return PastTake(
        folder=date, date=date, exercise=f"{family}-{grade}-4/4-s1", title=title or TITLES[family, grade], family=family,
        grade=grade, seed=1, tempo_bpm=bpm, lean_ms=0.0, length_s=48.0, ending="played", n=32, bias_ms=bias,
        spread_ms=spread, in_pocket=share, held=share, score=None if share is None else 100 * share, planned=32,
        missed=0, extra=0, method="same-path" if grade == 1 else "none", findings=(),
    )  # fmt: skip


TAKES = (
    past_take("2026-01-14T18:00:00+01:00", "anchor", "backbeat", 92.0, 9.0, 21.0),
    past_take("2026-01-29T18:10:00+01:00", "anchor", "backbeat", 92.0, 6.0, 18.0),
    past_take("2026-02-12T19:00:00+01:00", "anchor", "pillars", 92.0, -4.0, 16.0),
    past_take("2026-02-26T19:20:00+01:00", "anchor", "pillars", 96.0, -7.0, 15.0),
    past_take("2026-03-02T18:00:00+01:00", "split", "one-beat", 72.0, 2.0, 14.0),
    past_take("2026-03-03T18:00:00+01:00", "split", "one-beat", 72.0, None, None),
    past_take("2026-03-03T18:02:00+01:00", "split", "one-beat", 72.0, -1.0, 11.0),
)

STEP = NextStep("again", "once more, to see whether it stays", "split", "one-beat", TITLES["split", "one-beat"], 72.0)

DUE = (
    Due(1, "Two and four", 92.0, 3, 2, True, DrillChoice("first-week:1", 92.0)),
    Due(2, "One and three", 96.0, 1, 2, False, DrillChoice("first-week:2", 96.0)),
    Due(3, "Eighths [on] one beat", 72.0, 0, 3, False, DrillChoice("first-week:3", 72.0)),
)

TODAY = Today(
    NOW, ("Drum Pads [bold]", "Keys"), ("Synth",), "", "first-week", "A first week", "", DUE, STEP,
    week_of(TAKES, NOW.date()), TAKES[-1], delay_wanted=True,
)  # fmt: skip

NOTHING = Today(
    NOW, step=NextStep("begin", "the first exercise of all", "anchor", "backbeat", TITLES["anchor", "backbeat"], 72.0)
)

SETUP = SetUp(
    Stored(("Drum Pads",), "Synth", controls={"start": "cc64"}, pads=(PadSet("Drum Pads", {"kick": 36, "snare": 38}),)),
    ("Drum Pads", "Keys"),
    ("Synth",),
    ("Drum Pads",),
    "Synth",
    Route(4.2, 0.6, "same-path", "", "2026-03-01: stamps within 0.4 ms, scores can be trusted", True),
)

LOOP_REPORT = LoopReport(
    "virtual", "virtual", "virtual", 800, 0, 0, 0, 0, Spread(0.03, 0.05, 0.06, 0.4), 0.22,
    Spread(0.02, 0.1, 0.19, 0.3), Spread(0.03, 0.1, 0.2, 0.5), 4.0, (-2.0, 10.0), 0,
    "real-time scheduling (SCHED_FIFO)", real_time=True, load=0.4,
)  # fmt: skip
"""What a self-test found on a good machine."""

SELFTEST_TOLD = tuple(lines(LOOP_REPORT))


def a_drill_state(at_us: int) -> State:
    """A drill at a moment: eight bars of quarters with a fill before the chorus, played a little late."""
    plan = counted_plan(
        ["1 2& 3 4"] * 3 + ["1e&a 2e&a 3 4"] + ["1 2 3 4"] * 4,
        sections=[Section("verse", 1, 4), Section("chorus", 5, 8)],
    )
    state = begin(columns_of(plan), Feedback.BAR)
    offsets = np.random.default_rng(5).normal(4.0, 9.0, int(plan.stroke[-1]) + 1)
    notes = [note for note in played(plan, offsets.tolist()) if note.at_us < at_us]
    for event in [Begin(), *notes, Elapsed(at_us)]:
        state, _ = step(state, event)
    return state


def course_take(days_ago: int, rank: int, share: float) -> PastTake:
    """A take of an anchor with this share in the pocket, so many days before the fixed day."""
    step = course()["anchor"][rank - 1]
    take = past_take(
        (NOW - timedelta(days=days_ago)).isoformat(), "anchor", step.grade, step.tempo_bpm, 0.0, 10.0, step.title
    )
    return replace(take, held=share, in_pocket=share)


COURSE_TAKES = (
    *(course_take(days_ago, 1, 0.96) for days_ago in (9, 9, 7)),
    *(course_take(days_ago, 2, 0.95) for days_ago in (6, 6, 5)),
    *(course_take(days_ago, 3, 0.97) for days_ago in (4, 4)),
    course_take(1, 4, 0.80),
)
"""The first two learned, the third held days ago, the fourth begun."""


def options_page(choice: DrillChoice, look: Look) -> list[Line]:
    """How a choice is played, with the tempo chosen."""
    what = drill_chosen(choice, CLICK_SOUNDS["wood"])
    return draw_options(option_rows(choice, what), what, 1, look)


def a_made_drill(family: str, grade: str, width: int, height: int) -> list[Line]:
    """The screen before an exercise of the course is played."""
    what = drill_of(f"{family} {grade}")
    state = before(what, Feedback.BAR)
    view = view_of(what, Settings("Drum Pads", "Synth"), UNICODE)
    keys = drill_keys(state.phase, state.feedback, mix=mix_keys(mix_of(what), voices_of(what)))
    return draw_drill(state, replace(view, width=width, height=height, keys=keys))


def a_set_drill(width: int, height: int) -> list[Line]:
    """The screen before an exercise of a set is played: what the teacher says and asks for."""
    what = drill_of("first-week:1", tempo_bpm=72)
    state, opened = before(what, Feedback.BAR), open_set("first-week")
    work = opened.works[0]
    assert work.item.exercise is not None
    taken = past_take("2026-03-01T18:00:00+01:00", "anchor", "backbeat", 72, 0.0, 1.0)
    mine = [replace(taken, exercise=work.item.exercise.name, seed=work.seed)]
    task = (*work.item.notes, standing_words(standing_of(opened, work, mine, 72.0)))
    view = replace(view_of(what, Settings("Drum Pads", "Synth"), UNICODE), task=task)
    keys = drill_keys(state.phase, state.feedback, mix=mix_keys(mix_of(what), voices_of(what)))
    return draw_drill(state, replace(view, width=width, height=height, keys=keys))


def _song_keys(state: State) -> tuple[Key, ...]:
    """The keys of a song with drums and three other parts, some of them on."""
    voices = {"click": "click", "drums": "drums", "part 1": "bass", "part 2": "piano", "part 3": "strings"}
    mix = Mix(80, 100, 60, frozenset({"click", "part 1", "part 3"}), chosen="part 2")
    return drill_keys(state.phase, state.feedback, mix=mix_keys(mix, voices))


CHANGES = (Change(4, "fill"), Change(5, "chorus landing"))


def a_report() -> Report:
    """The report of a fixed take that ran away in its fill."""
    plan = counted_plan(["1 2 3 4"] * 8, sections=[Section("verse", 1, 4), Section("chorus", 5, 8)])
    offsets = np.random.default_rng(7).normal(3.0, 8.0, 32)
    offsets[12:16] -= [5.0, 14.0, 24.0, 33.0]
    notes = played(plan, offsets.tolist())
    table = make_notes([n.at_us for n in notes], [n.pitch for n in notes], [n.velocity for n in notes])
    result = analyse(Played(table, plan.tempo, plan.metre, plan), Options(delay_ms=0.0))
    return Report(played_words("Quarters", 120.0, NOW, NOW), result, last=("Your take is in takes/2026-03-04",))


def a_report_page(page: int, look: Look) -> list[Line]:
    """A page of that report, from 0."""
    room = report_room(look, KEY_LINES)
    lines = report_lines(a_report(), look.width, room, look.glyphs)
    return draw_report(lines, page * room, look, REPORT_KEYS, KEY_LINES)


@cache
def pictures(width: int, height: int) -> dict[str, list[Line]]:
    """Every screen at a size, by name."""
    look = Look(width, height, UNICODE)
    playing = a_drill_state(5_700_000)
    view = View(width, height, UNICODE, "Quarters · 4/4 · 120 bpm", "in Drum Pads, click Synth", changes=CHANGES)
    view_keys = drill_keys(playing.phase, playing.feedback, mix=mix_keys(Mix(), {"click": "click"}))
    rows = PlanRows(keys="any key will do")
    drill = View(width, height, UNICODE, view.title, view.ports, changes=CHANGES, keys=view_keys, rows=rows)
    heard = replace(a_drill_state(30_000_000), phase=Phase.PLAYING, now_us=5_700_000)
    words = "you hear the take where it belongs, bar 3"
    listening = replace(drill, message=words, keys=LISTENING_KEYS)
    return {
        "start": draw_start(TODAY, 0, look),
        "start-nothing": draw_start(NOTHING, 0, look),
        "exercises": draw_map(map_of(COURSE_TAKES, NOW), 0, 2, look),
        "options": options_page(DrillChoice("anchor 7", 92.0, metre="3/4", click="beat:waltz"), look),
        "history": draw_history(list(reversed(TAKES)), Order.DAY, 1, look, until=NOW),
        "set-up": draw_set_up(SETUP, 8, look),
        "set-up-learning": draw_set_up(SETUP, 4, look, message="snare: hit this pad twice", learning=True),
        "delay": draw_measure("Delay of the route", delay_ways(SETUP, UNICODE), 0, look, (), 0.4),
        "clock": draw_measure("heeltap's own clock", clock_ways(SETUP), 0, look, SELFTEST_TOLD, None),
        "listening": draw_drill(heard, listening),
        "drill-hands": a_made_drill("anchor", "hands", width, height),
        "drill-chords": a_made_drill("anchor", "chords", width, height),
        "drill-drums": a_made_drill("turn", "sixteenths", width, height),
        "drill-set": a_set_drill(width, height),
        "drill": draw_drill(playing, drill),
        "drill-song": draw_drill(playing, replace(drill, keys=_song_keys(playing))),
        "report": a_report_page(0, look),
        "report-chart": a_report_page(1, look),
        "report-numbers": a_report_page(2, look),
        "guess": guess_page(look, view.title),
        "help-start": help_page(look, "start", help_lines(look, START_KEYS, START_HELP)),
        "help-drill": help_page(look, "drill", help_lines(look, view_keys, DRILL_HELP)),
    }


README = GOLDEN.parents[2] / "README.md"
_README_BEFORE = "the screen looks like this:\n\n```\n"


def readme_screen() -> str:
    """The drill screen of the demo in its last bar, as the README shows it."""
    what, how = demo_drill()
    state = before(what, Feedback.BAR)
    at_us = state.columns.bars[-1].start_us + 250_000
    notes = simulated_player(what.plan, np.random.default_rng(1))
    rows = zip(notes.onset_us.tolist(), notes.pitch.tolist(), strict=True)
    for event in [Begin(), *(Note(us, key, 90) for us, key in rows if us < at_us), Elapsed(at_us)]:
        state, _ = step(state, event)
    keys = drill_keys(state.phase, state.feedback)
    return text_of(draw_drill(state, replace(view_of(what, how, UNICODE), height=22, keys=keys, silent=how.silent)))


def text_of(lines: list[Line]) -> str:
    """A picture as it is kept."""
    return "\n".join(plain(lines)) + "\n"


def main() -> None:
    """Write every picture."""
    GOLDEN.mkdir(parents=True, exist_ok=True)
    for width, height in SIZES:
        for name, drawn in pictures(width, height).items():
            (GOLDEN / f"{name}-{width}x{height}.txt").write_text(text_of(drawn), encoding="utf-8")
    head, tail = README.read_text(encoding="utf-8").split(_README_BEFORE)
    README.write_text(head + _README_BEFORE + readme_screen() + tail[tail.index("```") :], encoding="utf-8")
    for page in pages():
        page.write_text(with_screens(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
