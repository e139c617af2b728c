"""The shipped procedures against what is published, and against sums worked by hand beside each check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache

import pytest

from runner.core import event as ev
from runner.core.bind import Bound, bind, value
from runner.core.finding import Finding, Place
from runner.core.graph import Step, find
from runner.core.quantity import DIMENSIONS, Quantity
from runner.core.stamp import Stamp
from runner.core.units import UNITS, Typed, parse_quantity, show
from runner.edge.answers import Answers, Said, _Script, read_answers
from runner.edge.carfile import Car, read_car
from runner.edge.clock import SteppedClock
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf
from tests.core.driver import EXAMPLE, Run
from tests.library import FOLDER, procedure

CAR_FILE = Place("car.yaml", 7, 3)
HATCHBACK, SALOON = "small hatchback", "right-hand saloon"


@cache
def demo_car() -> Car:
    car = read_car(FOLDER / "demo" / "saltmarsh-unit-7.yaml")
    assert isinstance(car, Car), car
    return car


def typed(name: str, asked: str, text: str, source: str) -> Bound | tuple[Finding, ...]:
    """What comes of one value in a car's file, for the procedure of that name."""
    return bind(procedure(name), {asked: {"value": text, "source": source}}, {asked: CAR_FILE})


def values_of(name: str, car: str) -> dict[str, dict[str, str]]:
    """The values of an example car, or of the invented car, as a car's file would give them."""
    made = procedure(name)
    if car == "demo":
        return {k: dict(v) for k, v in demo_car().asks.items() if k.partition("@")[0] in made.asks}
    (known,) = (one for one in made.example_cars if one.name == car)
    flat: dict[str, dict[str, str]] = {}
    for key, told in known.values.items():
        parts = {f"{key}@{at}": one for at, one in told.items()} if isinstance(told, Mapping) else {key: told}
        flat |= {at: {"value": str(one), "source": EXAMPLE} for at, one in parts.items()}
    return {k: v for k, v in flat.items() if k.partition("@")[0] in made.asks}


def worked(name: str, car: str, wanted: str, unit: str, here: str | None = None, **readings: str) -> str:
    """A computed value of the procedure for a car, as a person sees it, with three places."""
    made = procedure(name)
    bound = bind(made, values_of(name, car))
    assert isinstance(bound, Bound), bound
    taken = {as_: (q(text, "count"),) for as_, text in readings.items()}
    found = value(made, bound, wanted, here, taken)
    assert isinstance(found, Quantity), wanted
    return show(found, UNITS[unit], 3)


def q(text: str, dimension: str) -> Quantity:
    told = parse_quantity(text, DIMENSIONS[dimension])
    assert isinstance(told, Typed), told
    return told.quantity


# ── legal floors of wear limits ──
# RCW 46.37.360 (5): lining of a light vehicle at least 1/32 in, 0.79375 mm; its text was read.
# 49 CFR 570.5: recalled as the same number. RCW 46.37.425: tread at least 2/32 in, 1.5875 mm; its text was read.
FLOORS = [
    ("arrival", "pad_view_limit", "1/32 in", "0.79375 mm", "0.79 mm", "RCW 46.37.360", "shop's practice"),
    ("brake-apart", "pad_min@front", "1/32 in", "0.79375 mm", "0.79 mm", "49 CFR 570.5", "shop's practice"),
    ("disc-brakes-front", "pad_min@front", "1/32 in", "0.79375 mm", "0.79 mm", "49 CFR 570.5", "shop's practice"),
    ("disc-brakes-rear", "pad_min@rear", "1/32 in", "0.79375 mm", "0.79 mm", "49 CFR 570.5", "shop's practice"),
    ("arrival", "tread_limit", "2/32 in", "1.5875 mm", "1.58 mm", "RCW 46.37.425", "law of the place"),
    ("tyre-exchange", "new_tread", "2/32 in", "1.5875 mm", "1.58 mm", "RCW 46.37.425", "law of the place"),
]


@pytest.mark.parametrize(("name", "asked", "floor", "in_mm", "under", "law", "source"), FLOORS)
def test_who_types_a_wear_limit_under_the_legal_floor_is_told_which_law_sets_it_and_what_to_take(
    name: str, asked: str, floor: str, in_mm: str, under: str, law: str, source: str
) -> None:
    told = typed(name, asked, under, source)
    assert isinstance(told, tuple)
    (finding,) = told
    assert finding.place == CAR_FILE
    assert finding.text == f"{asked}: {under} is under the floor of {in_mm} that {law} sets"
    assert finding.help == f"take a limit of {in_mm} or more"
    for at_the_floor in (floor, in_mm):
        assert isinstance(typed(name, asked, at_the_floor, source), Bound)


