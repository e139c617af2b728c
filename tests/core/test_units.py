"""Units, typed values and exact text; pint is the oracle for every factor."""

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.units import (
    DIMENSIONS,
    PLAIN,
    UNITS,
    DimensionError,
    Quantity,
    Typed,
    Unclear,
    Unit,
    decimal_out,
    from_text,
    parse_quantity,
    parse_unit,
    show,
    to_text,
    units_of,
)

LENGTH, TORQUE, VOLUME = DIMENSIONS["length"], DIMENSIONS["torque"], DIMENSIONS["volume"]
MM = UNITS["mm"]

# Our symbol -> the oracle's words.
PINT = {
    "mm": "mm", "m": "m", "cm": "cm", "km": "km", "µm": "um", "in": "inch", "mil": "thou", "ft": "foot",
    "mi": "mile", "mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "in2": "inch**2", "mL": "mL", "L": "L",
    "m3": "m**3", "mm3": "mm**3", "in3": "inch**3", "US fl oz": "fluid_ounce", "US pt": "pint",
    "US qt": "quart", "US gal": "gallon", "imp fl oz": "imperial_fluid_ounce", "imp pt": "imperial_pint",
    "imp qt": "imperial_quart", "imp gal": "imperial_gallon", "mL/min": "mL/min", "mL/s": "mL/s",
    "L/min": "L/min", "L/h": "L/h", "km/h": "km/h", "m/s": "m/s", "mm/s": "mm/s", "mph": "mile/hour",
    "m/s2": "m/s**2", "mm2/s": "mm**2/s", "kg": "kg", "g": "g", "mg": "mg", "lbm": "lb", "g/mL": "g/mL",
    "kg/m3": "kg/m**3", "N": "N", "kN": "kN", "lbf": "lbf", "ozf": "force_ounce", "kgf": "kgf", "N m": "N*m",
    "lbf ft": "lbf*foot", "lbf in": "lbf*inch", "ozf in": "force_ounce*inch", "kgf m": "kgf*m",
    "kgf cm": "kgf*cm", "kPa": "kPa", "Pa": "Pa", "MPa": "MPa", "hPa": "hPa", "bar": "bar", "psi": "psi",
    "kgf/cm2": "kgf/cm**2", "s": "s", "min": "min", "h": "hour", "d": "day", "rpm": "1/min", "K": "K",
    "C deg": "delta_degC", "F deg": "delta_degF", "A": "A", "mA": "mA", "A h": "A*hour", "V": "V", "mV": "mV",
    "Ω": "ohm", "lx": "cd*m**-2", "%": "percent", "mm/m": "mm/m", "ft/mi": "foot/mile",
}  # fmt: skip
# Counted things, angles (kept in degrees), scales with an offset, and a conventional column of mercury.
ELSEWHERE = {"strokes", "turns", "clicks", "times", "pieces", "°", "'", "°C", "°F", "inHg"}
SYMBOLS = sorted({unit.symbol for unit in UNITS.values()})


ORACLE = pint.UnitRegistry(non_int_type=Fraction)


def typed(text: str, dimension: str, default: str | None = None) -> Quantity:
    result = parse_quantity(text, DIMENSIONS[dimension], UNITS[default] if default else None)
    assert isinstance(result, Typed), result
    return result.quantity


def unclear(text: str, dimension: str, default: str | None = None) -> Unclear:
    result = parse_quantity(text, DIMENSIONS[dimension], UNITS[default] if default else None)
    assert isinstance(result, Unclear), result
    return result


@pytest.mark.parametrize("symbol", sorted(set(SYMBOLS) - ELSEWHERE))
def test_every_factor_is_exactly_that_of_pint(symbol: str) -> None:
    assert ORACLE.Quantity(Fraction(1), PINT[symbol]).to_base_units().magnitude == UNITS[symbol].factor


