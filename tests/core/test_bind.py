"""The values of a car count only where they fit their asks, and a formula only where all of it is known."""

from collections.abc import Mapping
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.bind import EXAMPLE, MEASURED, Bound, bind, compute_order, environment, quantity, take, value
from runner.core.expr import Expr, parse
from runner.core.finding import Finding, Place, line_of
from runner.core.graph import Ask, Body, Compute, Procedure, Vocabulary
from runner.core.quantity import Quantity
from runner.core.units import UNITS, Unclear, parse_quantity

BOOK = "car's service literature"
AT = Place("brakes.yaml", 1, 1)
CAR = Place("car.yaml", 7, 3)
MM, M, ML = UNITS["mm"], UNITS["m"], UNITS["mL"]


def length(name: str, **more: object) -> Ask:
    given_of: dict[str, object] = {
        "what": name, "kind": "quantity", "dimension": MM.dimension, "unit": MM, "sources": (BOOK,), "place": AT,
    }
    return Ask(name=name, **(given_of | more))  # type: ignore[arg-type]


def amount(text: str) -> Quantity:
    typed = parse_quantity(text, MM.dimension)
    assert not isinstance(typed, Unclear)
    return typed.quantity


def formula(text: str) -> Expr:
    made = parse(text)
    assert isinstance(made, Expr)
    return made


def compute(name: str, text: str) -> Compute:
    return Compute(name=name, what=name, expr=formula(text), unit=None, per=None, place=AT)


def procedure(*asks: Ask, computes: tuple[Compute, ...] = ()) -> Procedure:
    return Procedure(
        name="brakes", title="", revision="1", file="brakes.yaml", purpose="", not_for=(), is_fragment=False,
        here=None, contract=None, tools=(), consumables=(), safety=(), asks={ask.name: ask for ask in asks},
        computes={one.name: one for one in computes}, levels={}, parts={}, stacks={}, waits={}, rules=(),
        assumes=(), carries=(), example_cars=(), conditions={},
        vocabulary=Vocabulary(file="", conditions={}, places={}, deeds={}, hazards={}, duties=()),
        body=Body(nodes={}, first=""), fragments={}, texts={}, place=AT,
    )  # fmt: skip


ORDER = ("RR", "LR", "RF", "LF")
CIRCUITS = procedure(
    length("bore", low=amount("12 mm"), high=amount("40 mm"), measured=True),
    length("low", unknown=True),
    length("high", below="low"),
    # RCW 46.37.360(5), same as 49 CFR 570.5: lining of a light vehicle at least 1/32 in.
    length("lining", low=amount("1/32 in"), floor_source="49 CFR 570.5"),
    length("tube", per="corner", unknown=True),
    Ask(name="one_way", what="", kind="choice", options=("fitted", "not fitted"), sources=("seen",), place=AT),
    Ask(name="order", what="", kind="order", orders={"furthest first": ORDER}, sources=(BOOK,), place=AT),
    Ask(name="note", what="", kind="text", sources=(BOOK,), place=AT),
    computes=(compute("twice", "2 * bore"), compute("area", "twice * tube"), compute("gap", "max(disc) - min(disc)")),
)


def entry(text: str, source: str = BOOK) -> Mapping[str, str]:
    return {"value": text, "source": source}


def bound(**values: str) -> Bound:
    made = bind(CIRCUITS, {name.replace("_at_", "@"): entry(text, EXAMPLE) for name, text in values.items()})
    assert isinstance(made, Bound), made
    return made


def refused(key: str, text: str, source: str = BOOK) -> str:
    made = bind(CIRCUITS, {key: entry(text, source)}, {key: CAR})
    assert isinstance(made, tuple)
    return line_of(made[0]).replace("\n  help", "")


