"""Sources: RFC 8785 (JSON Canonicalization Scheme), its package rfc8785 as the differential; vectors recalled."""

import json
import math

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from runner.core.canonical import SAFE, canonical, is_canonical, replace_surrogates

ANY_TEXT = st.text(st.characters(codec="utf-8"))  # control, bidirectional, private use, beyond U+FFFF, everything
ODD_KEYS = st.one_of(
    st.text(), st.text('aZ_\x00\x1f\x7f"\\/\u2028\ud7ff\ue000\ufb33\uffff\U00010000\U0001f600', max_size=3)
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-SAFE, SAFE) | ANY_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ODD_KEYS, inner, max_size=5),
    max_leaves=20,
)


@given(JSON)
def test_the_canonical_form_is_that_of_rfc_8785(value):
    written = canonical(value)
    assert written == rfc8785.dumps(value)
    assert is_canonical(written + b"\n")
    assert json.loads(written) == value


@given(st.dictionaries(ODD_KEYS, st.integers(0, 9), min_size=2, max_size=6))
def test_keys_in_any_other_order_are_not_canonical(value):
    backwards = dict(reversed(list(json.loads(canonical(value)).items())))
    turned = json.dumps(backwards, ensure_ascii=False, separators=(",", ":")).encode()
    assert not is_canonical(turned + b"\n")


def test_text_is_escaped_as_in_the_sample_of_section_3_2_2():
    text = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"  # recalled
    assert canonical({"string": text, "literals": [None, True, False]}) == (
        '{"literals":[null,true,false],"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'.encode()
    )


def test_keys_are_sorted_as_in_the_sample_of_section_3_2_3():
    sample = {  # recalled
        "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\U0001f600": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis",
    }  # fmt: skip
    assert list(json.loads(canonical(sample)).values()) == [
        "Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign",
        "Emoji: Grinning Face", "Hebrew Letter Dalet With Dagesh",
    ]  # fmt: skip


@pytest.mark.parametrize("value", [0.0, 1.5, -0.0, math.nan, math.inf, b"bytes", {1, 2}, object()])
def test_what_json_cannot_keep_exactly_is_refused_with_its_place(value):
    with pytest.raises(TypeError, match=r"^\$\.readings\[1\]: a value of type"):
        canonical({"readings": ["1.5", value]})


@pytest.mark.parametrize("value", [SAFE + 1, -SAFE - 1, 10**40])
def test_a_whole_number_beyond_the_safe_range_is_refused_with_its_place(value):
    with pytest.raises(ValueError, match=r"^\$\.count: .* is beyond 9007199254740991"):
        canonical({"count": value})


def test_a_key_that_is_not_text_is_refused():
    with pytest.raises(TypeError, match=r"^\$: the key 7 is not text"):
        canonical({7: "seven"})


@pytest.mark.parametrize(
    "line",
    [b"1.5", b"1e3", b"-0", b" 1", b"1 ", b'{"b":1,"a":2}', b'{"a":1,"a":1}', b'"\\u0041"', b'"\\/"', b'"\xff"', b"{",
     b"[" * 100_000, b"NaN", b'"\\ud800"', b'"\\u000F"', b"", b"1\n\n2"],
)  # fmt: skip
def test_a_line_written_in_any_other_way_is_not_canonical(line):
    assert not is_canonical(line + b"\n")


@given(st.text(st.characters(categories=["Cs", "Lu", "Co"])))
def test_lone_surrogates_are_written_out_and_the_rest_stays(text):
    replaced = replace_surrogates(text)
    assert replaced == "".join(f"\\u{ord(c):x}" if "\ud800" <= c <= "\udfff" else c for c in text)
    assert replace_surrogates(replaced) == replaced


def test_two_keys_that_read_alike_once_written_are_refused():
    with pytest.raises(ValueError, match="expected each key once"):
        canonical({"\ud800": 1, "\\ud800": 2})