@given(st.fractions(min_value=-270, max_value=2000, max_denominator=1000), st.sampled_from(["°C", "°F"]))
def test_a_temperature_in_kelvin_is_exactly_that_of_pint(number: Fraction, scale: str) -> None:
    expected = ORACLE.Quantity(number, {"°C": "degC", "°F": "degF"}[scale]).to("kelvin").magnitude
    assert Quantity.point(number, UNITS[scale]).lo == expected


def test_every_unit_is_compared_with_pint_or_named_as_not() -> None:
    assert set(PINT) | ELSEWHERE == set(SYMBOLS)
    assert not set(PINT) & ELSEWHERE


@pytest.mark.parametrize(
    ("one", "other", "factor"),
    [
        ("lbf", "N", "4.4482216152605"),
        ("lbf ft", "N m", "1.3558179483314004"),
        ("lbf in", "N m", "0.1129848290276167"),
        ("ozf in", "N m", "0.00706155181422604375"),
        ("kgf m", "N m", "9.80665"),
        ("kgf cm", "N m", "0.0980665"),
        ("kgf/cm2", "kPa", "98.0665"),
        ("in", "mm", "25.4"),
        ("mil", "mm", "0.0254"),
        ("US qt", "mL", "946.352946"),
        ("US pt", "mL", "473.176473"),
        ("US fl oz", "mL", "29.5735295625"),
        ("imp fl oz", "mL", "28.4130625"),
        ("cu in", "mL", "16.387064"),
        ("mph", "m/s", "0.44704"),
    ],
)
def test_a_factor_is_the_exact_one_of_nist_sp_811(one: str, other: str, factor: str) -> None:
    assert Quantity.point(1, UNITS[one]) == Quantity.point(factor, UNITS[other])


def test_the_factors_of_nist_sp_811_that_do_not_end_agree_to_their_last_printed_digit() -> None:
    assert show(Quantity.point(1, UNITS["psi"]), UNITS["Pa"], 9) == "6894.757293168 Pa"
    assert show(Quantity.point(1, UNITS["bar"]), UNITS["psi"], 12) == "14.503773773021 psi"
    assert show(Quantity.point(1, UNITS["ft/mi"]), UNITS["mm/m"], 9) == "0.189393939 mm/m"


def test_the_conventional_inch_of_mercury_recalled_from_nist_sp_811_b8() -> None:
    assert show(Quantity.point(1, UNITS["inHg"]), UNITS["Pa"], 3) == "3386.389 Pa"


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(401, 205), (446, 230), (500, 260), (284, 140), (311, 155), (356, 180)]
)
def test_the_boiling_points_of_49_cfr_571_116_s5_1_are_the_same_in_both_scales(fahrenheit: int, celsius: int) -> None:
    in_f, in_c = typed(f"{fahrenheit} °F", "temperature"), typed(f"{celsius} °C", "temperature")
    assert in_f == in_c
    assert show(in_f, UNITS["°C"]) == f"{celsius} °C"
    assert show(in_c, UNITS["°F"]) == f"{fahrenheit} °F"


@pytest.mark.parametrize(("dry", "wet", "kelvins"), [(401, 284, 65), (446, 311, 75), (500, 356, 80)])
def test_the_dry_to_wet_loss_of_49_cfr_571_116_is_a_difference(dry: int, wet: int, kelvins: int) -> None:
    loss = typed(f"{dry} F", "temperature") - typed(f"{wet} F", "temperature")
    assert loss == typed(f"{kelvins} K", "temperature difference")
    assert loss == typed(f"{dry - wet} F deg", "temperature difference")


def test_a_hundred_fahrenheit_apart_is_55_6_kelvin_and_not_37_8_degrees() -> None:
    apart = typed("100 F deg", "temperature difference")
    assert show(apart, UNITS["K"], 2) == "55.56 K"
    assert show(typed("100 °F", "temperature"), UNITS["°C"], 2) == "37.78 °C"
    assert typed("600 °F", "temperature") - typed("500 °F", "temperature") == apart
    with pytest.raises(DimensionError):
        apart.within(UNITS["°C"])