AUTHORS = [
    # an example car that works under the floor
    (
        "pad_view_limit: 3 mm",
        "pad_view_limit: 0.7 mm",
        "0.7 mm is under the floor of 0.79375 mm that RCW 46.37.360 sets",
    ),
    ("tread_limit: 4/32 in", "tread_limit: 1/32 in", "under the floor of 1.5875 mm that RCW 46.37.425 sets"),
    # an ask that lets nothing pass but what is under it, and one with a least value of the author's own beside it
    ("at_most: 8 mm", "at_most: 0.7 mm", "the least value, 0.79375 mm, is more than the greatest, 0.7 mm"),
    ("floor: 1/32 in", "floor: 1/32 in\n    at_least: 0.5 mm", "a published floor stands here already"),
]


@pytest.mark.parametrize(("was", "now", "words"), AUTHORS)
def test_an_author_who_writes_a_wear_limit_under_the_legal_floor_is_told_by_the_reader(
    was: str, now: str, words: str
) -> None:
    loaded = Shelf((FOLDER,)).load("arrival")
    assert isinstance(loaded, Loaded)
    text = loaded.files[loaded.main].decode()
    assert text.count(was) == 1
    told = read({**loaded.files, loaded.main: text.replace(was, now).encode()}, loaded.main)
    assert isinstance(told, tuple)
    assert [words in one.text for one in told] == [True]
    assert told[0].help


# ── fluid for an exchange ──
# By hand, pi/4 d^2 L in mL with lengths in mm:
# demo car, which is the hatchback with a bore of 7/8 in
#   tube 3.33 mm: 8.709202 mL a metre; hose 3.2 mm: 8.042477 mL a metre
#   RR 5.0 m, 0.35 m, 34 mm x 20 mm:  43.54601 + 2.81487 + 18.15841 =  64.51928
#   LR 4.6 m, 0.35 m, 34 mm x 20 mm:  40.06233 + 2.81487 + 18.15841 =  61.03560
#   RF 1.9 m, 0.40 m, 57 mm x 25 mm:  16.54748 + 3.21699 + 63.79397 =  83.55844
#   LF 1.0 m, 0.40 m, 57 mm x 25 mm:   8.70920 + 3.21699 + 63.79397 =  75.72016
#   all four 284.83349; one and a half times 427.25023; a stroke 22.225 mm x 15 mm 5.81922, four of them 23.27688
#   one round 450.52711; the reservoir from drawn down to MAX takes 200 - 45 = 155; together 605.52711
# saloon
#   tubes 12.4 m 107.99410; hoses 1.5 m 12.06372; rear 2 x 36 mm x 22 mm 44.78655; front 2 x 54 mm x 28 mm 128.25238
#   all four 293.09675; one and a half times 439.64512; a stroke 20.64 mm x 16 mm 5.35339, four of them 21.41357
#   one round 461.05869; the reservoir takes 280 - 60 = 220; together 681.05869
CONTENTS = [("RR", "64.519"), ("LR", "61.036"), ("RF", "83.558"), ("LF", "75.720")]
NEEDS = [("demo", "450.527", "605.527"), (HATCHBACK, "450.527", "605.527"), (SALOON, "461.059", "681.059")]


@pytest.mark.parametrize(("corner", "content"), CONTENTS)
def test_the_content_of_a_corner_is_pi_over_4_d_squared_l_of_tube_hose_and_calliper(corner: str, content: str) -> None:
    assert worked("brake-fluid-exchange", "demo", "content", "mL", corner) == f"{content} mL"


@pytest.mark.parametrize(("car", "one_round", "whole"), NEEDS)
def test_the_fluid_of_an_exchange_is_one_and_a_half_contents_a_stroke_a_corner_and_the_reservoir(
    car: str, one_round: str, whole: str
) -> None:
    assert worked("brake-fluid-exchange", car, "round_needed", "mL") == f"{one_round} mL"
    assert worked("brake-fluid-exchange", car, "fluid_needed", "mL") == f"{whole} mL"


# Common practice, no source: about two bottles of 500 mL for an exchange at four wheels.
@pytest.mark.parametrize("car", ["demo", HATCHBACK, SALOON])
def test_one_bottle_of_500_ml_is_too_little_for_four_wheels_and_two_are_enough(car: str) -> None:
    need = float(worked("brake-fluid-exchange", car, "fluid_needed", "mL").removesuffix(" mL"))
    assert 500 < need < 1000


