"""Faults that are put into a small text: each site of each operator, and what becomes of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from runner.cli import command
from runner.cli.mutating import judge, tried
from runner.core.graph import Procedure
from runner.edge.site import Site
from runner.edge.workbench import Workbench, bench
from runner.verify import Checked, verify
from runner.verify.mutation import Report, sample

VOCABULARY = (
    """\
vocabulary: small shop
places: {wheel: at the wheel, bench: at the bench, under car: under the car}
deeds: {opens_tap: the tap is opened}
hazards:
  spray: {hazard: Oil sprays., consequence: It can blind an eye., avoid: Keep the goggles on.,
    harm: death or serious injury, outcome: could}
conditions:
  goggles_on: {kind: fact, says: goggles are on, says_not: goggles are off, keeps: this stretch, restore: goggles}
  cap_on: {of: corner, kind: fact, says: the cap is on, says_not: the cap is off}
  tap_open: {of: corner, kind: opening, says: the {here} tap is open, says_not: the {here} tap is closed,
    normally: false, leave_rank: 1, if_left: {close: Close the {here} tap.}}
  on_stands: {kind: fact, says: the car is on stands, says_not: the car is on its wheels}
duties:
  - {on: {place: under car}, needs: [on_stands]}
  - {on: {make: tap_open}, needs: [goggles_on], cautions: [spray]}
""".replace("the {here} tap is open", '"the {here} tap is open"')
    .replace("the {here} tap is closed", '"the {here} tap is closed"')
    .replace("Close the {here} tap.", '"Close the {here} tap."')
)

PROCEDURE = """\
procedure: taps
title: Open and close each tap
revision: "1"
purpose: Each tap was open once.
assumes: [none tap_open]
rules:
  - {at_end: [none tap_open, all cap_on], why: Oil runs out.}
steps:
  goggles: {do: Put the goggles on., place: bench, makes: [goggles_on], next: raise}
  raise: {do: Raise the car., place: wheel, makes: [on_stands], next: corners}
  corners:
    each: {corner: [LF, RF, LR, RR]}
    steps:
      open:
        do: Open the tap.
        place: under car
        needs: [on_stands, goggles_on]
        cautions: [spray]
        makes: [tap_open]
        next: close
      close:
        do: Close the tap.
        place: wheel
        ends: [tap_open]
        next: look
      look:
        do: Look at the tap.
        place: wheel
        check: {ask: How is it?, pick: [dry, wet], right: [dry], otherwise: true}
        next: {met: {go: next corner, makes: [cap_on]}, not so: look}
        at_most: {times: 3, then: exit wet}
    then: done
    exits: {wet: stop}
  done: {end: done, say: It is done.}
  stop: {end: stopped, say: It is wet.}