def test_temperatures_are_not_added_and_differences_are() -> None:
    warm, step = typed("20 °C", "temperature"), typed("10 K", "temperature difference")
    assert warm + step == step + warm == typed("30 °C", "temperature")
    assert warm - step == typed("50 °F", "temperature")
    for wrong in (
        lambda: warm + warm,
        lambda: step - warm,
        lambda: warm * warm,
        lambda: -warm,
        lambda: abs(warm),
    ):
        with pytest.raises(DimensionError, match="temperature"):
            wrong()


@pytest.mark.parametrize(
    ("text", "unit", "places", "shown"),
    [
        ("80 lbf.ft", "N m", 4, "108.4654 N m"),
        ("110 N·m", "lbf ft", 4, "81.1318 lbf ft"),
        ("25 Nm", "lbf in", 4, "221.2686 lbf in"),
        ("12 kgf-m", "N m", 4, "117.6798 N m"),
    ],
)
def test_worked_torques_come_out_in_the_other_unit(text: str, unit: str, places: int, shown: str) -> None:
    assert show(typed(text, "torque"), UNITS[unit], places) == shown


@pytest.mark.parametrize(
    ("text", "dimension", "same_as"),
    [
        ("22.40 mm", "length", "22,4 mm"),
        (".5 mm", "length", "0.5mm"),
        ("7/8 in", "length", "22.225 mm"),
        ("1 1/2 in", "length", "38.1 mm"),
        ("1/32 in", "length", "0.79375 mm"),
        ("1/16 in.", "length", "1.5875 mm"),
        ("-0.5 deg", "angle", "−0.5°"),
        ("+0.5 deg", "angle", "0.5 °"),
        ("0° 12'", "angle", "0.2 deg"),
        ("0 deg 17.19 arcmin", "angle", "0.2865 deg"),
        ("-1° 30'", "angle", "-1.5 deg"),
        ("10 µm", "length", "10 um"),
        ("10 \u03bcm", "length", "0.01 mm"),
        ("5 ml", "volume", "5 cm³"),
        ("20 C", "temperature", "20 degC"),
        ("300 K", "temperature", "26.85 °C"),
        ("80 %", "ratio", "0.8"),
        ("1 d", "time", "24 h"),
        ("2500 rpm", "rotational speed", "2500 r/min"),
        ("1\u00a0bar", "pressure", "100 kPa"),
        ("1 mile", "distance", "5280 ft"),
    ],
)
def test_what_people_type_means_what_the_trade_means(text: str, dimension: str, same_as: str) -> None:
    assert typed(text, dimension) == typed(same_as, dimension)


def test_a_typed_value_keeps_its_text_and_takes_the_instruments_unit() -> None:
    result = parse_quantity("22.40", LENGTH, MM)
    assert result == Typed("22.40", Quantity.point("22.4", MM), MM)
    assert typed("1 in", "length", "mm") == Quantity.point("25.4", MM)


BAD = [
    ("", "length", "nothing was typed"),
    ("mm", "length", "a number is missing"),
    ("--5 mm", "length", "a number is missing"),
    ("22.4", "length", "the unit is missing"),
    ("nan mm", "length", "no instrument shows"),
    ("Infinity", "length", "no instrument shows"),
    ("∞ mm", "length", "no instrument shows"),
    ("1e3 mm", "length", "powers of ten"),
    ("1 x 10^3 mm", "length", "powers of ten"),
    ("1,234.5 N", "force", "more than one point or comma"),
    ("1.234,5 N", "force", "more than one point or comma"),
    ("22..4 mm", "length", "more than one point or comma"),
    ("1,234 N", "force", "the comma can mark decimals or thousands"),
    ("1 234 N", "force", "broken in two"),
    ("1'234 N", "force", "broken in two"),
    ("1_000 N", "force", "broken in two"),
    ("1-1/2 in", "length", "a hyphen stands inside"),
    ("22. mm", "length", "a digit is missing"),
    ("3/0 in", "length", "divides by zero"),
    ("1 3/2 in", "length", "not less than one"),
    ("1.5/2 in", "length", "cannot be read as a number"),
    ("٢٢ mm", "length", "not a plain digit"),
    ("１２ mm", "length", "not a plain digit"),
    ("1½ in", "length", "not a plain digit"),
    ("9" * 61, "length", "too long"),
    ("-300 °C", "temperature", "below absolute zero"),
    ("12 kPa", "torque", "'kPa' measures pressure, but torque is expected"),
    ("18 °C", "temperature difference", "'°C' measures temperature, but temperature difference"),
    ("5 furlongs", "length", "'furlongs' is not known"),
    ("5 Mpa", "pressure", "'Mpa' is not known"),
    ("5 mm\x1b[31m", "length", "is not known"),
    ("25 lb", "force", "'lb' can mean more than one thing"),
    ("25 ft-lb", "torque", "'ft-lb' can mean more than one thing"),
    ("5 oz", "volume", "'oz' can mean more than one thing"),
    ("1 pt", "volume", "'pt' can mean more than one thing"),
    ("12 nm", "torque", "'nm' can mean more than one thing"),
    ("12 kg m", "torque", "'kg m' can mean more than one thing"),
]


