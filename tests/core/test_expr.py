"""Formulas: the worked hydraulics and torques, an exact differential, and every way to write one wrong."""

import math
import operator
from fractions import Fraction
from math import ceil, floor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core.enclose import PI, arcsine, cosine, root
from runner.core.expr import Expr, Points, dimension_of, evaluate, parse
from runner.core.units import (
    DIMENSIONS,
    PLAIN,
    UNITS,
    Quantity,
    Typed,
    Unclear,
    parse_quantity,
    show,
)

LENGTH, VOLUME = DIMENSIONS["length"], DIMENSIONS["volume"]


def formula(text: str) -> Expr:
    result = parse(text)
    assert isinstance(result, Expr), result
    return result


def value(text: str, unit: str, places: int, **env: Points) -> str:
    """The value of a formula as a person sees it, checked for its dimension first."""
    expr = formula(text)
    dims = {name: (v[0] if isinstance(v, tuple) else v).dimension for name, v in env.items()}
    result = evaluate(expr, env)
    assert isinstance(result, Quantity), result
    assert dimension_of(expr, dims) == result.dimension
    return show(result, UNITS[unit], places)


def q(text: str, dimension: str) -> Quantity:
    typed = parse_quantity(text, DIMENSIONS[dimension])
    assert isinstance(typed, Typed), typed
    return typed.quantity


def wrong(text: str) -> Unclear:
    result = parse(text)
    assert isinstance(result, Unclear), result
    return result


AREA = "pi * bore^2 / 4"


@pytest.mark.parametrize(
    ("text", "unit", "places", "shown"),
    [
        ("pi * (7/8 * 1 in)^2 / 4", "mm2", 4, "387.9479 mm2"),
        ("pi * (22.225 mm)^2 / 4 * 1 mm", "mL", 6, "0.387948 mL"),
        ("pi * (22.225 mm)^2 / 4 * 15 mm", "mL", 6, "5.819219 mL"),
        ("pi * (22.225 mm)^2 / 4 * 15 mm / 2", "mL", 6, "2.909609 mL"),
        ("pi * (22.225 mm)^2 / 4 * 16.5 mm", "mL", 6, "6.401141 mL"),
        ("pi * (57 mm)^2 / 4", "mm2", 3, "2551.759 mm2"),
        ("pi * (34 mm)^2 / 4", "mm2", 3, "907.920 mm2"),
        ("pi * (3.33 mm)^2 / 4 * 1 m", "mL", 3, "8.709 mL"),
        ("pi * (3.2 mm)^2 / 4", "mm2", 6, "8.042477 mm2"),
        ("pi * (57 mm)^2 / 4 * (8 mm + 8 mm + 2 mm)", "mL", 4, "45.9317 mL"),
        ("2 * pi * (57 mm)^2 / 4 * 18 mm", "mL", 4, "91.8633 mL"),
        ("2 * 2 * pi * (57 mm)^2 / 4 * 9 mm", "mL", 4, "91.8633 mL"),
        ("pi * (34 mm)^2 / 4 * (6 mm + 6 mm + 1 mm)", "mL", 4, "11.8030 mL"),
        ("2 * pi * ((57 mm)^2 * 18 mm + (34 mm)^2 * 13 mm) / 4", "mL", 4, "115.4692 mL"),
        ("120 mL + 2 * pi * (57 mm)^2 / 4 * 18 mm", "mL", 3, "211.863 mL"),
        ("170 mL + 2 * pi * (57 mm)^2 / 4 * 18 mm - 250 mL", "mL", 3, "11.863 mL"),
        ("170 mL + 2 * pi * (57 mm)^2 / 4 * 18 mm - 200 mL", "mL", 3, "61.863 mL"),
        ("800 N / (pi * (22.225 mm)^2 / 4)", "MPa", 5, "2.06213 MPa"),
        ("800 N / (pi * (22.225 mm)^2 / 4)", "bar", 4, "20.6213 bar"),
        ("800 N / (pi * (22.225 mm)^2 / 4)", "psi", 3, "299.087 psi"),
        ("2 * pi * (57 mm)^2 / 4 * 2.0 mm", "mL", 3, "10.207 mL"),
    ],
)
def test_the_worked_brake_hydraulics_come_out_as_computed_from_geometry(
    text: str, unit: str, places: int, shown: str
) -> None:
    assert value(text, unit, places) == shown


