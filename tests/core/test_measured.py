"""Readings for whoever judges them later. 1 ft lbf = 1.355 817 948 331 400 4 N m, 1 in = 25.4 mm (NIST SP 811, B.8)."""

from hypothesis import given, settings
from hypothesis import strategies as st

from runner.core import act as ac
from runner.core import event as ev
from runner.core.measured import Measured, measured
from tests.edge.small import USUAL, begin, lines, procedure, typed


def taken(*acts: object, start: object = USUAL[0]) -> tuple[Measured, ...]:
    told = lines((start, *USUAL[1:5], *acts))[1]  # type: ignore[arg-type]
    return measured(told, procedure())


def test_a_reading_stands_as_it_was_typed_with_its_limit_and_where_that_comes_from():
    [row] = taken(typed("4.51"), ac.Accept())
    assert (row.line, row.what, row.shown, row.limit_shown) == (7, "pad thickness", "4.51 mm", "at least 3 mm")
    assert (row.outcome, row.instrument, row.who) == ("pass", "outside mike", "AB")
    assert row.sources == ("Least thickness of the pad: 3 mm, from car's service literature",)


def test_value_and_limit_stand_in_both_units_where_instrument_and_source_differ():
    [row] = taken(ac.Enter(typed=["0.2"], unit="in", instrument="outside mike"), ac.Accept())
    assert row.shown == "0.2 in (5.08 mm)"
    assert row.limit_shown == "at least 3 mm (at least 0.1182 in)"


def test_a_source_in_another_unit_is_shown_as_it_was_given():
    start = begin(asks={"pad_limit": {"value": "1/8 in", "source": "car's service literature"}})
    [row] = taken(typed("4.51"), ac.Accept(), start=start)
    assert row.limit_shown == "at least 3.175 mm"
    assert row.sources == ("Least thickness of the pad: 1/8 in, from car's service literature",)


@settings(max_examples=40)
@given(st.decimals("0.01", "19", places=2))
def test_a_bar_shows_the_value_on_the_side_of_its_limit_that_it_is_on(value: object):
    [row] = taken(typed(str(value)), ac.Accept())
    [bar] = row.bars
    [(first, last)] = bar.passes
    assert 0 <= bar.least <= bar.low <= bar.high <= bar.most <= 1
    assert last == 1.0
    if row.outcome == "pass":
        assert bar.least >= first
    elif row.outcome == "fail":
        assert bar.most <= first
    else:
        assert bar.least < first < bar.most


def test_a_corrected_reading_shows_what_it_was_and_what_it_is():
    correct = ac.Correct(line=5, typed=["4.15"], unit="mm", reason="digits swapped")
    told = lines((*USUAL[:-1], correct))[1]
    assert any(isinstance(event, ev.Restated) for event in told[-1].events)
    [row] = measured(told, procedure())
    assert row.shown == "4.15 mm"
    assert row.corrected == "corrected in line 13; it was: 4.51 mm, pass"
    assert row.typed == ("4.51",)


def test_every_field_of_a_reading_is_that_of_the_record():
    told = lines()[1]
    [event] = [e for one in told for e in one.events if isinstance(e, ev.Taken)]
    [row] = measured(told, procedure())
    for name in ("unit", "instrument", "dimension", "limit", "limit_kind", "rule", "outcome", "label", "probability",
                 "because", "clicks", "repeat", "path", "name"):  # fmt: skip
        assert getattr(row, name) == getattr(event, name), name
    assert [list(pair) for pair in row.values] == event.values
    assert (list(row.typed), row.error) == (event.typed, event.twice_u)


def test_without_a_procedure_the_record_is_told_as_it_stands():
    [row] = measured(lines()[1], None)
    assert (row.what, row.shown, row.limit_shown, row.bars) == ("pad", "4.51 mm", "at least 3 mm", ())