# ── converter ──
# Common practice, no source: a lit converter is about 100 F deg (55.56 K) hotter behind than in front.
# A difference converts without offset: 100 F deg are 500/9 K (NIST SP 811, B.8).
# By hand, with 168 F (348.706 K) in front:
#   the rise ends at 268 F, which are 404.261 K. By Wien's law 2 % of 93 % are worth there
#   0.02 / 0.93 x 0.014 mm x (404.261 K)^2 / 14.388 mm K = 3.4198 K = 6.1556 F deg
#   the front is doubted by 2.5 K (4.5 F deg) more, 10.656 F deg in all; behind, 2 u = 2 x 4.5 / sqrt 3 = 5.196 F deg
#   it supports from 268 + 10.656 + 5.196 = 283.852 F on, and does not below 268 - 10.656 - 5.196 = 252.148 F
@dataclass
class Timed(Run):
    """A run by a clock that the shipped answers move."""

    clock: SteppedClock = field(default_factory=SteppedClock)

    def now(self) -> Stamp:
        return self.clock.now()


def converter(
    front: str, behind: str, rise: str, error: str, written: str = ""
) -> tuple[Run, ev.Taken, tuple[str, ...]]:
    """The converter check by its shipped answers, with these temperatures on all five readings of each spot.

    The run at its end or where ``written`` under the verdict was not taken, the judged reading, the steps that were
    come to.
    """
    made = procedure("catalytic-converter-check")
    answers = read_answers(FOLDER / "demo" / "catalytic-converter-check.answers.yaml")
    assert isinstance(answers, Answers)
    said: dict[str, dict[str, object]] = {
        "read-front": {"points": [front] * 5, "instrument": "infrared-1"},
        "read-rear": {"points": [behind] * 5, "instrument": "infrared-1"},
    }
    if written:
        said |= {step: {"value": written} for step in VERDICTS.values()}
    told = replace(answers, steps={**answers.steps, **{k: (Said(v, answers.file),) for k, v in said.items()}})
    cards = {name: dict(card) for name, card in demo_car().instruments.items()}
    cards["infrared-1"] = {"what": "infrared thermometer", "unit": "°F"} | ({"error": error} if error else {})
    asks = {k: v["value"] for k, v in values_of(made.name, "demo").items()}
    asks |= {"converter_rise": rise, "thermometer_error": error or "0.5 K"}
    run = Timed(made, asks, car={"instruments": cards, "conditions": dict(demo_car().conditions)})
    run.begin()
    script = _Script(made, told, run.clock)
    taken: dict[str, ev.Taken] = {}
    steps: dict[str, None] = {}
    while run.state.phase != "ended" and not isinstance(run.state.last, ev.Mistaken):
        assert len(run.lines) < 400, run.path
        steps[run.path] = None
        act = script.next_act(run.state)
        assert not isinstance(act, Finding), act
        taken |= {one.name: one for one in run.goes(act) if isinstance(one, ev.Taken)}
    return run, taken["rear_temperature"], tuple(steps)


VERDICTS = {"supports": "yes-write", "does not support": "no-write", "cannot tell": "open-write"}
OPEN = {"too near to say": "cannot tell"}
CONVERTER = [
    # 58 F deg colder behind
    ("268", "210", "56 K", "2.5 K", "does not support"),
    # 100 F deg hotter, just what is looked for: no verdict
    ("168", "268", "100 F deg", "2.5 K", "cannot tell"),
    ("168", "283.9", "100 F deg", "2.5 K", "supports"),
    ("168", "283.8", "100 F deg", "2.5 K", "cannot tell"),
    ("168", "252.2", "100 F deg", "2.5 K", "cannot tell"),
    ("168", "252.1", "100 F deg", "2.5 K", "does not support"),
    # a thermometer without error behind and with 0.5 K (0.9 F deg) in front: 268 + 7.056 and 268 - 7.056
    ("168", "275.1", "100 F deg", "", "supports"),
    ("168", "275", "100 F deg", "", "cannot tell"),
    ("168", "261", "100 F deg", "", "cannot tell"),
    ("168", "260.9", "100 F deg", "", "does not support"),
    # a shop that takes 56 K, which are 100.8 F deg: 3.4273 K of emissivity, 268.8 + 4.5 + 6.169 + 5.196 = 284.665
    ("168", "284.6", "56 K", "2.5 K", "cannot tell"),
    ("168", "284.7", "56 K", "2.5 K", "supports"),
]