def test_seventeen_strokes_lead_from_max_to_just_above_min() -> None:
    stroke = evaluate(formula(f"{AREA} * travel"), {"bore": q("7/8 in", "length"), "travel": q("15 mm", "length")})
    assert isinstance(stroke, Quantity)
    assert value("floor((200 mL - 100 mL) / stroke)", "strokes", 0, stroke=stroke) == "17 strokes"
    assert value("200 mL - 17 * stroke", "mL", 3, stroke=stroke) == "101.073 mL"
    assert value("200 mL - 18 * stroke", "mL", 3, stroke=stroke) == "95.254 mL"
    assert value("floor(100 mL / (1.1 * stroke))", "strokes", 0, stroke=stroke) == "15 strokes"
    assert value("ceil(10.207 mL / stroke)", "strokes", 0, stroke=stroke) == "2 strokes"


CORNERS = [
    ("RR", "5.0", "0.35", "34", "20", "64.5193", "96.7789", 17),
    ("LR", "4.6", "0.35", "34", "20", "61.0356", "91.5534", 16),
    ("RF", "1.9", "0.40", "57", "25", "83.5584", "125.3377", 22),
    ("LF", "1.0", "0.40", "57", "25", "75.7202", "113.5802", 20),
]


@pytest.mark.parametrize(("corner", "tube", "hose", "piston", "depth", "content", "flush", "strokes"), CORNERS)
def test_the_worked_corner_flush_comes_out_as_computed_from_geometry(
    corner: str, tube: str, hose: str, piston: str, depth: str, content: str, flush: str, strokes: int
) -> None:
    branch = f"pi / 4 * ((3.33 mm)^2 * {tube} m + (3.2 mm)^2 * {hose} m + ({piston} mm)^2 * {depth} mm)"
    assert value(branch, "mL", 4) == f"{content} mL", corner
    assert value(f"1.5 * {branch}", "mL", 4) == f"{flush} mL", corner
    per_stroke = "(pi * (22.225 mm)^2 / 4 * 15 mm)"
    assert value(f"ceil(1.5 * {branch} / {per_stroke})", "strokes", 0) == f"{strokes} strokes", corner


def test_the_flush_of_four_corners_balances() -> None:
    assert sum(corner[-1] for corner in CORNERS) == 75
    assert value("75 * pi * (22.225 mm)^2 / 4 * 15 mm", "mL", 4) == "436.4414 mL"
    poured = (q("100 mL", "volume"), q("295.7069 mL", "volume"))
    assert value("200 mL + total of poured - 159.2655 mL", "mL", 4, poured=poured) == "436.4414 mL"


@pytest.mark.parametrize(
    ("factor", "inch_pounds"),
    [("0.3", "72.7"), ("0.25", "60.6"), ("0.2", "48.5"), ("0.15", "36.3"), ("0.1", "24.2")],
)
def test_torque_is_k_d_f_as_in_mechanical_fastening_joining_and_assembly_p_85(factor: str, inch_pounds: str) -> None:
    assert value(f"{factor} * 0.190 in * 1275 lbf", "lbf in", 1) == f"{inch_pounds} lbf in"


@pytest.mark.parametrize(
    ("factor", "shown"),
    [("0.30", "132.01"), ("0.20", "88.01"), ("0.18", "79.21"), ("0.16", "70.41"), ("0.12", "52.81")],
)
def test_m12_8_8_at_75_percent_of_the_iso_898_1_proof_load_needs_this_torque(factor: str, shown: str) -> None:
    assert value(f"{factor} * 12 mm * 75 % * 580 MPa * 84.3 mm2", "N m", 2) == f"{shown} N m"


@pytest.mark.parametrize(
    ("size", "pitch", "area"),
    [
        (6, "1", "20.12"),
        (8, "1.25", "36.61"),
        (10, "1.5", "57.99"),
        (12, "1.75", "84.27"),
        (14, "1.5", "124.55"),
    ],
)
def test_the_stress_area_follows_the_formula_of_iso_898_1(size: int, pitch: str, area: str) -> None:
    assert value(f"pi / 4 * ({size} mm - 0.9382 * {pitch} mm)^2", "mm2", 2) == f"{area} mm2"