@pytest.mark.parametrize(("text", "dimension", "why"), BAD)
def test_a_value_that_is_not_clear_says_what_is_wrong_and_how_to_mend_it(text: str, dimension: str, why: str) -> None:
    result = unclear(text, dimension)
    assert why in result.why
    assert result.help
    assert result.text == text
    assert (result.why + result.help).isprintable()


@pytest.mark.parametrize(
    ("spelling", "says"),
    [
        ("lb", "lbf"),
        ("ft-lb", "lbf ft"),
        ("in.lb", "lbf in"),
        ("oz", "US fl oz"),
        ("gal", "imp"),
        ("kg/cm2", "kgf"),
    ],
)
def test_a_bare_pound_or_ounce_is_refused_with_what_to_write(spelling: str, says: str) -> None:
    result = parse_unit(spelling)
    assert isinstance(result, Unclear)
    assert says in result.help


def test_strokes_are_not_counted_in_percent() -> None:
    assert "'%' measures ratio, but count is expected" in unclear("80 %", "count", "strokes").why
    assert typed("17", "count") == typed("17 strokes", "count", "strokes")


def test_a_kelvin_without_context_is_a_difference() -> None:
    assert UNITS["K"].dimension == DIMENSIONS["temperature difference"]
    kelvin = parse_unit("K", DIMENSIONS["temperature"])
    assert isinstance(kelvin, Unit)
    assert kelvin.dimension.absolute


@given(st.text(max_size=70), st.sampled_from(sorted(DIMENSIONS)))
def test_no_text_breaks_the_reading_of_values(text: str, dimension: str) -> None:
    result = parse_quantity(text, DIMENSIONS[dimension])
    assert result.raw == text if isinstance(result, Typed) else result.why


numbers = st.fractions(min_value=-10_000, max_value=10_000, max_denominator=10_000)
every_unit = st.sampled_from(sorted(set(UNITS.values()), key=lambda unit: (unit.symbol, unit.measures)))


@given(numbers, every_unit, st.integers(0, 6))
def test_what_is_shown_can_be_typed_again(number: Fraction, unit: Unit, places: int) -> None:
    value = Quantity.point(Fraction(round(number * 10**places), 10**places), unit)
    again = parse_quantity(show(value, unit, places), unit.dimension)
    if unit.dimension.absolute and value.lo < 0:
        assert isinstance(again, Unclear)
    else:
        assert isinstance(again, Typed)
        assert again.quantity == value


@given(numbers, numbers, st.integers(0, 3))
def test_a_shown_value_never_changes_sides_of_its_limit(value: Fraction, limit: Fraction, places: int) -> None:
    shown = show(Quantity.point(value, MM), MM, places, Quantity.point(limit, MM)).removesuffix(" mm")
    number, digits = Fraction(shown), len(shown.partition(".")[2])
    rounded = Fraction(show(Quantity.point(limit, MM), MM, digits).removesuffix(" mm"))
    for beside in (limit, rounded):
        assert value == limit or (number > beside) - (number < beside) == (value > limit) - (value < limit)


