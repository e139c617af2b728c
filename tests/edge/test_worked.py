"""The formulas of the shipped procedures, against quantities worked by hand.

Coolant: mass balance of pure coolant, by hand. What stays in the engine keeps its strength, the fresh part makes up.
Bearing: the difference of the greatest readings of two sides.
"""

from __future__ import annotations

from functools import cache

import pytest

from runner.core.expr import Points, evaluate
from runner.core.graph import Procedure
from runner.core.measure import CANNOT_TELL, Band, Bound, judge
from runner.core.units import DIMENSIONS, Quantity, Typed, parse_quantity, show
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf


def q(text: str, dimension: str) -> Quantity:
    typed = parse_quantity(text, DIMENSIONS[dimension])
    assert isinstance(typed, Typed), typed
    return typed.quantity


@cache
def shipped(name: str) -> Procedure:
    loaded = Shelf().load(name)
    assert isinstance(loaded, Loaded), loaded
    made = read(loaded.files, loaded.main)
    assert isinstance(made, Procedure), made
    return made


def computed(procedure: Procedure, name: str, places: int, **given: Points) -> str:
    """A computed value of the procedure as a person sees it, with what it rests on computed before."""
    names = {key: key.replace("_at_", "@").replace("total_of_", "total of ") for key in given}
    known: dict[str, Points] = {names[key]: value for key, value in given.items()}
    for each in procedure.computes.values():
        made = evaluate(each.expr, known)
        if isinstance(made, Quantity):
            known[each.name] = made
    value, unit = known[name], procedure.computes[name].unit
    assert isinstance(value, Quantity)
    assert unit is not None
    return show(value, unit, places)


@pytest.mark.parametrize(
    ("system", "drained", "old", "fresh", "concentrate", "water"),
    [
        # 6 L at 50 % hold 3 L of pure coolant; 1.5 L at 30 % stay and hold 0.45 L; 2.55 L are missing
        ("6 L", "4.5 L", "30 %", "100 %", "2.55", "1.95"),
        # the same out of a half-strength container takes twice as much, which is more than came out
        ("6 L", "4.5 L", "30 %", "50 %", "5.10", "-0.60"),
        # flushed with water: the 2 L that stay hold nothing
        ("8 L", "6 L", "0 %", "100 %", "4.00", "2.00"),
        # what stays is as strong as wanted: half of what came out
        ("8 L", "6 L", "50 %", "100 %", "3.00", "3.00"),
    ],
)
def test_the_fresh_coolant_makes_up_for_what_stays_in_the_engine(
    system: str, drained: str, old: str, fresh: str, concentrate: str, water: str
) -> None:
    procedure = shipped("coolant-exchange")
    given: dict[str, Points] = {
        "system_volume": q(system, "volume"),
        "mix_want": q("50 %", "ratio"),
        "fresh_strength": q(fresh, "ratio"),
        "old_mix": q(old, "ratio"),
        "total_of_drained": q(drained, "volume"),
    }
    assert computed(procedure, "fresh_need", 2, **given).startswith(concentrate)
    assert computed(procedure, "water_need", 2, **given).replace("−", "-").startswith(water)


@pytest.mark.parametrize(("fresh", "shown"), [("100 %", "2.2857"), ("70 %", "4.0000")])
def test_a_weak_filling_is_corrected_by_v_times_c_minus_c0_over_fresh_minus_c0(fresh: str, shown: str) -> None:
    # 8 L at 30 % to 50 %: 8 * 0.2 / 0.7 = 2.2857 L of concentrate, 8 * 0.2 / 0.4 = 4 L of a 70 % mix
    told = computed(
        shipped("coolant-exchange"),
        "swap_fresh",
        4,
        system_volume=q("8 L", "volume"),
        mix_want=q("50 %", "ratio"),
        fresh_strength=q(fresh, "ratio"),
        new_mix=q("30 %", "ratio"),
    )
    assert told.startswith(shown)


def test_a_strong_filling_gives_way_to_water_by_the_share_that_is_too_much() -> None:
    # 6 L at 60 % hold 3.6 L; 3 L are wanted; 0.6 L too much leave with 1 L of the filling
    told = computed(
        shipped("coolant-exchange"),
        "swap_water",
        3,
        system_volume=q("6 L", "volume"),
        mix_want=q("50 %", "ratio"),
        new_mix=q("60 %", "ratio"),
    )
    assert told.startswith("1.000")