def test_the_pedal_travel_of_49_cfr_570_55_c_is_decided_exactly_at_eighty_percent() -> None:
    assert value("(150 mm - 30 mm) / 150 mm", "%", 1) == "80.0 %"
    assert value("(150 mm - 29.9 mm) / 150 mm", "%", 2) == "80.07 %"


def test_the_disc_minimum_and_its_spread_come_from_the_points_around_it() -> None:
    points = tuple(q(f"{text} mm", "length") for text in ("22.41", "22.40", "22.42", "22.405"))
    assert value("min(thickness)", "mm", 3, thickness=points) == "22.400 mm"
    assert value("spread(thickness)", "µm", 0, thickness=points) == "20 µm"
    assert value("mean(thickness)", "mm", 5, thickness=points) == "22.40875 mm"
    assert value("max(thickness, 22.5 mm)", "mm", 1, thickness=points) == "22.5 mm"


def test_points_that_overlap_may_not_differ_at_all() -> None:
    points = tuple(Quantity.between(low, high, UNITS["mm"]) for low, high in (("22.1", "22.3"), ("22.2", "22.4")))
    assert value("spread(t)", "mm", 1, t=points) == "0.0 to 0.3 mm"
    assert value("spread(t)", "mm", 1, t=points[:1]) == "0.0 mm"


def test_a_root_that_is_no_fraction_is_enclosed() -> None:
    result = evaluate(formula("sqrt(2)"), {})
    assert isinstance(result, Quantity)
    assert result.lo**2 < 2 < result.hi**2


def test_temperatures_have_a_mean_and_a_difference_but_no_sum() -> None:
    spots = (q("300 °C", "temperature"), q("320 °C", "temperature"))
    assert value("mean(spots)", "°C", 0, spots=spots) == "310 °C"
    assert value("max(spots) - 300 °C", "K", 0, spots=spots) == "20 K"
    assert value("spread(spots)", "F deg", 0, spots=spots) == "36 F deg"
    assert value("-40 °C - -40 °F", "K", 0) == "0 K"
    for text in ("20 °C + 20 °C", "2 * 20 °C", "total of spots"):
        result = dimension_of(formula(text), {"spots": DIMENSIONS["temperature"]})
        assert isinstance(result, Unclear)
        assert "temperature" in result.why


def test_names_and_totals_are_listed() -> None:
    expr = formula("total of poured - (after@RR - before) * min(a, b) + pi")
    assert expr.names == {"after@RR", "before", "a", "b"}
    assert expr.totals == {"poured"}


@pytest.mark.parametrize(
    ("text", "same_as"),
    [
        ("2 + 3 * 4", "14"),
        ("2 * 3 + 4", "10"),
        ("-2^2", "-4"),
        ("(-2)^2", "4"),
        ("2 * -3", "-6"),
        ("--2", "2"),
        ("12 / 3 / 2", "2"),
        ("9 - 4 - 3", "2"),
        ("2^-2", "0.25"),
        ("6 ÷ 4 × 2 − 1", "2"),
        ("floor(-7 / 2)", "-4"),
        ("ceil(7 / 2)", "4"),
        ("abs(3 - 5)", "2"),
        ("sqrt(2.25)", "1.5"),
        ("min(3, 1, 2) + max(3, 1, 2)", "4"),
        ("50 % * 4", "2"),
    ],
)
def test_operators_bind_as_in_school(text: str, same_as: str) -> None:
    assert evaluate(formula(text), {}) == evaluate(formula(same_as), {})


