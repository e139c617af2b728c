"""Verdicts: the published examples of conformity, every edge, and limits that must cover the line."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from runner.core.measure import (
    Band,
    Bound,
    Instrument,
    Misfit,
    Verdict,
    gap_or_overlap,
    judge,
    standard_uncertainty,
    wrench_setting,
)
from runner.core.units import DIMENSIONS, PLAIN, UNITS, DimensionError, Quantity, Unclear, Unit, show

MM = UNITS["mm"]
ONE = Unit("", PLAIN, Fraction(1))


def bound(value: str | Fraction, unit: Unit = ONE, *, inclusive: bool = True) -> Bound:
    return Bound(Quantity.point(value, unit), inclusive)


def at_least(value: str, unit: Unit = ONE, *, inclusive: bool = True) -> tuple[Band, ...]:
    return (
        Band("pass", bound(value, unit, inclusive=inclusive), None),
        Band("fail", None, bound(value, unit, inclusive=not inclusive)),
    )


def at_most(value: str, unit: Unit = ONE) -> tuple[Band, ...]:
    return Band("pass", None, bound(value, unit)), Band("fail", bound(value, unit, inclusive=False), None)


def between(low: str, high: str, unit: Unit = ONE) -> tuple[Band, ...]:
    return (
        Band("fail", None, bound(low, unit, inclusive=False)),
        Band("pass", bound(low, unit), bound(high, unit)),
        Band("fail", bound(high, unit, inclusive=False), None),
    )


def verdict(value: str, u: str, bands: tuple[Band, ...], unit: Unit = ONE) -> Verdict:
    return judge(Quantity.point(value, unit), Fraction(u) * unit.factor, bands)


@pytest.mark.parametrize(
    ("value", "u", "bands", "probability", "outcome"),
    [
        ("-5.47", "0.05", at_most("-5.40"), 0.91924, "cannot tell"),
        ("509.7", "8.6", at_least("490"), 0.98901, "pass"),
        ("13.6", "1.8", between("12.5", "16.3"), 0.66263, "cannot tell"),
    ],
)
def test_conformance_probability_of_the_examples_recalled_from_jcgm_106_2012_7_3_and_7_4(
    value: str, u: str, bands: tuple[Band, ...], probability: float, outcome: str
) -> None:
    result = verdict(value, u, bands)
    assert result.probability == pytest.approx(probability, abs=5e-6)
    assert result.outcome == outcome


def test_a_reading_at_the_acceptance_limit_conforms_with_0_97725_as_recalled_from_jcgm_106_2012_8_3() -> None:
    assert verdict("110", "5", at_least("100")).probability == pytest.approx(0.97725, abs=5e-6)
    assert verdict("110", "5", at_least("100")).label == "pass"


def test_a_reading_at_the_limit_conforms_with_one_half_under_ilac_g8_09_2019_4_2_1() -> None:
    simple = judge(Quantity.point("22", MM), Fraction(1, 1000), at_least("22", MM), "simple")
    assert (simple.outcome, simple.label) == ("pass", "pass")
    assert simple.probability == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "label", "outcome"),
    [
        ("7", "pass", "pass"),
        ("8", "pass", "pass"),
        ("8.001", "conditional pass", "cannot tell"),
        ("10", "conditional pass", "cannot tell"),
        ("10.001", "conditional fail", "cannot tell"),
        ("12", "conditional fail", "cannot tell"),
        ("12.001", "fail", "fail"),
    ],
)
def test_the_four_outcomes_of_ilac_g8_09_2019_4_2_change_exactly_at_their_edges(
    value: str, label: str, outcome: str
) -> None:
    result = verdict(value, "1", at_most("10"))
    assert (result.label, result.outcome) == (label, outcome)


@pytest.mark.parametrize(
    ("value", "u", "probability", "label"),
    [("22.02", "0.025", 0.788, "conditional pass"), ("22.02", "0.002", 1.0, "pass")],
)
def test_a_disc_just_above_its_minimum_needs_the_micrometer(value: str, u: str, probability: float, label: str) -> None:
    result = verdict(value, u, at_least("22.00", MM), MM)
    assert result.probability == pytest.approx(probability, abs=5e-4)
    assert result.label == label


def test_a_torque_near_its_upper_limit_is_a_conditional_pass() -> None:
    n_m = UNITS["N m"]
    wrench = Instrument(id="W1", what="torque wrench", unit=n_m, mpe_relative=Fraction(4, 100), expanded_k=Fraction(2))
    reading = Quantity.point(118, n_m)
    result = judge(reading, standard_uncertainty(wrench, reading), between("100", "120", n_m))
    assert result.label == "conditional pass"
    assert result.probability == pytest.approx(0.802, abs=5e-4)


MICROMETER = Instrument(id="M1", what="micrometer", unit=MM, mpe=Quantity.point(4, UNITS["µm"]))
CALLIPER = Instrument(id="C1", what="calliper", unit=MM, mpe=Quantity.point(30, UNITS["µm"]))
RULE = Instrument(
    id="R1",
    what="steel rule",
    unit=MM,
    mpe=Quantity.point("0.25", MM),
    resolution=Quantity.point("0.5", MM),
)


@pytest.mark.parametrize(
    ("instrument", "repeat", "u", "value", "limit", "probability", "outcome"),
    [
        (MICROMETER, "10", 10.263, "22.05", "22.00", 0.9999994, "pass"),
        (MICROMETER, "10", 10.263, "22.01", "22.00", 0.8351, "cannot tell"),
        (CALLIPER, "20", 26.458, "22.02", "22.00", 0.7752, "cannot tell"),
        (CALLIPER, "20", 26.458, "22.05", "22.00", 0.9706, "cannot tell"),
        (RULE, "0", 204.12, "3.1", "3.0", 0.6879, "cannot tell"),
    ],
)
def test_the_worked_rotor_and_pad_readings_are_decided_only_where_the_instrument_can(
    instrument: Instrument, repeat: str, u: float, value: str, limit: str, probability: float, outcome: str
) -> None:
    reading = Quantity.point(value, MM)
    found = standard_uncertainty(instrument, reading, Quantity.point(repeat, UNITS["µm"]))
    assert float(found) * 1e6 == pytest.approx(u, abs=5e-3)
    result = judge(reading, found, at_least(limit, MM))
    assert result.probability == pytest.approx(probability, abs=5e-5)
    assert result.outcome == outcome


@pytest.mark.parametrize(("mpe", "u"), [("4", 2.309), ("20", 11.547), ("30", 17.321), ("50", 28.868)])
def test_a_permissible_error_counts_as_uniform_over_root_three(mpe: str, u: float) -> None:
    instrument = Instrument(id="X", what="gauge", unit=MM, mpe=Quantity.point(mpe, UNITS["µm"]))
    found = standard_uncertainty(instrument, Quantity.point(5, MM))
    assert float(found) * 1e6 == pytest.approx(u, abs=5e-4)
    # Rounded up, never down.
    exact = Fraction(mpe) ** 2 / 10**12 / 3
    assert exact <= found**2 <= exact * (1 + Fraction(1, 10**29))


def test_a_scale_step_counts_over_root_twelve_as_recalled_from_jcgm_100_f_2_2_1() -> None:
    instrument = Instrument(id="X", what="rule", unit=MM, resolution=Quantity.point("0.5", MM))
    assert float(standard_uncertainty(instrument, Quantity.point(5, MM))) * 1e3 == pytest.approx(0.14434, abs=5e-6)


def test_of_two_permissible_errors_the_larger_counts_and_two_percent_is_of_the_number_shown() -> None:
    celsius = UNITS["°C"]
    infrared = Instrument(
        id="IR",
        what="infrared thermometer",
        unit=celsius,
        mpe=Quantity.point(2, UNITS["K"]),
        mpe_relative=Fraction(2, 100),
        expanded_k=Fraction(1),
    )
    assert standard_uncertainty(infrared, Quantity.point(300, celsius)) == 6
    assert standard_uncertainty(infrared, Quantity.point(50, celsius)) == 2


def test_an_instrument_of_which_nothing_is_known_adds_nothing() -> None:
    bare = Instrument(id="X", what="gauge", unit=MM)
    assert standard_uncertainty(bare, Quantity.point(5, MM)) == 0


@pytest.mark.parametrize(
    ("value", "unit", "limit", "limit_unit", "inclusive", "outcome"),
    [
        # 49 CFR 570.59(c): at least 1/16 in. 49 CFR 396 App. A 1.a(6): 1/16 in or less fails.
        ("1/16", "in", "1/16", "in", True, "pass"),
        ("1/16", "in", "1/16", "in", False, "fail"),
        ("1.59", "mm", "1/16", "in", True, "pass"),
        ("1.59", "mm", "1.6", "mm", True, "fail"),
        ("21.999", "mm", "22.00", "mm", True, "fail"),
        ("22", "mm", "22.00", "mm", True, "pass"),
    ],
)
def test_a_limit_keeps_its_own_unit_and_says_whether_it_passes_itself_as_in_49_cfr_570_59_and_396(
    value: str, unit: str, limit: str, limit_unit: str, *, inclusive: bool, outcome: str
) -> None:
    bands = at_least(limit, UNITS[limit_unit], inclusive=inclusive)
    result = judge(Quantity.point(value, UNITS[unit]), Fraction(0), bands)
    assert (result.outcome, result.label) == (outcome, outcome)
    assert result.probability == (1.0 if outcome == "pass" else 0.0)


def test_several_bands_have_their_own_outcomes_and_no_probability() -> None:
    bands = (
        Band("renew", None, bound("3", inclusive=False)),
        Band("watch", bound("3"), bound("5", inclusive=False)),
        Band("good", bound("5"), None),
    )
    assert [verdict(v, "0", bands).outcome for v in ("2.9", "3", "5")] == ["renew", "watch", "good"]
    unsure = verdict("4.9", "0.1", bands)
    assert (unsure.outcome, unsure.label, unsure.probability) == ("cannot tell", "cannot tell", None)


def test_a_value_that_is_itself_uncertain_is_not_decided_across_an_edge() -> None:
    level = Quantity(Fraction(9), Fraction(11), PLAIN)
    result = judge(level, Fraction(0), at_least("10"), "simple")
    assert (result.outcome, result.label, result.probability) == ("cannot tell", "cannot tell", 0.0)


def test_a_value_that_two_bands_claim_is_not_decided() -> None:
    bands = (Band("renew", None, bound("5")), Band("good", bound("3"), None))
    assert verdict("4", "0", bands).outcome == "cannot tell"
    assert verdict("2", "0", bands).outcome == "renew"


def test_a_limit_of_another_dimension_is_refused() -> None:
    with pytest.raises(DimensionError, match="length cannot be compared with torque"):
        judge(Quantity.point(1, MM), Fraction(0), at_least("1", UNITS["N m"]))


small = st.fractions(-20, 20, max_denominator=8)


@given(small, st.fractions(0, 5, max_denominator=8), small)
def test_pass_and_fail_are_never_said_within_twice_the_uncertainty(y: Fraction, u: Fraction, edge: Fraction) -> None:
    bands = (Band("pass", Bound(Quantity(edge, edge, PLAIN), True), None),
             Band("fail", None, Bound(Quantity(edge, edge, PLAIN), False)))  # fmt: skip
    result = judge(Quantity(y, y, PLAIN), u, bands)
    if y - 2 * u >= edge:
        assert result.outcome == result.label == "pass"
    elif y + 2 * u < edge:
        assert result.outcome == result.label == "fail"
    else:
        assert result.outcome == "cannot tell"
        assert result.label == ("conditional pass" if y >= edge else "conditional fail")


@given(small, st.fractions(Fraction(1, 8), 5, max_denominator=8), small, small)
def test_the_probability_is_that_of_scipys_normal_distribution(
    y: Fraction, u: Fraction, one: Fraction, other: Fraction
) -> None:
    low, high = sorted((one, other))
    bands = between(str(low), str(high))
    expected = norm.cdf(float(high), float(y), float(u)) - norm.cdf(float(low), float(y), float(u))
    assert judge(Quantity(y, y, PLAIN), u, bands).probability == pytest.approx(expected, abs=1e-12)


def test_a_limit_far_away_does_not_overflow() -> None:
    assert judge(Quantity.point(1, ONE), Fraction(1, 10**400), at_least("0")).probability == 1.0


def test_limits_that_cover_the_line_once_have_no_gap() -> None:
    for bands in (at_least("3"), at_least("3", inclusive=False), at_most("3"), between("3", "5")):
        assert gap_or_overlap(bands) is None


@pytest.mark.parametrize(
    ("bands", "expected"),
    [
        ((Band("a", None, bound("3", inclusive=False)), Band("b", bound("3", inclusive=False), None)),
         Misfit(Fraction(3), ())),
        ((Band("a", None, bound("3")), Band("b", bound("3"), None)), Misfit(Fraction(3), ("a", "b"))),
        ((Band("a", None, bound("3")), Band("b", bound("5", inclusive=False), None)), Misfit(Fraction(5), ())),
        ((Band("a", None, bound("3")), Band("b", bound("3", inclusive=False), bound("5"))), Misfit(Fraction(6), ())),
        ((Band("a", None, None), Band("b", bound("3"), None)), Misfit(Fraction(3), ("a", "b"))),
        ((Band("a", bound("3"), None),), Misfit(Fraction(2), ())),
        ((Band("a", None, bound("3")), Band("b", bound("3", inclusive=False), bound("5", inclusive=False)),
          Band("c", bound("5"), bound("7")), Band("d", bound("6"), None)), Misfit(Fraction(6), ("c", "d"))),
        ((), Misfit(Fraction(0), ())),
    ],
)  # fmt: skip
def test_a_gap_or_an_overlap_is_shown_with_a_value_in_it(bands: tuple[Band, ...], expected: Misfit) -> None:
    assert gap_or_overlap(bands) == expected


ends = st.one_of(st.none(), st.tuples(st.integers(-3, 3), st.booleans()))


def made(parts: tuple[str, tuple[int, bool] | None, tuple[int, bool] | None]) -> Band:
    label, low, high = parts
    bounds = [Bound(Quantity.point(end[0], ONE), end[1]) if end else None for end in (low, high)]
    return Band(label, bounds[0], bounds[1])


@given(st.lists(st.tuples(st.sampled_from("abc"), ends, ends).map(made), max_size=4))
def test_the_sweep_agrees_with_trying_every_quarter(bands: list[Band]) -> None:
    def members(value: Fraction) -> int:
        count = 0
        for band in bands:
            low, high = band.low, band.high
            over = low is None or value > low.value.lo or (low.inclusive and value == low.value.lo)
            under = high is None or value < high.value.lo or (high.inclusive and value == high.value.lo)
            count += over and under
        return count

    found = gap_or_overlap(bands)
    tried = [Fraction(n, 4) for n in range(-20, 21)]
    assert (found is None) == all(members(value) == 1 for value in tried)
    if found:
        assert members(found.value) != 1
        assert len(found.labels) == min(2, members(found.value))


def test_limits_that_are_not_single_values_are_not_swept() -> None:
    vague = Bound(Quantity(Fraction(1), Fraction(2), PLAIN), True)
    with pytest.raises(ValueError, match="one value"):
        gap_or_overlap((Band("a", None, vague),))


def setting(torque: str, unit: str, lengths: tuple[str, str, str], angle: str) -> Quantity | Unclear:
    arm, adapter, length_unit = lengths
    return wrench_setting(
        Quantity.point(torque, UNITS[unit]),
        Quantity.point(arm, UNITS[length_unit]),
        Quantity.point(adapter, UNITS[length_unit]),
        Quantity.point(angle, UNITS["°"]),
    )


@pytest.mark.parametrize(
    ("torque", "unit", "lengths", "angle", "places", "shown"),
    [
        # US Army TM 1-1500-204-23-9, 8-15 to 8-17: printed 214.
        ("300", "lbf in", ("10", "4", "in"), "0", 2, "214.29 lbf in"),
        # US Army TM 9-2350-261-20-1, p. 2-29.
        ("40", "lbf ft", ("12", "4", "in"), "0", 0, "30 lbf ft"),
        # US Army TM 9-254, fig. 45: set to 60, the nut gets 70.
        ("70", "lbf in", ("12", "2", "in"), "0", 0, "60 lbf in"),
        ("30", "lbf ft", ("12", "6", "in"), "0", 0, "20 lbf ft"),
        ("100", "N m", ("400", "60", "mm"), "0", 2, "86.96 N m"),
        ("100", "N m", ("400", "60", "mm"), "45", 2, "90.41 N m"),
        ("100", "N m", ("400", "60", "mm"), "90", 2, "100.00 N m"),
        ("100", "N m", ("400", "60", "mm"), "135", 2, "111.87 N m"),
        ("100", "N m", ("400", "60", "mm"), "180", 2, "117.65 N m"),
    ],
)
def test_the_wrench_setting_with_an_adapter_is_that_of_tm_1_1500_204_23_9_and_tm_9_254(
    torque: str, unit: str, lengths: tuple[str, str, str], angle: str, places: int, shown: str
) -> None:
    result = setting(torque, unit, lengths, angle)
    assert isinstance(result, Quantity)
    assert show(result, UNITS[unit], places) == shown


def test_an_adapter_that_reaches_back_to_the_hand_is_refused() -> None:
    for adapter in ("400", "500"):
        result = setting("100", "N m", ("400", adapter, "mm"), "180")
        assert isinstance(result, Unclear)
        assert "reaches back" in result.why
    assert isinstance(setting("100", "N m", ("400", "399", "mm"), "180"), Quantity)


def test_an_adapter_that_may_reach_back_to_the_hand_is_refused() -> None:
    n_m, degree = UNITS["N m"], UNITS["°"]
    adapter, turned = Quantity.between(390, 410, MM), Quantity.point(180, degree)
    result = wrench_setting(Quantity.point(100, n_m), Quantity.point(400, MM), adapter, turned)
    assert isinstance(result, Unclear)


def test_a_wrench_without_length_or_a_torque_in_newtons_is_refused() -> None:
    assert isinstance(setting("100", "N m", ("0", "60", "mm"), "0"), Unclear)
    result = setting("100", "N", ("400", "60", "mm"), "0")
    assert isinstance(result, Unclear)
    assert result.why == "a torque is expected here"


@given(st.integers(0, 60), st.integers(0, 360), st.integers(0, 90))
def test_a_setting_for_an_uncertain_angle_holds_every_angle_inside(adapter: int, start: int, width: int) -> None:
    n_m = UNITS["N m"]
    angle = Quantity(Fraction(start), Fraction(start + width), DIMENSIONS["angle"])
    whole = wrench_setting(Quantity.point(100, n_m), Quantity.point(400, MM), Quantity.point(adapter, MM), angle)
    assert isinstance(whole, Quantity)
    for degrees in range(start, start + width + 1, 7):
        one = setting("100", "N m", ("400", str(adapter), "mm"), str(degrees))
        assert isinstance(one, Quantity)
        assert whole.lo <= one.lo <= one.hi <= whole.hi
