"""What is wrong with a fragment by itself stands against whoever calls it."""

from __future__ import annotations

from pathlib import Path

import pytest

from runner.core.finding import Finding
from runner.edge.reader import read
from runner.verify import Checked, verify

VOCABULARY = (Path(__file__).parent / "cases" / "vocabulary.yaml").read_bytes()
HEAD = 'title: Case\nrevision: "1"\npurpose: Something is done.\n'
MAIN = """procedure: main
{head}example_cars: {{small: {{least: 8 mm}}, large: {{least: 20 mm}}}}
steps:
  inner: {{call: inner{at}, exits: {{out: end}}}}
  end: {{end: done, say: It is done.}}
"""
BY_ITSELF = {
    "verdict": """asks: {least: {what: Least thickness, quantity: length, unit: mm, sources: [handbook]}}
steps:
  disc:
    do: Measure the disc.
    place: wheel
    reading: {as: disc, what: the disc, quantity: length, unit: mm, instruments: [micrometer],
      limit: {at_least: least, kind: car's literature, rule: guarded}}
    next: {pass: out, fail: out, cannot tell: out}
  out: {end: out}
""",
    "wait": """waits: {soak: {what: penetrant in the thread, at_least: 15 min, before: [turn]}}
steps:
  wet: {do: Wet the thread., place: wheel, starts: soak, next: turn}
  turn: {do: Turn the nut., place: wheel, next: out}
  out: {end: out}
""",
    "reach": """steps:
  wet: {do: Wet the thread., place: wheel, next: out}
  lost: {do: Turn the nut., place: wheel, next: out}
  out: {end: out}
""",
    "rule": """rules:
  - {at_end: [goggles_on], why: The next job sprays.}
steps:
  wet: {do: Wet the thread., place: wheel, next: out}
  out: {end: out}
""",
}


def found(body: str, contract: str = "{exits: {out: {}}}", here: str = "", at: str = "") -> tuple[Finding, ...]:
    """What stands against a procedure that calls the fragment."""
    files = {
        "vocabulary.yaml": VOCABULARY,
        "main.yaml": MAIN.format(head=HEAD, at=at).encode(),
        "inner.yaml": f"procedure: inner\n{HEAD}fragment: true\n{here}contract: {contract}\n{body}".encode(),
    }
    if "asks:" not in body:
        files["main.yaml"] = files["main.yaml"].replace(
            b"example_cars: {small: {least: 8 mm}, large: {least: 20 mm}}\n", b""
        )
    made = read(files, "main.yaml")
    if isinstance(made, tuple):
        return made
    verdict = verify(made)
    return () if isinstance(verdict, Checked) else verdict


@pytest.mark.parametrize("check", BY_ITSELF)
def test_a_procedure_is_not_proven_where_a_fragment_of_it_is_not(check: str) -> None:
    assert {(f.place.file, f.check) for f in found(BY_ITSELF[check])} == {("inner.yaml", check)}


STEP = """steps:
  hose: {{do: Push the hose on., place: wheel, makes: [hose_on{at}], next: out}}
  out: {{end: out}}
"""


def test_a_fragment_for_a_corner_keeps_its_contract_at_every_corner() -> None:
    contract, here = "{exits: {out: {makes: [hose_on]}}}", "here: corner\n"
    assert found(STEP.format(at=""), contract, here, ", at: LF") == ()
    texts = [f.text for f in found(STEP.format(at="@RR"), contract, here, ", at: LF")]
    assert "the exit 'out' makes 'hose_on' by contract, but not on every path" in texts


def test_a_rule_names_no_step_that_a_fragment_has_too() -> None:
    rule = b"rules:\n  - {only_after: {step: last, after: {step: wet}}, why: Dry threads seize.}\n"
    body = BY_ITSELF["wait"].partition("\n")[2].replace("starts: soak, ", "")
    files = {
        "vocabulary.yaml": VOCABULARY,
        "inner.yaml": f"procedure: inner\n{HEAD}fragment: true\ncontract: {{exits: {{out: {{}}}}}}\n{body}".encode(),
        "main.yaml": b"procedure: main\n"
        + HEAD.encode()
        + rule
        + b"""steps:
  inner: {call: inner, exits: {out: ask}}
  ask:
    do: Look at it.
    place: wheel
    choose: {ask: Is it wet?, options: ["yes", "no"]}
    next: {"yes": last, "no": wet}
  wet: {do: Wet the thread., place: wheel, next: last}
  last: {do: Turn the nut., place: wheel, next: end}
  end: {end: done, say: It is done.}
""",
    }
    made = read(files, "main.yaml")
    assert isinstance(made, tuple)
    assert [f.text for f in made] == ["'wet' is a step of 'inner' too, and a rule would see both"]


READING = "reading: {as: disc, what: WHAT, quantity: length, unit: mm, instruments: [micrometer]}"


@pytest.mark.parametrize(
    ("own", "inner"),
    [
        ("  own: {do: Measure the disc., place: wheel, READING, next: end}\n", READING),
        (
            "asks: {disc: {what: Disc, choice: [a, b], sources: [handbook]}}\n",
            "choose: {ask: So?, options: [a, b], as: disc}",
        ),
    ],
)
def test_what_is_kept_under_one_name_is_kept_by_one_file(own: str, inner: str) -> None:
    asks, step = (own, "") if own.startswith("asks") else ("", own.replace("READING", READING))
    cars = "example_cars: {small: {disc: a}, large: {disc: b}}\n" if asks else ""
    after = "own" if step else "end"
    ends = "  end: {end: done, say: It is done.}\n"
    main = f"steps:\n  inner: {{call: inner, exits: {{out: {after}}}}}\n{step}{ends}"
    body = f"steps:\n  look: {{do: Measure the pad., place: wheel, {inner}, next: out}}\n  out: {{end: out}}\n"
    files = {
        "vocabulary.yaml": VOCABULARY,
        "main.yaml": f"procedure: main\n{HEAD}{asks}{cars}{main}".encode(),
        "inner.yaml": f"procedure: inner\n{HEAD}fragment: true\ncontract: {{exits: {{out: {{}}}}}}\n{body}".encode(),
    }
    made = read(files, "main.yaml")
    assert isinstance(made, tuple)
    assert [(f.place.file, f.text) for f in made] == [("inner.yaml", "'disc' is kept here in inner, and in main too")]