@pytest.mark.parametrize(
    ("text", "column", "why"),
    [
        ("", 0, "empty"),
        ("2 +", 3, "missing at the end"),
        ("* 2", 0, "missing before '*'"),
        ("(1 + 2", 0, "not closed"),
        ("1 + 2)", 5, "never opened"),
        ("a b", 2, "operator is missing before 'b'"),
        ("2 mm 3", 5, "operator is missing before '3'"),
        ("bore mm", 5, "unit 'mm' stands after something"),
        ("2 ** 3", 2, "'**' is not taken"),
        ("2^3^2", 3, "two powers"),
        ("2^x", 2, "whole number"),
        ("2^0.5", 2, "whole number"),
        ("2^13", 2, "whole number"),
        ("x²", 1, "not taken as a power"),
        ("25 mm^2", 0, "two ways"),
        ("7/8 in", 0, "two ways"),
        ("0,5 * x", 1, "comma stands only"),
        ("sqrt(0,5)", 0, "takes one value"),
        ("1e3", 0, "cannot be read as a number"),
        ("1.2.3", 0, "cannot be read as a number"),
        ("x + 25 ft lb", 7, "'ft lb' can mean more than one thing"),
        ("3 lb", 2, "'lb' can mean more than one thing"),
        ("3 furlongs", 2, "'furlongs' is not known"),
        ("foo(3)", 0, "no function"),
        ("min", 0, "word of formulas"),
        ("min()", 4, "missing before ')'"),
        ("total of 3", 9, "name is missing"),
        ("total of pi", 9, "name is missing"),
        ("total 3", 0, "word of formulas"),
        ("x & y", 2, "no place in a formula"),
        ("__import__('os')", 11, "no place in a formula"),
        ("x.real", 1, "no place in a formula"),
        ("٣ + 1", 0, "not a plain digit"),
    ],
)
def test_a_formula_that_is_not_clear_says_where_and_why(text: str, column: int, why: str) -> None:
    result = wrong(text)
    assert (result.column, why in result.why) == (column, True), result
    assert result.help


def test_a_call_of_anything_but_the_listed_functions_is_refused() -> None:
    assert "no function" in wrong("eval(1)").why
    assert "did you mean sqrt" in wrong("sqr(4)").help


@pytest.mark.parametrize("text", ["(" * 10_000 + "1" + ")" * 10_000, "-" * 10_000 + "1", "1+" * 5_000 + "1"])
def test_a_formula_ten_thousand_deep_is_refused_and_not_a_crash(text: str) -> None:
    assert "2000 characters" in wrong(text).why


def test_brackets_sixty_deep_are_the_limit() -> None:
    assert "nested" in wrong("(" * 61 + "1" + ")" * 61).why
    assert "nested" in wrong("-" * 61 + "1").why
    assert evaluate(formula("(" * 59 + "1" + ")" * 59), {}) == evaluate(formula("1"), {})
    assert evaluate(formula("1" + "+1" * 999), {}) == evaluate(formula("1000"), {})


def test_numbers_that_grow_without_end_are_stopped() -> None:
    result = evaluate(formula("((((9^12)^12)^12)^12)^12"), {})
    assert isinstance(result, Unclear)
    assert "too many digits" in result.why


@pytest.mark.parametrize(
    ("text", "column", "why"),
    [
        ("1 mm + 2 °C", 5, "length and temperature cannot be added"),
        ("depth - 3 mL", 6, "length and volume cannot be subtracted"),
        ("max(depth, 3)", 0, "length and plain number cannot be compared"),
        ("floor(depth)", 0, "depends on its unit"),
        ("sqrt(depth)", 0, "no square root"),
        ("2 * dept", 4, "'dept' is not known here"),
        ("total of pourd", 0, "'pourd' is not known here"),
    ],
)
def test_a_wrong_dimension_is_found_without_any_value(text: str, column: int, why: str) -> None:
    result = dimension_of(formula(text), {"depth": LENGTH, "poured": VOLUME})
    assert isinstance(result, Unclear)
    assert (result.column, why in result.why) == (column, True), result


@pytest.mark.parametrize(
    ("text", "column", "why"),
    [
        ("1 / level", 2, "may be zero"),
        ("level^-1", 5, "may be zero"),
        ("sqrt(level)", 0, "negative"),
        ("points * 2", 7, "several points"),
        ("points", 0, "several points"),
        ("min(none)", 0, "no points"),
        ("total of none", 0, "no value yet"),
        ("absent + 1", 0, "no value yet"),
    ],
)
def test_a_value_that_cannot_be_computed_says_where_and_why(text: str, column: int, why: str) -> None:
    one = Quantity(Fraction(1), Fraction(1), PLAIN)
    env: dict[str, Points] = {
        "level": Quantity(Fraction(-1), Fraction(1), PLAIN),
        "points": (one, one),
        "none": (),
    }
    result = evaluate(formula(text), env)
    assert isinstance(result, Unclear)
    assert (result.column, why in result.why) == (column, True), result