def test_21_999_against_22_is_never_shown_as_22() -> None:
    limit = Quantity.point(22, MM)
    assert show(Quantity.point("21.999", MM), MM, 1, against=limit) == "21.999 mm"
    assert show(Quantity.point("21.94", MM), MM, 1, against=limit) == "21.9 mm"
    assert show(Quantity.point("1.59", MM), MM, 1, against=Quantity.point("1/16", UNITS["in"])) == "1.590 mm"


def test_an_interval_is_shown_rounded_outward() -> None:
    level = Quantity.between("101.0732", "101.0791", UNITS["mL"])
    assert show(level, UNITS["mL"], 1) == "101.0 to 101.1 mL"
    assert show(level, UNITS["mL"], 1, against=Quantity.point(101, UNITS["mL"])) == "101.07 to 101.08 mL"


@given(st.fractions())
def test_exact_text_comes_back_equal(value: Fraction) -> None:
    assert from_text(to_text(value)) == value


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9))
def test_a_decimal_is_written_as_a_decimal(value: object) -> None:
    assert "/" not in to_text(Fraction(str(value)))


def test_a_decimal_of_more_than_sixty_places_is_written_as_a_fraction() -> None:
    assert to_text(Fraction(1, 10**60)) == "0." + "0" * 59 + "1"
    assert to_text(Fraction(1, 10**61)) == "1/1" + "0" * 61


@pytest.mark.parametrize("text", ["", "1.0", "01", "+1", "2/4", "1/2", "1/0", "1e3", " 1", "-0", "١", "nan", "1_0"])
def test_only_the_canonical_text_of_a_number_is_taken(text: str) -> None:
    with pytest.raises(ValueError, match="exact number"):
        from_text(text)


@given(numbers, numbers, st.integers(0, 8))
def test_shortening_an_interval_only_widens_it(one: Fraction, other: Fraction, places: int) -> None:
    exact = Quantity(min(one, other), max(one, other), PLAIN)
    short = decimal_out(exact, places)
    grid = Fraction(1, 10**places)
    assert exact.lo - grid < short.lo <= exact.lo <= exact.hi <= short.hi < exact.hi + grid
    assert (short.lo / grid).denominator == (short.hi / grid).denominator == 1


intervals = st.tuples(numbers, numbers).map(lambda ends: Quantity(min(ends), max(ends), PLAIN))
parts = st.fractions(min_value=0, max_value=1, max_denominator=100)


@given(intervals, intervals, parts, parts, st.integers(-4, 4))
def test_arithmetic_on_intervals_holds_every_value_inside_them(
    a: Quantity, b: Quantity, s: Fraction, t: Fraction, power: int
) -> None:
    x, y = a.lo + s * (a.hi - a.lo), b.lo + t * (b.hi - b.lo)

    def holds(outer: Quantity, inner: Fraction) -> bool:
        return outer.lo <= inner <= outer.hi

    assert holds(a + b, x + y)
    assert holds(a - b, x - y)
    assert holds(a * b, x * y)
    assert holds(-a, -x)
    assert holds(abs(a), abs(x))
    if not holds(b, Fraction(0)):
        assert holds(a / b, x / y)
    if power >= 0 or not holds(a, Fraction(0)):
        assert holds(a**power, x**power)


def test_dividing_by_what_may_be_zero_is_refused() -> None:
    one, around = (Quantity(Fraction(low), Fraction(1), PLAIN) for low in (1, -1))
    for power in (lambda: one / around, lambda: around**-1):
        with pytest.raises(ZeroDivisionError):
            power()


def test_a_dimension_is_called_by_the_trades_word_for_it() -> None:
    assert [str(DIMENSIONS[name]) for name in ("torque", "distance", "temperature")] == [
        "torque",
        "length",
        "temperature",
    ]
    assert str(VOLUME.times(LENGTH)) == "length^4"
    assert {unit.symbol for unit in units_of(TORQUE)} >= {"N m", "lbf ft", "kgf m"}
