"""Vehicle identification numbers: the regulation's example, and what its check digit can and cannot see."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.vin import check, check_digit

# 49 CFR 565.15 Table III, written out once more so that the module does not check itself.
SAME_VALUE = ("1AJ", "2BKS", "3CLT", "4DMU", "5ENV", "6FW", "7GPX", "8HY", "9RZ", "0")
VALUE = {char: index for index, group in enumerate(SAME_VALUE) for char in group}
CHARACTERS = "".join(SAME_VALUE)

vins = st.text(alphabet=CHARACTERS, min_size=17, max_size=17).map(lambda text: text[:8] + check_digit(text) + text[9:])
elsewhere = st.integers(0, 16).filter(lambda position: position != 8)


def test_the_example_of_49_cfr_565_15_table_vi_has_check_digit_4() -> None:
    result = check("1G4AH59H45G118341")
    assert (result.expected, result.got, result.warning, result.problems) == ("4", "4", "", ())


@pytest.mark.parametrize(
    ("vin", "expected"),
    [
        ("1G4AH59HX5G118344", "X"),
        ("1M8GDM9AXKP042788", "X"),
        ("11111111111111111", "1"),
        ("5GZCZ43D13S812715", "1"),
    ],
)
def test_published_and_derived_examples_agree_with_their_check_digit(vin: str, expected: str) -> None:
    assert check(vin).expected == expected
    assert check(vin).warning == ""


def test_a_wrong_check_digit_is_a_warning_and_not_a_refusal() -> None:
    result = check("1G4AH59H45G118331")
    assert (result.expected, result.got) == ("1", "4")
    assert result.well_formed
    assert "is 4, but 1 agrees" in result.warning
    assert "outside North America" in result.warning


def test_a_vin_is_read_back_in_groups_of_3_5_1_8() -> None:
    result = check(" 1g4-ah59h 4-5g118341\n")
    assert result.normalised == "1G4AH59H45G118341"
    assert result.groups == "1G4 AH59H 4 5G118341"


@pytest.mark.parametrize(("letter", "likely"), [("I", "1"), ("O", "0"), ("Q", "0"), ("o", "0")])
def test_i_o_and_q_are_named_at_their_position(letter: str, likely: str) -> None:
    result = check("1G4AH59H45G1183" + letter + "1")
    (problem,) = result.problems
    assert problem.position == 16
    assert likely in problem.help
    assert (result.expected, result.got, result.warning) == (None, None, "")


@pytest.mark.parametrize("char", ["\u0131", "\uff21", "\u0410", "\u0661", "\u00e9", "*", "\x1b"])
def test_a_look_alike_from_another_alphabet_is_named_at_its_position(char: str) -> None:
    (problem,) = check("1G4AH59H45G1183" + char + "1").problems
    assert problem.position == 16
    assert problem.why.isprintable()


@pytest.mark.parametrize("text", ["", "1G4AH59H45G11834", "1G4AH59H45G1183411", "1" * 10_000])
def test_a_number_that_is_not_17_long_says_how_long_it_is(text: str) -> None:
    result = check(text)
    assert result.problems[0].position == 0
    assert f"this has {len(text)}" in result.problems[0].why
    assert len(result.problems) <= 2


@given(vins)
def test_a_number_with_its_check_digit_brings_no_warning(vin: str) -> None:
    result = check(vin)
    assert (result.problems, result.warning, result.expected) == ((), "", vin[8])


@given(vins, elsewhere, st.sampled_from(CHARACTERS))
def test_a_single_wrong_character_is_missed_if_and_only_if_its_value_is_equal(
    vin: str, position: int, wrong: str
) -> None:
    result = check(vin[:position] + wrong + vin[position + 1 :])
    assert (result.warning == "") == (VALUE[wrong] == VALUE[vin[position]])


@given(vins, st.integers(0, 15).filter(lambda position: position not in (7, 8)))
def test_two_neighbours_swapped_are_missed_if_and_only_if_their_values_are_equal(vin: str, position: int) -> None:
    one, other = vin[position], vin[position + 1]
    result = check(vin[:position] + other + one + vin[position + 2 :])
    assert (result.warning == "") == (VALUE[one] == VALUE[other])


def test_39_of_512_single_slips_in_a_published_example_are_missed() -> None:
    vin = "1M8GDM9AXKP042788"
    slips = [
        vin[:position] + char + vin[position + 1 :]
        for position in range(17)
        if position != 8
        for char in CHARACTERS
        if char != vin[position]
    ]
    assert len(slips) == 512
    assert sum(check(slip).warning == "" for slip in slips) == 39


@given(st.text(max_size=60))
def test_no_text_breaks_the_check(text: str) -> None:
    result = check(text)
    assert result.well_formed == (result.expected is not None)