def test_a_total_given_by_name_wins_over_the_sum() -> None:
    seven = Quantity(Fraction(7), Fraction(7), PLAIN)
    assert evaluate(formula("total of x"), {"total of x": seven, "x": (seven, seven)}) == seven
    assert dimension_of(formula("total of x"), {"total of x": VOLUME}) == VOLUME


@given(st.text(max_size=80))
def test_no_text_breaks_the_reading_of_formulas(text: str) -> None:
    result = parse(text)
    assert isinstance(result, Expr) or 0 <= result.column <= len(text)


@given(st.lists(st.sampled_from(["1", "2.5 mm", "x", "pi", "min", "(", ")", "^", "-", "*", "/", ",", "total of"])))
def test_no_order_of_words_breaks_reading_or_evaluation(words: list[str]) -> None:
    expr = parse(" ".join(words))
    if isinstance(expr, Expr):
        dimension_of(expr, {"x": LENGTH})
        evaluate(expr, {"x": Quantity(Fraction(-1), Fraction(2), LENGTH)})


# A tree renders to text with all its brackets, and has its value by plain arithmetic.
Tree = tuple[str, Fraction | None]
NAMES = {"a": Fraction(7, 3), "b": Fraction(-5, 2), "c": Fraction(11)}
leaves = st.one_of(
    st.integers(0, 50).map(lambda n: (str(n), Fraction(n))),
    st.sampled_from(sorted(NAMES)).map(lambda name: (name, NAMES[name])),
)
BY_SIGN = {"+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv}


def joined(parts: tuple[Tree, str, Tree]) -> Tree:
    (left, x), sign, (right, y) = parts
    known = x is not None and y is not None and not (sign == "/" and y == 0)
    return f"({left}) {sign} ({right})", BY_SIGN[sign](x, y) if known else None


def called(parts: tuple[str, Tree, Tree]) -> Tree:
    name, (left, x), (right, y) = parts
    if x is None or y is None:
        return f"{name}({left}, {right})", None
    result = {"min": min(x, y), "max": max(x, y), "mean": (x + y) / 2, "spread": abs(x - y)}[name]
    return f"{name}({left}, {right})", result


def single(parts: tuple[str, Tree]) -> Tree:
    name, (inner, x) = parts
    by_name = {"floor": floor, "ceil": ceil, "abs": abs, "-": operator.neg}
    return f"{name}({inner})", None if x is None else Fraction(by_name[name](x))


trees = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from("+-*/"), inner).map(joined),
        st.tuples(st.sampled_from(["min", "max", "mean", "spread"]), inner, inner).map(called),
        st.tuples(st.sampled_from(["floor", "ceil", "abs", "-"]), inner).map(single),
    ),
    max_leaves=12,
)


@settings(max_examples=200)
@given(trees)
def test_a_formula_of_exact_values_has_the_exact_value_of_plain_arithmetic(tree: Tree) -> None:
    text, expected = tree
    result = evaluate(formula(text), {name: Quantity(number, number, PLAIN) for name, number in NAMES.items()})
    if expected is None:
        assert isinstance(result, Unclear)
    else:
        assert result == Quantity(expected, expected, PLAIN)


@settings(max_examples=200)
@given(trees, st.fractions(0, 2, max_denominator=50), st.fractions(0, 2, max_denominator=50))
def test_a_formula_of_uncertain_values_holds_the_true_value(tree: Tree, below: Fraction, above: Fraction) -> None:
    text, expected = tree
    env: dict[str, Points] = {name: Quantity(n - below, n + above, PLAIN) for name, n in NAMES.items()}
    result = evaluate(formula(text), env)
    if expected is not None and isinstance(result, Quantity):
        assert result.lo <= expected <= result.hi


terms = st.recursive(
    st.sampled_from(["x", "v", "2", "3 mm", "5 mL", "n"]),
    lambda inner: st.tuples(inner, st.sampled_from("+-*/"), inner).map(lambda t: f"({t[0]}) {t[1]} ({t[2]})"),
    max_leaves=6,
)


