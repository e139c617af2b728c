"""Runs that together cross everything: what they cross, what they cannot, and that their answers lead the same way."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from runner.cli import command
from runner.core import act as ac
from runner.core.graph import Procedure
from runner.core.line import Head
from runner.core.state import State, visits
from runner.edge.answers import Answers, drive, read_answers
from runner.edge.answers_out import answers_text
from runner.edge.clock import SteppedClock
from runner.edge.job import Job, Nowhere
from runner.edge.reader import read
from runner.edge.rehearsal import Coverage, rehearse_all
from runner.verify.coverage import Item

VOCABULARY = """\
vocabulary: small shop
places: {wheel: at the wheel, bench: at the bench}
deeds: {turns: it is turned}
hazards:
  spray: {hazard: Oil sprays., consequence: It can blind an eye., avoid: Keep the goggles on.,
    harm: death or serious injury, outcome: could}
conditions:
  goggles_on: {kind: fact, says: goggles are on, says_not: goggles are off, keeps: this stretch, restore: goggles}
  tap_open: {kind: opening, says: the tap is open, says_not: the tap is closed, normally: false, leave_rank: 1,
    if_left: {close: Close the tap.}}
duties:
  - {on: {make: tap_open}, needs: [goggles_on], cautions: [spray]}
"""

PROCEDURE = """\
procedure: oil
title: Draw the oil
revision: "1"
purpose: The oil is fresh.
assumes: [not tap_open]
asks:
  least: {what: Least thickness, quantity: length, unit: mm, sources: [on the part]}
  kind: {what: Kind of tap, choice: [short, long], sources: [seen on the car]}
  low: {what: Oil at MIN, quantity: volume, unit: mL, sources: [on the part]}
  high: {what: Oil at MAX, quantity: volume, unit: mL, sources: [on the part], above: low}
levels:
  sump: {what: oil in the sump, unit: mL, floor: 0 mL, brim: high + 50 mL, marks: {MIN: low, MAX: high}}
example_cars:
  small: {least: 5 mm, kind: short, low: 100 mL, high: 200 mL}
  large: {least: 6 mm, kind: long, low: 100 mL, high: 300 mL}
steps:
  goggles: {do: Put the goggles on., place: bench, makes: [goggles_on], next: look}
  look:
    do: Look at the tap.
    place: wheel
    check: {ask: How is it?, pick: [dry, wet], right: [dry], otherwise: true}
    next: {met: seen, not so: look}
    at_most: {times: 2, then: bad}
  seen: {do: See where the oil stands., place: wheel, sets: {sump: MAX, by: look, within: 5 mL}, next: rings}
  rings:
    each: {corner: [LF, RF, LR, RR]}
    steps:
      ring:
        do: Measure the ring.
        place: wheel
        reading: {as: ring, what: ring, quantity: length, unit: mm, instruments: [rule],
          limit: {at_least: least, kind: marked on the part}}
        next: {pass: next corner, fail: exit worn, cannot tell: ring}
        override: exit worn
        at_most: {times: 4, then: exit worn}
    then: open
    exits: {worn: bad}
  open: {do: Open the tap., place: wheel, cautions: [spray], needs: [goggles_on], makes: [tap_open], next: pump}
  pump:
    do: Pump the strokes.
    place: wheel
    cannot: shut
    count:
      what: strokes
      beat: [{do: Press the lever.}]
      moves: {from: sump, each: [0 mL, 10 mL], low_mark: low, if_short: fill}
      grant: 5
      at_most: {strokes: 30, then: shut}
      exit: {ask: How is the oil?, clear: shut, dark: again}
  fill: {do: Fill it up., place: wheel, sets: {sump: MAX, by: look, within: 5 mL}, next: pump}
  shut: {do: Close the tap., place: wheel, ends: [tap_open], next: which}
  which: {do: Look which tap it is., place: wheel, next: {ask: kind, short: done, long: far}}
  far: {do: Reach up to the tap., place: wheel, next: done}
  done: {end: done, say: It is done.}
  bad: {end: stopped, say: It is worn.}
