"""The sixteen things that hold on every path of whatever passes: each has a name, its proof, a fault and a near-miss."""

# ruff: noqa: E501  (procedures stand as an author writes them)

from __future__ import annotations

import re

import pytest

from runner.core.graph import Procedure
from runner.edge.reader import read
from runner.verify import Checked, verify
from tests.verify.test_cases import CASES

HEAD = 'procedure: example\ntitle: Example\nrevision: "1"\npurpose: Something is done.\n'
END = "  end: {end: done, say: It is done.}\n"

SIXTEEN: dict[str, tuple[str, str, tuple[str, str]]] = {
    "a guard is not gone round": (
        "needs",
        """
steps:
  see: {do: Look at the wheel., place: wheel, choose: {ask: Is it dry?, options: ["yes", "no"]}, next: {"yes": dress, "no": HERE}}
  dress: {do: Put your goggles on., place: wheel, makes: [goggles_on], next: look}
  look: {do: Look up at the tank., place: wheel, deeds: [looks_up], needs: [goggles_on], cautions: [drip], next: end}
""",
        ("look", "dress"),
    ),
    "what is opened is closed": (
        "end",
        """
assumes: [not drain_open]
steps:
  open: {do: Open the drain., place: wheel, makes: [drain_open], next: see}
  see: {do: Look at the pan., place: wheel, choose: {ask: Is it full?, options: ["yes", "no"]}, next: {"yes": close, "no": HERE}}
  close: {do: Close the drain., place: wheel, ends: [drain_open], next: end}
""",
        ("end", "close"),
    ),
    "no two are open at once": (
        "rule",
        """
assumes: [not drain_open, not tap_open]
rules:
  - {never_together: [drain_open, tap_open], why: The pan runs over.}
steps:
  drain: {do: Open the drain., place: wheel, makes: [drain_open], next: see}
  see: {do: Look at the pan., place: wheel, choose: {ask: Is it dry?, options: ["yes", "no"]}, next: {"yes": shut, "no": HERE}}
  tap: {do: Open the tap., place: wheel, makes: [tap_open], next: close}
  close: {do: Close the tap., place: wheel, ends: [tap_open], next: end}
  shut: {do: Close the drain., place: wheel, ends: [drain_open], next: tap}
""",
        ("tap", "shut"),
    ),
    "whatever is open can be left safe, in one order": (
        "leave",
        """
assumes: [not drain_open, not tap_open]
steps:
  drain: {do: Open the drain., place: wheel, makes: [drain_open], next: see}
  see: {do: Look at the pan., place: wheel, choose: {ask: Is it dry?, options: ["yes", "no"]}, next: {"yes": shut, "no": HERE}}
  tap: {do: Open the tap., place: wheel, makes: [tap_open], next: close}
  close: {do: Close the tap., place: wheel, ends: [tap_open], next: end}
  shut: {do: Close the drain., place: wheel, ends: [drain_open], next: tap}
""",
        ("tap", "shut"),
    ),
    "every loop has its bound": (
        "loop",
        """
steps:
  try: {do: Turn the bolt., place: wheel, choose: {ask: Did it move?, options: ["yes", "no"]}, next: {"yes": end, "no": soak}}
  soak: {do: Spray the thread., place: wheel, HERE next: try}
""",
        ("", "at_most: {times: 3, then: safe stop},"),
    ),
    "what cannot be told does not pass": (
        "verdict",
        """
asks: {least: {what: Least thickness, quantity: length, unit: mm, sources: [handbook]}}
example_cars: {small: {least: 8 mm}, large: {least: 20 mm}}
steps:
  disc: {do: Measure the disc., place: wheel, reading: {as: disc, what: the disc, quantity: length, unit: mm, instruments: [micrometer], limit: {at_least: least, kind: car's literature, rule: guarded}}, next: {pass: clean, fail: stop, cannot tell: HERE}}
  clean: {do: Wipe the disc., place: wheel, next: end}
  stop: {end: stopped, say: The disc is worn.}
""",
        ("clean", "stop"),
    ),
    "a caution stands before its danger": (
        "caution",
        """
steps:
  dress: {do: Put your goggles on., place: wheel, makes: [goggles_on], next: look}
  look: {do: Look up at the tank., place: wheel, deeds: [looks_up], needs: [goggles_on], HERE next: end}
""",
        ("", "cautions: [drip],"),
    ),
    "what was loosened is tightened for good": (
        "rule",
        """
rules:
  - {must_follow: {deed: turns_nipple, then: {make: nipple_tight}}, why: It leaks in use.}
steps:
  turn: {do: Loosen the nipple., place: wheel, deeds: [turns_nipple], ends: [nipple_tight@RR], next: see}
  see: {do: Look at the thread., place: wheel, choose: {ask: Is it clean?, options: ["yes", "no"]}, next: {"yes": tight, "no": HERE}}
  tight: {do: Torque the nipple., place: wheel, makes: [nipple_tight@RR], next: end}
""",
        ("end", "tight"),
    ),
    "a part for single use is new each time": (
        "stack",
        """
parts: {circlip: {what: circlip of the joint, have: HERE, single_use: true}, ring: {what: ring of the joint, have: 1}}
stack: {shaft: [ring, circlip]}
assumes: [fitted_ring, not fitted_circlip]
steps:
  "on": {do: Push the circlip on., place: wheel, slides_on: circlip, next: seat}
  seat: {do: Feel whether it is seated., place: wheel, choose: {ask: Is it seated?, options: ["yes", "no"]}, next: {"yes": end, "no": "off"}}
  "off": {do: Pull the circlip off., place: wheel, slides_off: circlip, at_most: {times: 1, then: safe stop}, next: "on"}
""",
        ("1", "2"),
    ),
    "both sides are done": (
        "rule",
        """
rules:
  - {at_end: [all nipple_tight], why: It leaks in use.}
steps:
  all:
    each: {corner: [RR, LR, RF, LF]}
    steps:
      see: {do: "Look at the {here} nipple.", place: wheel, choose: {ask: Is it dry?, options: ["yes", "no"]}, next: {"yes": HERE, "no": tight}}
      tight: {do: "Torque the {here} nipple.", place: wheel, makes: [nipple_tight], next: next corner}
    then: end
""",
        ("next corner", "tight"),
    ),
    "a wait is over before what needs it": (
        "needs",
        """
waits: {soak: {what: penetrant in the thread, at_least: 15 min, before: [turn]}}
steps:
  see: {do: Look at the thread., place: wheel, choose: {ask: Is it rusty?, options: ["yes", "no"]}, next: {"yes": wet, "no": HERE}}
  wet: {do: Wet the thread., place: wheel, starts: soak, next: turn}
  turn: {do: Turn the nut., place: wheel, needs: [{wait: soak}], next: end}
""",
        ("turn", "wet"),
    ),
    "no level leaves its bounds": (
        "level",
        """
asks:
  low: {what: Fluid at MIN, quantity: volume, unit: mL, sources: [handbook]}
  full: {what: Fluid at MAX, quantity: volume, unit: mL, sources: [handbook]}
levels:
  can: {what: fluid in the can, unit: mL, floor: 0 mL, brim: 500 mL, marks: {MIN: low, MAX: full}}
example_cars: {small: {low: 100 mL, full: 200 mL}, large: {low: 120 mL, full: 300 mL}}
steps:
  fill: {do: Fill the can up to MAX., place: wheel, sets: {can: MAX, by: look, within: 5 mL}, next: draw}
  draw: {do: Draw fluid out of the can., place: wheel, moves: [{from: can, each: [0 mL, 40 mL], low_mark: low}], choose: {ask: Is it clear?, options: ["yes", "no"]}, at_most: {times: 4, then: end}, next: {"yes": end, "no": HERE}}
""",
        ("draw", "fill"),
    ),
    "what slides on one shaft keeps its order": (
        "needs",
        """
parts: {clamp: {what: small clamp, have: 1}, boot: {what: new boot, have: 1}}
stack: {shaft: [clamp, boot]}
assumes: [not fitted_clamp, not fitted_boot]
steps:
  see: {do: Look at the shaft., place: wheel, choose: {ask: Is it clean?, options: ["yes", "no"]}, next: {"yes": clamp, "no": HERE}}
  clamp: {do: Slide the small clamp on., place: wheel, slides_on: clamp, next: boot}
  boot: {do: Slide the new boot on., place: wheel, slides_on: boot, next: end}
""",
        ("boot", "clamp"),
    ),
    "a deed takes away what it spoils": (
        "effect",
        """
steps:
  tight: {do: Torque the nipple., place: wheel, makes: [nipple_tight@RR], next: turn}
  turn: {do: Loosen the nipple., place: wheel, deeds: [turns_nipple], HERE next: end}
""",
        ("", "ends: [nipple_tight@RR],"),
    ),
    "done means that nothing is missing": (
        "rule",
        """
rules:
  - {at_end: [known_good], why: The wrong fluid spoils the seals.}
steps:
  see: {do: Look at the can., place: wheel, choose: {ask: Is it the right fluid?, options: ["yes", "no"]}, next: {"yes": {go: end, makes: [known_good]}, "no": HERE}}
  stop: {end: stopped, say: The fluid is wrong.}
""",
        ("end", "stop"),
    ),
    "no number is used before it is known": (
        "unset",
        """
steps:
  see: {do: Look at the pan., place: wheel, choose: {ask: Is it dry?, options: ["yes", "no"]}, next: {"yes": poured, "no": HERE}}
  poured: {do: Pour the fluid in., place: wheel, reading: {as: poured, what: Fluid poured, mode: amount, quantity: volume, unit: mL, error: 5 mL}, next: rest}
  rest: {do: Measure what is left., place: wheel, reading: {as: left_over, what: Fluid left, mode: amount, quantity: volume, unit: mL, error: 5 mL}, next: tell}
  tell: {do: Compare the two., place: wheel, books: {what: the two, imbalance: poured - left_over, within: 10 mL}, next: {closes: end, does not close: stop, cannot tell: stop}}
  stop: {end: stopped, say: Fluid is lost.}
""",
        ("rest", "poured"),
    ),
}


def judged(text: str) -> dict[str, str]:
    """The errors by proof, with the vocabulary of the cases."""
    files = {"vocabulary.yaml": (CASES / "vocabulary.yaml").read_bytes(), "example.yaml": (HEAD + text + END).encode()}
    made = read(files, "example.yaml")
    assert isinstance(made, Procedure), made
    verdict = verify(made)
    return {} if isinstance(verdict, Checked) else {f.check: f.text for f in verdict if f.severity == "error"}


@pytest.mark.parametrize("name", SIXTEEN)
def test_the_fault_is_found_and_its_near_miss_left_alone(name: str) -> None:
    check, text, (bad, good) = SIXTEEN[name]
    assert check in judged(text.replace("HERE", bad))
    assert judged(text.replace("HERE", good)) == {}


def test_the_readme_names_each_of_them_with_its_proof() -> None:
    readme = (CASES.parents[2] / "README.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| ([a-z][^|]*?) +\| `(\w+)` +\|$", readme, re.MULTILINE))
    assert rows == {name: check for name, (check, _, _) in SIXTEEN.items()}