@given(terms)
def test_the_dimension_without_values_is_that_of_the_value(text: str) -> None:
    env: dict[str, Points] = {
        "x": q("7 mm", "length"),
        "v": q("9 mL", "volume"),
        "n": Quantity(Fraction(13), Fraction(13), PLAIN),
    }
    dims = {"x": LENGTH, "v": VOLUME, "n": PLAIN}
    known, result = dimension_of(formula(text), dims), evaluate(formula(text), env)
    if isinstance(result, Quantity):
        assert known == result.dimension
    else:
        assert isinstance(known, Unclear) or "zero" in result.why


def test_pi_lies_in_its_enclosure_by_machins_formula() -> None:
    def arctan_of_inverse(n: int) -> Fraction:
        return sum((Fraction((-1) ** k, (2 * k + 1) * n ** (2 * k + 1)) for k in range(50)), Fraction(0))

    machin = 4 * (4 * arctan_of_inverse(5) - arctan_of_inverse(239))
    assert PI[0] < machin < PI[1]
    assert PI[1] - PI[0] < Fraction(1, 10**30)


@given(st.fractions(min_value=0, max_denominator=10**9))
def test_a_root_lies_in_its_enclosure(square: Fraction) -> None:
    low, high = root(square)
    assert low**2 <= square <= high**2
    assert high - low <= low / 10**30
    assert root(square**2) == (square, square)


@given(st.fractions(-720, 720, max_denominator=1000))
def test_a_cosine_lies_in_its_enclosure(degrees: Fraction) -> None:
    # cos 2a = 2 cos^2 a - 1 leaves no other function of this size.
    low, high = cosine(degrees, degrees)
    twice = cosine(2 * degrees, 2 * degrees)
    squares = sorted((low**2, high**2))
    least = Fraction(0) if low < 0 < high else squares[0]
    assert -1 <= low <= high <= 1
    assert high - low < Fraction(1, 10**30)
    assert 2 * least - 1 <= twice[1]
    assert twice[0] <= 2 * squares[1] - 1


def test_the_known_cosines_are_exact() -> None:
    known = {
        0: 1,
        60: Fraction(1, 2),
        90: 0,
        120: Fraction(-1, 2),
        180: -1,
        270: 0,
        360: 1,
        -60: Fraction(1, 2),
    }
    for degrees, expected in known.items():
        assert cosine(Fraction(degrees), Fraction(degrees)) == (expected, expected)
    assert cosine(Fraction(170), Fraction(190))[0] == -1
    assert cosine(Fraction(-10), Fraction(10))[1] == 1


@given(st.fractions(min_value=-1, max_value=1, max_denominator=10**6))
def test_an_angle_lies_between_the_bounds_of_its_sine(sine: Fraction) -> None:
    """Against the C library's asin, which is good to about 1e-15 (IEC 60559 doubles)."""
    low, high = arcsine(sine)
    assert low <= high <= low + Fraction(1, 10**4)
    assert float(low) - 1e-9 <= math.degrees(math.asin(sine)) <= float(high) + 1e-9
    assert cosine(90 - low, 90 - low)[0] <= sine <= cosine(90 - high, 90 - high)[1]


@pytest.mark.parametrize(
    ("text", "least", "most"),
    [
        ("sin(30°)", "0.5", "0.5"),
        ("asin(0.5) / 1°", "29.99999999", "30.00000001"),
        # 0.2 degrees at a rim of 15 in: 381 mm x 0.00349065 = 1.32994 mm, by a table of natural sines.
        ("15 in * sin(0.2°) / 1 mm", "1.32993", "1.32995"),
        ("asin(1.33 mm / 15 in) / 1°", "0.20000", "0.20002"),
    ],
)
def test_sines_lead_from_an_angle_to_a_length_and_back(text: str, least: str, most: str) -> None:
    expr = parse(text)
    assert isinstance(expr, Expr)
    value = evaluate(expr, {})
    assert isinstance(value, Quantity)
    assert Fraction(least) <= value.lo <= value.hi <= Fraction(most)


@pytest.mark.parametrize("text", ["sin(0.5)", "asin(30°)", "asin(2)", "asin(1 mm)"])
def test_a_sine_of_what_is_no_angle_is_told(text: str) -> None:
    expr = parse(text)
    assert isinstance(expr, Expr)
    assert isinstance(evaluate(expr, {}), Unclear) or isinstance(dimension_of(expr, {}), Unclear)