"""

CAR = {"least": "5 mm", "kind": "short", "low": "100 mL", "high": "200 mL"}
SEEN = {"kind": "seen on the car"}
RULE = {"rule-1": {"what": "rule", "unit": "mm", "error": "0.2 mm"}}


def oil(text: str = PROCEDURE) -> Procedure:
    files = {"oil.yaml": text.encode(), "vocabulary.yaml": VOCABULARY.encode()}
    made = read(files, "oil.yaml")
    assert isinstance(made, Procedure), made
    return made


def begin(procedure: Procedure) -> ac.Begin:
    return ac.Begin(
        procedure=procedure.name,
        revision=procedure.revision,
        version="0",
        texts=dict(procedure.texts),
        hashes={},
        car="a car",
        demonstration=True,
        salt="salt",
        asks={name: {"value": value, "source": SEEN.get(name, "on the part")} for name, value in CAR.items()},
        conditions={},
        levels={},
        waits={},
        parts={},
        instruments=RULE,
        claims={},
        heads={},
    )


def all_of(procedure: Procedure) -> Coverage:
    return rehearse_all(procedure, begin(procedure), "KS")


def test_a_step_that_could_not_be_done_once_can_be_done_the_next_time(tmp_path: Path) -> None:
    again = PROCEDURE.replace(
        "  seen: {do: See where",
        "  round: {do: Turn the tap., place: wheel, cannot: goggles, next: seen}\n  seen: {do: See where",
    ).replace("next: {met: seen, not", "next: {met: round, not")
    procedure = oil(again)
    told = all_of(procedure)
    assert {Item("oil", "round", "cannot"), Item("oil", "round", "done")} <= told.crossed
    for run in told.runs:
        state = replayed(procedure, answers_text(procedure, run.given, "again"), tmp_path)
        assert tuple((v.path, v.outcome) for v in visits(state)) == run.left


def test_a_bound_that_nothing_leads_back_to_is_said() -> None:
    once = PROCEDURE.replace("next: {met: seen, not so: look}", "next: {met: seen, not so: bad}")
    why = {(i.node, i.label): w for i, w in all_of(oil(once)).why.items()}
    assert why["look", "bound"].startswith("no way leads back to this step")


@pytest.fixture(scope="module")
def told() -> Coverage:
    return all_of(oil())


def test_every_edge_outcome_and_side_of_a_limit_is_crossed_but_what_the_car_leads_past(told: Coverage) -> None:
    assert {(i.node, i.label) for i in told.why} == {("which", "kind is long"), ("far", "done")}
    assert set(told.why.values()) == {"the values of this car lead past it"}


def test_what_is_crossed_includes_the_edges_that_the_engine_takes_by_itself(told: Coverage) -> None:
    for node, label in (("look", "bound"), ("ring", "bound"), ("pump", "short"), ("pump", "bound"), ("rings", "then")):
        assert Item("oil", node, label) in told.crossed, (node, label)


def test_both_sides_of_a_limit_and_the_guard_band_are_measured(told: Coverage) -> None:
    wanted = {"below limit 1", "above limit 1"}
    assert {i.label for i in told.crossed if i.node == "ring" and i.kind == "limit"} == wanted
    assert Item("oil", "ring", "cannot tell", "outcome") in told.crossed


def test_override_and_what_cannot_be_done_are_gone_too(told: Coverage) -> None:
    assert {Item("oil", "ring", "override"), Item("oil", "pump", "cannot")} <= told.crossed


def test_the_set_of_runs_is_small(told: Coverage) -> None:
    assert len(told.runs) <= 8
    assert all(run.fresh for run in told.runs)


def replayed(procedure: Procedure, text: str, folder: Path) -> State:
    file = folder / "one.answers.yaml"
    file.write_text(text, "utf-8")
    answers = read_answers(file)
    assert isinstance(answers, Answers), answers
    clock = SteppedClock()
    job = Job(
        procedure=procedure,
        journal=Nowhere(),
        clock=clock,
        picture=lambda _state, _head, _said: clock.now(),  # type: ignore[arg-type,return-value]
        admit=lambda _state, _path: (True, ""),
        state=State(by="KS"),
        head=Head(),
    )
    job.do(begin(procedure))
    assert drive(job, procedure, answers, clock) == ()
    return job.state


def test_the_answers_of_each_run_lead_the_same_way_again(told: Coverage, tmp_path: Path) -> None:
    procedure = oil()
    for run in told.runs:
        state = replayed(procedure, answers_text(procedure, run.given, "again"), tmp_path)
        assert state.ended is not None
        assert state.ended.kind == run.end
        assert tuple((v.path, v.outcome) for v in visits(state)) == run.left


def test_a_step_that_nothing_leads_past_is_named_with_what_hinders_it() -> None:
    needs_more = PROCEDURE.replace("instruments: [rule]", "instruments: [micrometer]")
    told = all_of(oil(needs_more))
    assert any("micrometer" in why for item, why in told.why.items() if item.node == "ring")


def test_the_command_keeps_answers_that_run_takes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    out = tmp_path / "answers"
    command(["rehearse", "park-and-secure", "--demo", "--all", "--json", "--answers-out", str(out)])
    made = json.loads(capsys.readouterr().out)
    assert made["runs"]
    for nth, run in enumerate(made["runs"]):
        records = tmp_path / f"records-{nth}"
        code = command(["run", "park-and-secure", "--demo", "--answers", run["file"], "--records", str(records)])
        told = capsys.readouterr()
        assert code == 0, told.err
        assert f"park-and-secure: {run['ends']}" in told.out
