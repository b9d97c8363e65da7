"""The report as a page: the same bytes each time, names as text, and everything that the text report says."""

from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from heeltap import score_file
from heeltap.model.result import Result
from heeltap.views.charts import offset_chart
from heeltap.views.document import document_of
from heeltap.views.html import to_html

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.fixture(scope="module")
def result() -> Result:
    """The demo's first take."""
    return score_file(DEMO / "tollgate-road-take-1.mid", part="keys", plan=DEMO / "tollgate-road.mid", pocket_ms=20)


def test_the_same_result_gives_the_same_page(result: Result) -> None:
    """No date, no random salt: a report can be compared with an older one."""
    assert to_html(result) == to_html(result)
    assert offset_chart(result, kind="png") == offset_chart(result, kind="png")


def test_names_are_text_never_markup(result: Result) -> None:
    """A file named like a tag is shown, not obeyed."""
    page = to_html(replace(result, file="<script>alert(1)</script>", part="<b>"))

    assert "<script>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_the_page_says_what_the_document_says(result: Result) -> None:
    """Every sentence, list entry and table cell of the report stands on the page."""
    page = unescape(to_html(result))
    document = document_of(result)
    said = [*document.trust.entries]
    for half in document.halves:
        said += [half.title, *half.sentences, *(entry for listing in half.lists for entry in listing.entries)]
        said += [cell for table in half.tables for row in table.rows for cell in row]

    assert [] == [text for text in said if text not in page]


def test_a_take_without_notes_still_makes_a_page(result: Result) -> None:
    """Nothing judged is a page that says so."""
    empty = replace(result, notes=(), by_beat=(), by_division=(), by_section=(), overall=replace(result.overall, n=0))

    assert "No stroke of this take can be judged." in to_html(empty)


def test_one_stroke_is_not_nothing(result: Result) -> None:
    """One stroke has an average and no scatter: the page says how little that is, and not that there was none."""
    one = replace(result, overall=replace(result.overall, n=1, spread_ms=None, bias_ci95_ms=None))
    page = to_html(one)

    assert "Only 1 stroke can be judged: too few to tell your average and your spread" in page
    assert "Nothing was played" not in page