"""


def on_bench(text: str = PROCEDURE) -> Workbench:
    files = {"taps.yaml": text.encode(), "vocabulary.yaml": VOCABULARY.encode()}
    made = bench(files, "taps.yaml")
    assert isinstance(made, Workbench), made
    return made


def survivors(told: Report, operator: str) -> list[str]:
    return [m.what for m in told.survivors if m.operator == operator]


def of(made: Workbench, operator: str) -> list[Site]:
    return [s for s in made.sites() if s.mutant.operator == operator]


@pytest.fixture(scope="module")
def told() -> Report:
    return tried(on_bench())


def test_the_sound_procedure_is_proven() -> None:
    assert isinstance(verify(on_bench().procedure), Checked)


def test_a_site_is_what_the_author_wrote_and_not_what_it_becomes_at_each_corner() -> None:
    made = on_bench()
    assert [s.mutant.what for s in of(made, "drop make")] == [
        "'goggles_on' dropped at 'goggles'",
        "'on_stands' dropped at 'raise'",
        "'tap_open' dropped at 'open'",
        "'cap_on' dropped at 'look'",
    ]


def test_each_dropped_need_end_and_caution_is_found(told: Report) -> None:
    for operator in ("drop need", "drop end", "drop caution", "drop make", "fix index"):
        assert told.operators[operator].counted, operator
        assert survivors(told, operator) == []


def test_a_survivor_names_the_rule_that_would_find_it(told: Report) -> None:
    found = [m for m in told.survivors if m.operator == "swap steps" and "'goggles'" in m.what]
    assert found
    assert found[0].mend == "after: [goggles] at 'raise'"
    assert found[0].place.line == PROCEDURE.splitlines().index(PROCEDURE.splitlines()[found[0].place.line - 1]) + 1


ASKED = PROCEDURE.replace("next: raise}", "next: ask}", 1).replace(
    "  raise: {",
    """\
  ask: {do: Look at the sheet., place: bench, choose: {ask: Is it there?, options: [there, lost]}, next: {there: read, lost: write}}
  write: {do: Write a new sheet., place: bench, next: read}
  read: {do: Read the sheet out., place: bench, next: raise}
  raise: {""",  # noqa: E501  (one node a line, as it stands in a file)
)
WITNESSED = (
    ("  write: {", "  write: {after: [{ask: lost}], "),
    ("  read: {", "  read: {after: [ask], "),
    ("  raise: {", "  raise: {after: [read], "),
    ("    each: {", "    after: [raise]\n    each: {"),
)


def witnessed() -> str:
    text = ASKED
    for old, new in WITNESSED:
        text = text.replace(old, new)
    return text


def test_what_is_named_does_find_the_survivors_of_the_way() -> None:
    ways = ("swap arms", "swap steps", "drop step")
    before = {m.what: m.mend for m in tried(on_bench(ASKED)).survivors if m.operator in ways}
    assert before["the ways of 'there' and 'lost' swapped at 'ask'"] == "after: [{ask: lost}] at 'write'"
    assert before["the step 'read' dropped, bridged to 'raise'"] == "after: [read] at 'raise'"
    named = {mend for mend in before.values() if mend.startswith("after: ")}
    assert {"after: [{ask: lost}] at 'write'", "after: [read] at 'raise'"} <= named
    after = {m.what for m in tried(on_bench(witnessed())).survivors}
    assert not [what for what, mend in before.items() if mend in named and what in after]


def test_what_is_named_holds_in_the_sound_procedure() -> None:
    assert isinstance(verify(on_bench(witnessed()).procedure), Checked)


def test_a_dropped_step_that_another_one_states_is_found_and_not_stillborn() -> None:
    made = on_bench(witnessed())
    site = next(s for s in of(made, "drop step") if "'read'" in s.mutant.what)
    judged = judge(made)
    assert judged.of(judged.sites.index(site)).by == ("proof 'after'",)


def test_survivors_stand_in_the_denominator(told: Report) -> None:
    score = told.score
    assert score.counted == score.killed + len(told.survivors)
    assert score.made == score.counted + score.stillborn + score.equivalent


def test_a_rule_that_finds_nothing_alone_is_inert() -> None:
    again = "  - {at_end: [none tap_open], why: The same once more.}\n"
    told = tried(on_bench(PROCEDURE.replace("rules:\n", "rules:\n" + again)))
    assert "rule 'at the end: none tap_open'" in told.inert


def test_facts_and_numbers_stand_outside_the_rate(told: Report) -> None:
    assert told.facts.counted == 1
    assert [m.what for m in told.unseen_numbers] == ["'times: 3' halved at 'look'"]
    assert "number" not in told.operators
    assert "drop fact" not in told.operators


def test_what_cannot_be_read_is_stillborn(told: Report) -> None:
    assert told.operators["drop return"].stillborn >= 1


def test_a_change_that_no_path_shows_is_equivalent() -> None:
    both = PROCEDURE.replace("needs: [on_stands, goggles_on]", "needs: [on_stands, goggles_on, goggles_on]")
    told = tried(on_bench(both))
    assert told.operators["drop need"].equivalent == 2


def test_every_fault_leaves_a_tree_that_is_read_or_refused_in_words() -> None:
    made = on_bench()
    for site in made.sites():
        changed = made.made(site)
        assert isinstance(changed, Procedure) or all(f.text for f in changed), site


def test_of_many_faults_a_sample_is_tried_that_the_seed_alone_decides() -> None:
    made = on_bench()
    mutants = tuple(s.mutant for s in made.sites())
    assert sample(mutants, 20, 1) == sample(mutants, 20, 1) != sample(mutants, 20, 2)
    assert {mutants[n].operator for n in sample(mutants, 20, 1)} == {m.operator for m in mutants}
    told = tried(made, 20, 1)
    assert told.tried == len(sample(mutants, 20, 1)) < told.found == len(mutants)


def test_the_command_says_it_as_json_for_a_machine(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taps.yaml").write_text(PROCEDURE, "utf-8")
    (tmp_path / "vocabulary.yaml").write_text(VOCABULARY, "utf-8")
    code = command(["mutate", str(tmp_path / "taps.yaml"), "--json"])
    made = json.loads(capsys.readouterr().out)
    assert code == (0 if made["passes"] else 1)
    assert made["mutants"] == made["killed"] + len(made["survivors"])
    assert {"operator", "file", "line", "column", "what", "would_find"} == set(made["survivors"][0])


def test_a_file_that_cannot_be_read_gives_words_and_code_two(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["mutate", "no-such-procedure-at-all"]) == 2
    assert "no procedure" in capsys.readouterr().err