@pytest.mark.parametrize(("front", "behind", "rise", "error", "outcome"), CONVERTER)
def test_two_temperatures_support_a_converter_or_not_and_a_close_call_cannot_be_told(
    front: str, behind: str, rise: str, error: str, outcome: str
) -> None:
    run, verdict, steps = converter(front, behind, rise, error)
    assert OPEN.get(verdict.outcome, verdict.outcome) == outcome
    assert run.state.ended is not None
    assert run.state.ended.kind == "done"
    assert [step for step in steps if step in VERDICTS.values()] == [VERDICTS[outcome]]
    written = procedure("catalytic-converter-check").body.nodes[VERDICTS[outcome]]
    assert isinstance(written, Step)
    assert f"'{outcome}'" in written.do


@pytest.mark.parametrize("outcome", sorted(VERDICTS))
def test_no_part_is_ordered_in_the_text_of_a_verdict_on_the_converter(outcome: str) -> None:
    written = procedure("catalytic-converter-check").body.nodes[VERDICTS[outcome]]
    assert isinstance(written, Step)
    text = f"{written.do} {written.short} {written.note}".lower()
    assert "verdict" in text
    assert not any(word in text for word in ("order", "renew", "replace", "buy"))


@pytest.mark.parametrize(("behind", "outcome"), [("210", "does not support"), ("268", "cannot tell")])
def test_a_part_number_under_the_verdict_on_the_converter_is_not_taken(behind: str, outcome: str) -> None:
    front = "268" if outcome == "does not support" else "168"
    run, _, _ = converter(front, behind, "100 F deg", "2.5 K", written="a part number")
    assert run.path == VERDICTS[outcome]
    assert isinstance(run.state.last, ev.Mistaken)
    assert run.state.last.value == "a part number"


# ── age of a tyre ──
# 49 CFR 574.5: the last four digits are week and year. By hand with a year of 365.25 d, on a day in week 30 of 2026:
#   "2518", week 25 of 2018: 8 x 365.25 + 5 x 7  = 2922 + 35 = 2957 d
#   "3020", week 30 of 2020: 6 x 365.25          = 2191.5 d, a day and a half over 2190 d
#   "3120", week 31 of 2020: 6 x 365.25 - 7      = 2184.5 d
#   "0301", week 3 of 2001: 25 x 365.25 + 27 x 7 = 9131.25 + 189 = 9320.25 d
AGES = [("25", "18", "2957.000"), ("30", "20", "2191.500"), ("31", "20", "2184.500"), ("03", "01", "9320.250")]


@pytest.mark.parametrize(("week", "year", "days"), AGES)
def test_the_age_of_a_tyre_follows_from_week_and_year_of_its_date_code(week: str, year: str, days: str) -> None:
    assert worked("tyre-exchange", "demo", "tyre_age", "d", "LF", **{
        "tyre_week@LF": f"{week} pieces", "tyre_year@LF": f"{year} pieces",
    }) == f"{days} d"  # fmt: skip


def test_a_tyre_is_young_enough_from_the_first_week_in_which_its_age_is_within_the_limit() -> None:
    # 30 + 6 x 365.25 / 7 - 2190 / 7 = 30 + 313.0714 - 312.8571 = 30.2143: week 30 is too old, week 31 is not
    least = worked("tyre-exchange", "demo", "weeks_least", "pieces", "LF", **{"tyre_year@LF": "20 pieces"})
    assert least == "30.214 pieces"


# ── freezing point ──
# Lange's Handbook, table 5.13, read in a scan that lost the minus signs: propylene glycol, 50 % by volume, -28 °F.
def test_the_wanted_mix_of_propylene_glycol_freezes_below_what_the_saloon_must_reach() -> None:
    asked = values_of("coolant-exchange", SALOON)
    assert (asked["glycol"]["value"], asked["mix_want"]["value"]) == ("propylene glycol", "50 %")
    wanted = q(asked["freeze_want"]["value"], "temperature")
    assert q("-28 °F", "temperature").hi <= wanted.lo


@pytest.mark.parametrize(
    ("step", "grade", "dry", "wet"),
    [("can-dot-3", "DOT 3", 401, 284), ("can-dot-4", "DOT 4", 446, 311), ("can-dot-5-1", "DOT 5.1", 500, 356)],
)
def test_the_boiling_points_beside_a_grade_are_those_of_the_regulation(
    step: str, grade: str, dry: int, wet: int
) -> None:
    """49 CFR 571.116 S5.1.1 and S5.1.2 (least equilibrium reflux boiling points, dry and wet), printed in °F there."""
    node = find(procedure("brake-fluid-exchange"), step).node
    assert isinstance(node, Step)
    shown = [str((Fraction(f) - 32) * Fraction(5, 9)) for f in (dry, wet)]
    assert node.note.startswith(f"Fresh {grade} boils at {shown[0]} °C or more, and at {shown[1]} °C or more")