def test_values_become_quantities_words_and_orders_and_the_rest_is_not_known() -> None:
    made = bind(
        CIRCUITS,
        {
            "bore": entry("22.0", MEASURED),
            "tube@RR": entry("5 m"),
            "one_way": entry("not fitted", "seen"),
            "order": entry("furthest first"),
            "note": entry("  two   pumps "),
            "low": entry("not known yet", ""),
        },
    )
    assert isinstance(made, Bound)
    assert made.values == {
        "bore": amount("22 mm"),
        "tube@RR": amount("5 m"),
        "one_way": "not fitted",
        "order": ORDER,
        "note": "two pumps",
    }
    assert made.unknown == {"low", "high", "lining", "tube@LF", "tube@RF", "tube@LR"}


REFUSED = """
bore | 22 mL | 'mL' measures volume, but length is expected [value]: write the value in mm or m or cm
bore | 11.9 mm | 11.9 mm is less than 12 mm, the least that can be right [value]: check the value and its unit
bore | 4 in | 4 in is more than 40 mm, the most that can be right [value]: check the value and its unit
lining | 0.5 mm | 0.5 mm is under the floor of 0.79375 mm that 49 CFR 570.5 sets [value]: \
take a limit of 0.79375 mm or more
bore | not known yet | a value is needed here [value]: look it up before the start: the ask allows no gap
tube | 5 m | there is one value for each corner [value]: write one for each of LF, RF, LR, RR
bore@RR | 22 mm | there is one value for the whole car [value]: write it as 'bore'
one_way | fited | 'fited' is not one of the answers [value]: did you mean 'fitted'?
order | RR, LR, RF, LF | 'RR, LR, RF, LF' is not one of the answers [value]: the answers are 'furthest first'
"""


@pytest.mark.parametrize("line", REFUSED.strip().split("\n"))
def test_a_value_that_does_not_fit_is_refused_with_what_would(line: str) -> None:
    key, text, words = line.split(" | ")
    assert refused(key, text, "seen" if key == "one_way" else BOOK) == f"car.yaml:7:3: {key}: {words}"


def test_a_name_that_is_not_asked_and_a_text_without_end_are_refused() -> None:
    assert refused("bor", "22 mm") == "car.yaml:7:3: 'bor' is not asked by brakes [name]: did you mean 'bore'?"
    assert refused("note", "x" * 201).endswith("note: this text is too long [value]: write at most 200 characters")


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("", f"bore: its source is missing [value]: say where it comes from: '{BOOK}' or '{MEASURED}'"),
        ("a forum", f"bore: 'a forum' is not an accepted source [value]: the sources are '{BOOK}' or '{MEASURED}'"),
    ],
)
def test_a_value_counts_only_from_a_source_that_the_ask_accepts(source: str, words: str) -> None:
    assert refused("bore", "22 mm", source) == f"car.yaml:7:3: {words}"


def test_measuring_it_is_a_source_only_where_the_ask_says_so() -> None:
    assert "is not an accepted source" in refused("high", "1 mm", MEASURED)


def test_a_value_must_be_above_the_one_that_its_ask_names() -> None:
    made = bind(CIRCUITS, {"low": entry("3 mm"), "high": entry("3.0 mm")})
    assert isinstance(made, tuple)
    assert [one.text for one in made] == ["high: 3 mm is not above low, which is 3 mm"]
    assert isinstance(bind(CIRCUITS, {"low": entry("3 mm"), "high": entry("3.01 mm")}), Bound)


def test_every_value_that_does_not_fit_is_told_at_once() -> None:
    made = bind(CIRCUITS, {"bore": entry("1 mm"), "lining": entry("x"), "low": entry("2 mm"), "high": entry("1 mm")})
    assert isinstance(made, tuple)
    assert [one.text.partition(":")[0] for one in made] == ["bore", "high", "lining"]


def test_a_name_means_the_corner_that_is_here_and_a_corner_of_its_own_wins() -> None:
    known = bound(tube_at_RR="5 m", tube_at_LF="1 m")
    assert value(CIRCUITS, known, "tube", "RR", {}) == amount("5 m")
    assert value(CIRCUITS, known, "tube@LF", "RR", {}) == amount("1 m")
    assert value(CIRCUITS, known, "tube", None, {}) is None
    assert value(CIRCUITS, known, "tube", "LR", {}) is None


