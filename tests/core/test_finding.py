"""Findings are placed, ordered, bounded and safe to show."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.finding import Finding, Place, clean, excerpt, line_of, listed, nearest, quote

HERE = Place("brakes.yaml", 41, 7)
# Unicode Standard Annex #9 (bidi controls); General Punctuation chart (zero-width characters).
HOSTILE = "\x00\x07\x1b\x7f\x85\x9b\u061c\u200b\u200c\u200d\u200e\u200f\u202a\u202e\u2066\u2069\u2060\ufeff\u00ad"


def finding(text: str = "no path reaches step 'wash'", line: int = 41, **more: object) -> Finding:
    return Finding(place=Place("brakes.yaml", line, 7), check="orphan", text=text, **more)


def test_a_finding_is_one_line_with_its_place_its_words_and_its_check() -> None:
    assert line_of(finding()) == "brakes.yaml:41:7: no path reaches step 'wash' [orphan]"


def test_help_trail_and_other_places_stand_below_the_line() -> None:
    shown = finding(help="lead an exit to it", trail=("raise", "wheel off"), related=((HERE, "it is here"),))
    assert line_of(shown).splitlines()[1:] == [
        "  brakes.yaml:41:7: it is here",
        "  1. raise",
        "  2. wheel off",
        "  help: lead an exit to it",
    ]


def test_advice_and_warnings_say_that_they_are() -> None:
    assert line_of(finding(severity="advice")).startswith("brakes.yaml:41:7: advice: no path")
    assert line_of(finding(severity="warning")).startswith("brakes.yaml:41:7: warning: no path")


def test_an_author_cannot_forge_a_second_line_of_a_finding() -> None:
    assert "\n" not in line_of(finding("x\nbrakes.yaml:1:1: all is well\x1b[2K"))
    assert "\x1b" not in line_of(finding("x\x1b[2K"))


def test_places_are_in_order_of_file_line_and_column() -> None:
    assert sorted([Place("b", 1, 1), Place("a", 10, 1), Place("a", 2, 9), Place("a", 2, 10)]) == [
        Place("a", 2, 9),
        Place("a", 2, 10),
        Place("a", 10, 1),
        Place("b", 1, 1),
    ]


def test_findings_are_listed_in_order_of_place_each_once() -> None:
    assert [each.place.line for each in listed([finding(line=3), finding(line=1), finding(line=3)])] == [1, 3]


def test_past_the_limit_of_a_file_the_rest_is_counted() -> None:
    shown = listed([finding(line=line) for line in range(1, 1001)])
    assert len(shown) == 201
    assert line_of(shown[-1]).splitlines()[0] == "brakes.yaml:201:7: and 800 more in this file [more]"


def test_errors_among_the_counted_rest_keep_it_an_error() -> None:
    many = [finding(line=line, severity="advice") for line in range(1, 4)]
    assert listed(many, 1)[-1].severity == "advice"
    assert listed([*many, finding(line=9)], 1)[-1].severity == "error"


def test_hostile_characters_are_gone_from_clean_text() -> None:
    assert clean(f"a{HOSTILE}b") == "ab"


def test_a_lone_surrogate_becomes_the_replacement_character() -> None:
    assert clean("a\ud800b") == "a\ufffdb"


def test_paragraphs_survive_cleaning_and_tabs_become_spaces() -> None:
    assert clean("a\r\nb\rc\u2028d\te") == "a\nb\nc\nd e"


@given(st.text(st.characters()))
def test_clean_text_holds_no_control_and_stays_as_it_is_when_cleaned_again(text: str) -> None:
    cleaned = clean(text)
    assert clean(cleaned) == cleaned
    assert all(char == "\n" or unicodedata.category(char) not in {"Cc", "Cs"} for char in cleaned)
    cleaned.encode()  # no surrogate is left


@given(st.text("aé ½Ω°µ→-:#'[]{}", max_size=40))
def test_ordinary_text_is_not_touched(text: str) -> None:
    assert clean(text) == text


def test_a_long_quotation_is_cut_in_the_middle() -> None:
    assert quote("a" * 1_000_000 + "z", 11) == "'aaaaa…aaaaz'"
    assert quote("a\nb") == "'a b'"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("need", "needs"),
        ("Needs", "needs"),
        ("hose_on", "hose-on"),
        ("brake", None),
        ("", None),
        ("x" * 999, None),
    ],
)
def test_the_nearest_known_word_is_offered_and_no_other(typed: str, meant: str | None) -> None:
    assert nearest(typed, ["needs", "hose-on", "makes"]) == meant


def test_an_excerpt_marks_the_place_with_a_caret() -> None:
    assert excerpt("a: 1\r\nneed: [x]\r\n", Place("f", 2, 1)) == "2 | need: [x]\n  | ^"
    assert excerpt("a: 1\nneed: [x]\n", Place("f", 2, 7)) == "2 | need: [x]\n  |       ^"


def test_an_excerpt_expands_tabs_and_counts_wide_letters_twice() -> None:
    assert excerpt("\tx\ty", Place("f", 1, 4)) == "1 |     x   y\n  |         ^"
    assert excerpt("日本x", Place("f", 1, 3)) == "1 | 日本x\n  |     ^"


def test_an_excerpt_shows_controls_and_bidi_characters_as_their_numbers() -> None:
    assert excerpt("a\x1b\u202eb", Place("f", 1, 4)) == "1 | a<U+001B><U+202E>b\n  |                  ^"


def test_an_excerpt_of_a_long_line_is_a_window_around_the_place() -> None:
    line, caret = excerpt("x" * 5000 + "!" + "y" * 5000, Place("f", 1, 5001)).splitlines()
    assert len(line) < 120
    assert line[caret.index("^")] == "!"


@given(st.text(st.characters(), max_size=300), st.integers(-3, 9), st.integers(-3, 400))
def test_an_excerpt_of_any_text_at_any_place_is_two_safe_lines_or_none(text: str, line: int, column: int) -> None:
    shown = excerpt(text, Place("f", line, column))
    assert shown.count("\n") == bool(shown)
    assert clean(shown) == shown
