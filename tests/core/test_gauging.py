# ruff: noqa: E501  -- a step of a procedure in one line reads best
"""Readings: typed, read back, judged against their limits with what the instrument leaves open."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.gauging import instrument
from runner.core.measure import Instrument
from runner.core.quantity import DIMENSIONS
from runner.core.values import readings
from tests.core.driver import Run, of, steps

MICROMETER = {"id-1": {"what": "micrometer", "unit": "mm", "error": "0.02 mm", "resolution": "0.01 mm"}}

DISC = """
asks:
  disc_min: {what: Least thickness, quantity: length, unit: mm, sources: [marked on the part], unknown: true}
steps:
  disc:
    do: Measure the disc.
    reading: {as: disc, what: thickness, quantity: length, unit: mm, instruments: [micrometer], points: POINTS, limit: {at_least: disc_min, kind: marked on the part, inclusive: true, rule: guarded}, instead: [no room for it]}
    override: overridden
    next: {pass: good, fail: bad, cannot tell: unclear, no room for it: honest}
  good: {end: done}
  bad: {end: stopped}
  unclear: {do: Take a better instrument., next: disc}
  honest: {end: stopped}
  overridden: {end: stopped}
"""


def disc(points: int = 1, least: str = "22.0 mm") -> Run:
    run = Run(steps(DISC.replace("POINTS", str(points))), {"disc_min": least}, car={"instruments": MICROMETER})
    return run.begin()


def taken(run: Run, *typed: str, **more: str) -> ev.Taken:
    told = of(ev.Taken, run.enter(*typed, **more))
    assert isinstance(told, ev.Taken)
    return told


# The guard band is twice the standard uncertainty: u^2 = 0.02^2/3 + 0.01^2/12, 2u = 0.0238 mm (JCGM 106:2012).
@pytest.mark.parametrize(
    ("typed", "outcome", "path"),
    [
        ("22.03", "pass", "good"),
        ("22.02", "cannot tell", "unclear"),
        ("22.00", "cannot tell", "unclear"),
        ("21.98", "cannot tell", "unclear"),
        ("21.97", "fail", "bad"),
    ],
)
def test_too_close_to_the_limit_is_neither_pass_nor_fail(typed: str, outcome: str, path: str) -> None:
    run = disc()
    assert taken(run, typed).outcome == outcome
    assert run.path == path


def test_a_value_counts_only_after_it_was_read_back() -> None:
    run = disc()
    told = run.goes(ac.Enter(typed=["22.5"]))
    assert isinstance(told[0], ev.ReadBack)
    assert run.state.readings == {}
    run.refused(ac.Enter(typed=["23.5"]))
    run.goes(ac.Retype())
    assert taken(run, "22.4").typed == ["22.4"]


@pytest.mark.parametrize("typed", ["", "thick", "22.4 N m", "22,4,1", "--3"])
def test_what_is_no_length_is_refused_with_what_was_expected(typed: str) -> None:
    refused = disc().refused(ac.Enter(typed=[typed]))
    assert refused.why
    assert refused.help


def test_a_reading_may_be_typed_in_any_unit_of_its_dimension() -> None:
    told = taken(disc(), "0.9 in")
    assert told.unit == "in"
    assert Fraction(told.values[0][0]) == Fraction("0.02286")
    assert told.outcome == "pass"


def test_every_point_is_typed_and_the_worst_counts() -> None:
    run = disc(points=3)
    run.refused(ac.Enter(typed=["22.4", "22.4"]))
    told = taken(run, "22.4", "21.5", "22.01")
    assert (told.outcome, len(told.values)) == ("fail", 3)


def test_one_point_too_close_to_call_leaves_all_of_them_open() -> None:
    assert taken(disc(points=3), "22.4", "22.4", "22.01").outcome == "cannot tell"


def test_a_reading_without_its_instrument_in_the_cars_file_is_refused() -> None:
    run = Run(steps(DISC.replace("POINTS", "1")), {"disc_min": "22 mm"}).begin()
    assert "micrometer" in run.refused(ac.Enter(typed=["22.4"])).why
    assert "not taken with that" in disc().refused(ac.Enter(typed=["22.4"], instrument="ruler")).why


def test_a_named_honest_result_stands_in_place_of_a_value() -> None:
    run = disc()
    run.refused(ac.Instead(result="looks fine"))
    told = run.goes(ac.Instead(result="no room for it"))
    assert isinstance(told[0], ev.Named)
    assert run.path == "honest"
    assert run.state.readings == {}


def test_a_limit_that_is_not_known_yet_holds_the_step_until_it_is_supplied_with_its_source() -> None:
    run = disc(least="not known yet")
    assert (run.owed().kind, run.owed().names) == ("ask", ("disc_min",))
    run.refused(ac.Enter(typed=["22.4"]))
    run.refused(ac.Supply(name="disc_min", typed="22 mm", source=""))
    run.refused(ac.Supply(name="disc_min", typed="thick", source="marked on the part"))
    run.refused(ac.Supply(name="disc_max", typed="22 mm", source="marked on the part"))
    run.goes(ac.Supply(name="disc_min", typed="22 mm", source="marked on the part"))
    assert taken(run, "22.4").outcome == "pass"


def test_a_value_that_is_known_is_corrected_and_not_supplied_anew() -> None:
    assert "known already" in disc().refused(ac.Supply(name="disc_min", typed="20 mm", source="marked on the part")).why


BANDS = """
steps:
  pad:
    do: Measure the pad.
    reading: {as: pad, what: lining, quantity: length, unit: mm, points: 2, bands: [{worn: {below: 3 mm}}, {good: {at_least: 3 mm}}], kind: shop's own, rule: simple}
    next: {worn: bad, good: fine, cannot tell: unclear}
  fine: {end: done}
  bad: {end: stopped}
  unclear: {end: stopped}
"""


@pytest.mark.parametrize(
    ("typed", "path"), [(("3", "3.1"), "fine"), (("2.99", "2"), "bad"), (("2.99", "3"), "unclear")]
)
def test_bands_lead_by_their_names_and_points_of_two_bands_cannot_be_told(typed: tuple[str, ...], path: str) -> None:
    run = Run(steps(BANDS)).begin()
    run.enter(*typed)
    assert run.path == path


WRENCH = """
asks:
  torque: {what: Torque, quantity: torque, unit: N m, sources: [car's service literature]}
steps:
  nipple:
    do: Torque the nipple.
    reading: {as: nipple_torque, what: setting, mode: setting, quantity: torque, unit: N m, limit: {is: torque, kind: car's literature}, clicks: 1, instead: ["by feel, no wrench fits"]}
    makes: [nipple_final@RR]
    next: {pass: good, fail: anew, "by feel, no wrench fits": feel}
  anew: {do: Set the wrench anew., next: nipple}
  good: {end: done}
  feel: {end: stopped}
"""


def wrench() -> Run:
    return Run(steps(WRENCH), {"torque": "9 N m"}).begin()


def test_a_setting_is_typed_with_its_target_hidden_and_the_clicks_counted() -> None:
    run = wrench()
    assert "clicks" in run.refused(ac.Enter(typed=["9"])).why
    assert isinstance(run.goes(ac.Enter(typed=["9"], clicks="0"))[0], ev.Mistaken)
    back = of(ev.ReadBack, run.goes(ac.Enter(typed=["9"], clicks="1")))
    assert isinstance(back, ev.ReadBack)
    told = of(ev.Taken, run.goes(ac.Accept()))
    assert isinstance(told, ev.Taken)
    assert (told.outcome, told.rule, run.path) == ("pass", "simple", "good")
    assert run.state.value("nipple_final@RR") == "T"


def test_another_setting_than_the_target_fails() -> None:
    run = wrench()
    run.enter("90", clicks="1")
    assert run.path == "anew"


def test_by_feel_is_a_named_result_of_its_own() -> None:
    run = wrench()
    run.goes(ac.Instead(result="by feel, no wrench fits"))
    assert run.path == "feel"


POUR = """
levels:
  reservoir: {what: fluid, unit: mL, floor: 20 mL, brim: 250 mL, marks: {MIN: 100 mL, MAX: 200 mL}}
steps:
  see: {do: Look at the level., sets: {reservoir: MIN, by: look, within: 10 mL}, next: pour}
  pour:
    do: Pour fresh fluid in.
    reading: {as: poured, what: poured, mode: amount, quantity: volume, unit: mL, error: 5 mL}
    moves: [{to: reservoir, each: [poured, poured], if_full: draw}]
    next: more
  more: {do: Drop one measure in., moves: [{to: reservoir, each: [10 mL, 20 mL], if_full: draw}], next: draw}
  draw: {do: Draw some out., moves: [{from: reservoir, each: [30 mL, 40 mL], low_mark: MIN, if_short: books}], next: books}
  books: {do: Close the books., books: {what: the fluid, imbalance: "total of poured - (reservoir_now - reservoir_start)", within: 60 mL}, next: {closes: finish, does not close: stop, cannot tell: stop}}
  finish: {end: done}
  stop: {end: stopped}
"""
ML = Fraction(1, 1_000_000)


def poured() -> Run:
    run = Run(steps(POUR)).begin()
    run.done()
    assert run.state.levels["reservoir"] == (90 * ML, 110 * ML)
    return run


def test_a_measured_fill_raises_the_lower_bound_by_its_own_lower_bound() -> None:
    run = poured()
    told = taken(run, "60")
    assert told.values == [["0.000055", "0.000065"]]
    assert run.state.levels["reservoir"] == (145 * ML, 175 * ML)


def test_a_planned_fill_raises_the_upper_bound_only() -> None:
    run = poured()
    taken(run, "60")
    run.done()
    assert run.state.levels["reservoir"] == (145 * ML, 195 * ML)


def test_a_plain_draw_debits_both_bounds_and_stops_above_the_low_mark() -> None:
    run = poured()
    taken(run, "60")
    run.done()
    run.done()
    assert run.state.levels["reservoir"] == (105 * ML, 165 * ML)
    run = poured()
    taken(run, "20")  # 105 at the least: 40 more could pass below MIN
    told = [e.outcome for e in run.done() if isinstance(e, ev.Left)]
    assert (told, run.path) == (["done", "short"], "books")  # turned away before anything is drawn
    assert run.state.levels["reservoir"] == (105 * ML, 155 * ML)


def test_an_amount_below_nothing_is_refused() -> None:
    assert "below nothing" in poured().refused(ac.Enter(typed=["-50"])).why


def test_more_than_a_level_holds_at_its_brim_is_not_believed() -> None:
    run = poured()
    told = run.refused(ac.Enter(typed=["251"]))
    assert "251 mL is more than there is room for: fluid, 250 mL at its brim" in told.why
    assert taken(run, "250").outcome == "taken"


@pytest.mark.parametrize(("amount", "path"), [("60", "finish"), ("20", "finish")])
def test_the_books_close_where_what_went_in_is_what_stayed(amount: str, path: str) -> None:
    run = poured()
    taken(run, amount)
    while run.path != "books":
        run.done()
    run.state.levels["reservoir"] = (Fraction(int(amount) + 95) * ML, Fraction(int(amount) + 105) * ML)  # type: ignore[index]
    run.done()
    assert run.path == path


@pytest.mark.parametrize(("level", "outcome"), [((95, 105), "does not close"), ((120, 200), "cannot tell")])
def test_books_that_do_not_close_or_cannot_be_told_never_count_as_closed(level: tuple[int, int], outcome: str) -> None:
    run = poured()
    taken(run, "90")
    run.done()
    run.done()
    run.state.levels["reservoir"] = (level[0] * ML, level[1] * ML)  # type: ignore[index]
    told = of(ev.Answered, run.done())
    assert isinstance(told, ev.Answered)
    assert (told.outcome, run.path) == (outcome, "stop")


def test_the_books_cannot_be_told_while_a_level_is_not_known() -> None:
    run = poured()
    taken(run, "60")
    run.done()
    run.done()
    run.state.levels["reservoir"] = None  # type: ignore[index]
    told = of(ev.Answered, run.done())
    assert isinstance(told, ev.Answered)
    assert told.outcome == "cannot tell"


def test_an_overridden_reading_makes_nothing_and_leaves_a_scar() -> None:
    run = disc()
    run.refused(ac.Override(reason="", initials="MB"))
    run.refused(ac.Override(reason="no light", initials=" "))
    told = of(ev.Overridden, run.goes(ac.Override(reason="no light", initials="MB")))
    assert isinstance(told, ev.Overridden)
    assert run.path == "overridden"
    assert [what for _, what in run.state.scars] == ["overridden"]
    assert run.state.readings == {}


def test_without_an_edge_for_it_nothing_is_overridden() -> None:
    assert "cannot be overridden" in wrench().refused(ac.Override(reason="no time", initials="MB")).why


def test_a_setting_that_is_not_surely_its_target_fails() -> None:
    text = WRENCH.replace("limit: {is: torque,", 'limit: {is: "torque * pi / pi",')
    run = Run(steps(text), {"torque": "9 N m"}).begin()
    run.enter("9", clicks="1")
    assert run.path == "anew"


def test_a_total_that_was_never_taken_is_nothing_in_a_fragment_too() -> None:
    text = """
steps:
  ask: {do: Look., choose: {ask: Is there any?, options: [none, some]}, next: {none: books, some: pour}}
  pour: {do: Pour it., reading: {as: poured, what: Poured, mode: amount, quantity: volume, unit: mL, error: 1 mL}, next: books}
  books: {do: Close the books., books: {what: fluid, imbalance: total of poured, within: 2 mL}, next: {closes: finish, does not close: stop, cannot tell: stop}}
  finish: {end: done}
  stop: {end: stopped}
"""
    run = Run(steps(text)).begin()
    run.answer("none")
    left = of(ev.Left, run.done())
    assert isinstance(left, ev.Left)
    assert left.outcome == "closes"
    calling = replace(run.procedure, body=replace(run.procedure.body, nodes={}), fragments={"inner": run.procedure})
    assert readings(calling, run.state)["total of poured"][0].hi == 0


@pytest.mark.parametrize(
    ("error", "kelvin"),
    [("2 °C", "2"), ("2 K", "2"), ("2 C deg", "2"), ("9 °F", "5"), ("9 F deg", "5"), ("1.5 K, 2 %", "1.5")],
)
def test_the_error_of_a_thermometer_is_a_difference_on_whatever_scale_it_is_written(error: str, kelvin: str) -> None:
    made = instrument("gun", {"what": "infrared thermometer", "unit": "°C", "error": error}, DIMENSIONS["temperature"])
    assert isinstance(made, Instrument)
    assert made.mpe is not None
    assert made.mpe.lo == made.mpe.hi == Fraction(kelvin)