def test_two_bearings_are_compared_by_their_greatest_readings() -> None:
    sides: dict[str, Points] = {
        "play_at_LR": tuple(q(v, "length") for v in ("0.12 mm", "0.13 mm", "0.12 mm")),
        "play_at_RR": tuple(q(v, "length") for v in ("0.01 mm", "0.02 mm", "0.01 mm")),
    }
    assert computed(shipped("wheel-bearing-check"), "rear_difference", 2, **sides).startswith("0.11")


@pytest.mark.parametrize(
    ("torque", "reach", "adapter", "shown"),
    [
        # US Army TM 1-1500-204-23-9, 8-15 to 8-17: 300 lbf in, 10 in and 4 in, printed 214 lbf in. By hand:
        # 300 * 10 / 14 = 214.286 lbf in; 1 lbf in is 0.1129848 N m; 24.21 N m
        ("300 lbf in", "10 in", "4 in", "24.21"),
        # by hand: 100 * 400 / 460
        ("100 N m", "400 mm", "60 mm", "86.96"),
    ],
)
def test_a_wrench_with_an_adapter_in_line_is_set_lower_by_its_length_over_both_lengths(
    torque: str, reach: str, adapter: str, shown: str
) -> None:
    given: dict[str, Points] = {
        "carrier_torque": q(torque, "torque"),
        "wrench_reach": q(reach, "length"),
        "adapter_reach": q(adapter, "length"),
    }
    assert computed(shipped("caliper-back"), "carrier_set", 2, **given).startswith(shown)
    mount = {**given, "first_torque": q(torque, "torque"), "second_torque": q("140 N m", "torque")}
    assert computed(shipped("engine-mount"), "first_set", 2, **mount).startswith(shown)
    # by hand: 140 * 10 / 14 and 140 * 400 / 460
    told = {"10 in": "100.00", "400 mm": "121.74"}[reach]
    assert computed(shipped("engine-mount"), "second_set", 2, **mount).startswith(told)


def test_a_toe_in_millimetres_at_the_rim_is_an_angle() -> None:
    """By a table of natural sines: 1 mm and 3 mm of 381 mm are the sines of 0.1504 and 0.4512 degrees."""
    given = {"toe_least": q("1 mm", "length"), "toe_most": q("3 mm", "length"), "rim_size": q("15 in", "length")}
    made = shipped("handover-inspection")
    assert [computed(made, name, 4, **given).split("°")[0].strip() for name in ("toe_low", "toe_high")] == [
        "0.1504",
        "0.4512",
    ]


@pytest.mark.parametrize(
    ("now", "odometer", "left"),
    [
        # 11 mm at 120,000 km, 6 mm at 143,210 km: 5 mm in 23,210 km; the 3 mm to the limit take 13,926 km
        ("6 mm", "143210 km", "13900 km"),
        ("3 mm", "143210 km", "0 km"),
        # an odometer that went back says nothing of the wear
        ("6 mm", "110000 km", "0 km"),
    ],
)
def test_the_wear_so_far_tells_how_long_the_pads_may_last(now: str, odometer: str, left: str) -> None:
    given: dict[str, Points] = {
        "pad_seen": q(now, "length"),
        "pad_view_limit": q("3 mm", "length"),
        "pads_before": q("11 mm", "length"),
        "odometer_now": q(odometer, "length"),
        "odometer_before": q("120000 km", "length"),
    }
    assert computed(shipped("arrival"), "pads_left", 0, **given) == left


def test_a_rise_is_set_against_the_worst_of_five_front_readings_with_the_errors_of_thermometer_and_paint() -> None:
    """By hand: 169 F + 100 F deg are 404.817 K, where 2 % of 93 % are worth 3.4292 K (6.1725 F deg) by Wien's law.

    169 + 100 + 4.5 + 6.1725 = 279.6725 F = 137.596 C; 167 + 100 - 10.6725 = 256.3275 F = 124.626 C.
    """
    given: dict[str, Points] = {
        "front_temperature": tuple(q(v, "temperature") for v in ("168 °F", "169 °F", "167 °F", "168 °F", "168 °F")),
        "converter_rise": q("100 F deg", "temperature difference"),
        "thermometer_error": q("2.5 K", "temperature difference"),
        "surface_emissivity": q("93 %", "ratio"),
        "emissivity_doubt": q("2 %", "ratio"),
    }
    made = shipped("catalytic-converter-check")
    assert computed(made, "support_from", 3, **given) == "137.596 °C"
    assert computed(made, "support_not_below", 3, **given) == "124.626 °C"


