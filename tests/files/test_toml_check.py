"""Line numbers, collected mistakes, and TOML text."""

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.errors import SetFileError
from heeltap.files.toml.check import Check, line_numbers, toml_text

TEXT = """\
title = "x"
[[section]]
name = "a"
bars = [
  "1 2",
  # a remark
  ["1", "2"],
]
[[section]]
name = "b"
[section.deep]
key = 1
"""


def test_lines_of_headers_keys_and_list_items() -> None:
    """What stands on a line of its own is found by its path."""
    found = line_numbers(TEXT)

    assert (1, 2, 3, 4) == tuple(
        found[path] for path in (("title",), ("section", 0), ("section", 0, "name"), ("section", 0, "bars"))
    )
    assert (5, 7) == (found["section", 0, "bars", 0], found["section", 0, "bars", 1])
    assert (10, 12) == (found["section", 1, "name"], found["section", 1, "deep", "key"])


def test_all_mistakes_are_told_at_once_with_their_lines() -> None:
    """Three slips, three lines, one message on one line."""
    check = Check("week.toml", TEXT)

    check.only(check.document, (), ("titel", "section"))
    check.number(check.document["section"][1]["deep"], ("section", 1, "deep"), "key", low=5, high=9)
    check.text(check.document["section"][0], ("section", 0), "bars")

    with pytest.raises(SetFileError) as caught:
        check.finish()
    told = str(caught.value)
    assert told.startswith("week.toml: 3 mistakes: [1] line 1, title: key 'title'; expected one of titel, section")
    assert "(nearest: titel)" in told
    assert "[2] line 12, section[2].deep.key: 1; expected a number from 5 to 9" in told
    assert "[3] line 4, section[1].bars:" in told
    assert "\n" not in told


def test_one_mistake_is_told_without_a_count() -> None:
    """A missing key has the line of its table."""
    check = Check("week.toml", TEXT)

    assert "" == check.text(check.document["section"][1], ("section", 1), "aim")
    with pytest.raises(
        SetFileError, match=r"^week.toml: line 9, section\[2\].aim: nothing; expected a text in quotes$"
    ):
        check.finish()


def test_nothing_wrong_is_no_error() -> None:
    """A document without a mistake passes."""
    Check("x", TEXT).finish()


@pytest.mark.parametrize("text", ["a = ", "[", "a = 1\na = 2", "\x00", "a = " + "[" * 4_000])
def test_what_is_not_toml_is_refused_in_one_line(text: str) -> None:
    """Broken TOML, doubled keys, control characters, absurd nesting: never a traceback of another kind."""
    with pytest.raises(SetFileError, match="not TOML") as caught:
        Check("x.toml", text)
    assert "\n" not in str(caught.value)


def test_a_huge_file_is_refused_before_it_is_read() -> None:
    """Half a million characters are no exercise."""
    with pytest.raises(SetFileError, match="500,001 characters"):
        Check("x.toml", " " * 500_001)


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("a." * 2_400 + "a = 1", "a key of many parts; expected at most 50"),
        ("[" + "a." * 2_400 + "a]", "a key of many parts"),
        ("[[" + " a . " * 900 + "a]]", "a key of many parts"),
        ("x = { " + '"a".' * 1_200 + "a = 1 }", "a key of many parts"),
        ("a = " + "9" * 5_001, "5,005 characters; expected at most 5,000 in a line"),
        ("a" * 5_001, "5,001 characters"),
        ("a = " + "9" * 4_900, "not TOML"),
    ],
)
def test_what_would_cost_minutes_is_refused_before_it_is_parsed(line: str, found: str) -> None:
    """Deep keys in every form, long lines, numbers of thousands of digits: a line with its number, within milliseconds."""
    with pytest.raises(SetFileError, match=re.escape(found)) as caught:
        Check("x.toml", f"ok = 1\n{line}\n")
    assert found == "not TOML" or str(caught.value).startswith("x.toml, line 2: ")


@pytest.mark.parametrize(
    "text", ['a = "' + "one. two. " * 20 + '"', "a.b.c.d = 1", "x = 1.5 # v1.2.3.4.5.6.7", '"1.2" = 3']
)
def test_dots_that_are_no_depth_pass(text: str) -> None:
    """Sentences, versions and a few tables in each other."""
    assert [] == Check("x.toml", text).mistakes


def test_after_a_hundred_mistakes_heeltap_looks_no_further() -> None:
    """A file of nothing but unknown keys is told in a hundred lines."""
    check = Check("x.toml", "\n".join(f"key{number} = 1" for number in range(2_000)))
    with pytest.raises(SetFileError) as caught:
        check.only(check.document, (), ("format", "title"))

    assert 101 == len(caught.value.mistakes)
    assert "that is 100 mistakes; heeltap looked no further" == caught.value.mistakes[-1]


@pytest.mark.parametrize("value", [True, "x", float("nan"), float("inf"), 10, None])
def test_a_number_is_finite_and_within_bounds(value: object) -> None:
    """Flags, texts, NaN, infinity and what lies outside are mistakes; the lower bound stands in."""
    check = Check("x", "")

    assert 1.0 == check.number({"key": value}, (), "key", low=1, high=9)
    assert len(check.mistakes) == 1


words = st.text(st.characters(exclude_categories=["Cs"]))


@given(words | st.integers() | st.booleans() | st.floats(allow_nan=False) | st.lists(words | st.integers()))
def test_toml_text_reads_back(value: object) -> None:
    """Any text, number, flag or list of them survives."""
    assert value == tomllib.loads(f"key = {toml_text(value)}")["key"]


def test_half_a_surrogate_pair_can_still_be_written() -> None:
    """A file name that is no text gives a file that can be read."""
    assert "a\ufffdb" == tomllib.loads("key = " + toml_text("a\ud800b"))["key"]