def test_computed_values_follow_from_others_and_are_not_known_without_them() -> None:
    known = bound(bore="20 mm", tube_at_RR="1 m")
    area = value(CIRCUITS, known, "area", "RR", {})
    assert isinstance(area, Quantity)
    assert area.lo == area.hi == Fraction(4, 100)
    assert value(CIRCUITS, known, "area", "LF", {}) is None
    missing = quantity(CIRCUITS, known, formula("area + 1 m2"), "LF", {})
    assert isinstance(missing, Unclear)
    assert missing.why == "'area' has no value yet"


def test_readings_are_looked_for_here_then_on_the_axle_then_for_the_car() -> None:
    here, axle, car = amount("1 mm"), amount("2 mm"), amount("3 mm")
    taken = {"a@RR": (here,), "a@rear": (axle,), "a": (car,), "b@rear": (axle,), "b": (car,), "c": (car,)}
    assert [value(CIRCUITS, bound(), name, "RR", taken) for name in "abc"] == [here, axle, car]
    assert value(CIRCUITS, bound(), "a", "front", taken) == car
    assert value(CIRCUITS, bound(), "a@RR", None, taken) == here


def test_several_points_are_joined_by_formulas_and_shown_as_what_holds_them_all() -> None:
    points = tuple(map(amount, ("22.1 mm", "22.4 mm", "22.2 mm")))
    taken = {"disc": points, "total of poured": (amount("1 mm"), amount("2 mm"))}
    shown = value(CIRCUITS, bound(), "disc", None, taken)
    assert shown == Quantity(points[0].lo, points[1].hi, MM.dimension)
    gap = value(CIRCUITS, bound(), "gap", None, taken)
    assert gap == amount("0.3 mm")
    assert quantity(CIRCUITS, bound(), formula("total of poured"), None, taken) == amount("3 mm")
    plain = quantity(CIRCUITS, bound(), formula("disc + 1 mm"), None, taken)
    assert isinstance(plain, Unclear)


def test_a_word_is_no_number() -> None:
    known = bound(one_way="fitted", order="furthest first")
    assert value(CIRCUITS, known, "one_way", None, {}) == "fitted"
    assert value(CIRCUITS, known, "order", None, {}) == ORDER
    assert isinstance(quantity(CIRCUITS, known, formula("one_way * 2"), None, {}), Unclear)


def test_the_environment_holds_every_quantity_that_is_known_here() -> None:
    known = bound(bore="20 mm", one_way="fitted", tube_at_RR="1 m")
    env = environment(CIRCUITS, known, {"poured@RR": (amount("2 mm"),), "total of poured": (amount("2 mm"),)}, "RR")
    assert set(env) == {"bore", "tube", "twice", "area", "poured", "poured@RR", "total of poured"}


def test_values_that_are_computed_from_themselves_are_named_and_never_looked_up_for_ever() -> None:
    circle = procedure(computes=(compute("a", "b + 1"), compute("b", "a + 1")))
    order = compute_order({one.name: one.expr.names for one in circle.computes.values()})
    assert isinstance(order, Unclear)
    assert order.why == "it is computed from itself: a from b from a"
    empty = bind(circle, {})
    assert isinstance(empty, Bound)
    assert value(circle, empty, "a", None, {}) is None


@given(st.dictionaries(st.sampled_from([*CIRCUITS.asks, "tube@RR", "x", "@", ""]), st.text(max_size=30), max_size=4))
def test_whatever_is_typed_is_a_value_or_a_finding(raw: dict[str, str]) -> None:
    made = bind(CIRCUITS, {key: entry(text, EXAMPLE) for key, text in raw.items()})
    assert isinstance(made, Bound) or (made and all(isinstance(one, Finding) for one in made))
    for ask in CIRCUITS.asks.values():
        for text in raw.values():
            take(ask, text)