def between(lo: str, hi: str) -> Quantity:
    low, high = q(lo, "length"), q(hi, "length")
    return Quantity(low.lo, high.hi, low.dimension)


def test_a_camber_is_the_lean_of_the_rim_beside_a_plumb_line_and_its_limits_are_millimetres_there() -> None:
    """By a table of natural sines, with a rim of 416 mm from edge to edge and a line 42 mm from its upper edge.

    -1.5 and 0.5 degrees: sines 0.0261769 and 0.0087265, so the lower edge stands 10.890 mm nearer to 3.630 mm farther.
    Lower edge at 38 mm: 4 of 416 mm is the sine of 0.5509 degrees, the top leans in.
    """
    given: dict[str, Points] = {
        "line_top": q("42 mm", "length"),
        "line_bottom": q("38 mm", "length"),
        "rim_edges": q("416 mm", "length"),
        "camber_least": q("-1.5 °", "angle"),
        "camber_most": q("0.5 °", "angle"),
    }
    made = shipped("cam-bolts")
    assert computed(made, "bottom_least", 3, **given) == "31.110 mm"
    assert computed(made, "bottom_most", 3, **given) == "45.630 mm"
    assert computed(made, "camber_seen", 2, **given).replace("−", "-") == "-0.55°"


@pytest.mark.parametrize(
    ("bottom", "outcome"),
    [
        # 42 mm and the lower edge each within 0.5 mm: sure from 42.5 - 10.890 + 0.5 = 32.110
        # to 41.5 + 3.630 - 0.5 = 44.630
        ("32.2 mm", "pass"),
        ("32.1 mm", CANNOT_TELL),
        ("44.6 mm", "pass"),
        ("44.7 mm", CANNOT_TELL),
        # surely outside below 41.5 - 10.890 - 0.5 = 30.110 and above 42.5 + 3.630 + 0.5 = 46.630
        ("30.2 mm", CANNOT_TELL),
        ("30.1 mm", "fail"),
        ("46.6 mm", CANNOT_TELL),
        ("46.7 mm", "fail"),
    ],
)
def test_both_readings_beside_a_plumb_line_count_with_their_error(bottom: str, outcome: str) -> None:
    made = shipped("cam-bolts")
    env: dict[str, Points] = {
        "line_top": between("41.5 mm", "42.5 mm"),
        "rim_edges": q("416 mm", "length"),
        "camber_least": q("-1.5 °", "angle"),
        "camber_most": q("0.5 °", "angle"),
    }
    least, most = (evaluate(made.computes[name].expr, env) for name in ("bottom_least", "bottom_most"))
    assert isinstance(least, Quantity)
    assert isinstance(most, Quantity)
    ends = (Bound(least, True), Bound(most, True))
    bands = (Band("pass", *ends), Band("fail", None, Bound(least, False)), Band("fail", Bound(most, False), None))
    half = q("0.5 mm", "length").lo
    assert judge(q(bottom, "length"), half / 2, bands).outcome == outcome


@pytest.mark.parametrize(
    ("then", "since", "left"),
    [
        # 21 mm at 120,000 km, 20.408 mm at 143,210 km: 0.592 mm in 23,210 km; the 0.408 mm to 20 mm take 15,996 km
        ("21.000 mm", "120000 km", "15900 km"),
        # new with 22 mm at 80,000 km: 1.592 mm in 63,210 km; 0.408 mm take 16,200 km (16,199.8)
        ("22.000 mm", "80000 km", "16100 km"),
    ],
)
def test_the_wear_so_far_tells_how_far_a_disc_may_last(then: str, since: str, left: str) -> None:
    given: dict[str, Points] = {
        "disc_thinnest": q("20.408 mm", "length"),
        "disc_then": q(then, "length"),
        "disc_min": q("20.0 mm", "length"),
        "odometer": q("143210 km", "length"),
        "odometer_then": q(since, "length"),
    }
    assert computed(shipped("disc-look"), "disc_left", 0, **given) == left


@pytest.mark.parametrize(("now", "left"), [("20.000 mm", "0 km"), ("19.990 mm", "0 km")])
def test_a_disc_at_its_least_thickness_has_no_distance_left(now: str, left: str) -> None:
    given: dict[str, Points] = {
        "disc_thinnest": q(now, "length"),
        "disc_then": q("21 mm", "length"),
        "disc_min": q("20.0 mm", "length"),
        "odometer": q("143210 km", "length"),
        "odometer_then": q("120000 km", "length"),
    }
    assert computed(shipped("disc-look"), "disc_left", 0, **given) == left
