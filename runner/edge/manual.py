"""The manual pages of what the reader says of a file, in the form of those of the proofs: rule, bad, good.

The examples are run by the tests, with the head of a procedure and the vocabulary of the cases before them.
"""

# ruff: noqa: E501

from __future__ import annotations

from collections.abc import Mapping


def _page(rule: str, bad: str, good: str) -> str:
    return f"{rule}\n\nBad:\n{_block(bad)}\nGood:\n{_block(good)}"


def _block(example: str) -> str:
    return "".join(f"    {line}\n" for line in example.strip("\n").splitlines())


def _step(text: str) -> str:
    return f"steps:\n  look: {{{text}}}\n  end: {{end: done, say: It is done.}}\n"


_LOOK = "do: Look at the can., place: wheel"

PAGES: Mapping[str, str] = {
    "syntax": _page(
        "The file is YAML of the plain kind: keys with values, lists, texts. No anchors, tags or merges.",
        _step(f"{_LOOK}, next: end").replace("steps:\n", "steps: : \n"),
        _step(f"{_LOOK}, next: end"),
    ),
    "duplicate": _page(
        "A key stands once in its place: of two, one would be lost unseen.",
        _step(f"{_LOOK}, place: bonnet, next: end"),
        _step(f"{_LOOK}, next: end"),
    ),
    "unknown-key": _page(
        "Every key is one of those that `schemas/` describes; what is misspelt would do nothing.",
        _step(f"{_LOOK}, neds: [goggles_on], next: end"),
        _step(f"{_LOOK}, next: end"),
    ),
    "missing-key": _page(
        "What a step cannot be done without is written: its sentence, its place, where it leads.",
        _step("do: Look at the can., next: end"),
        _step(f"{_LOOK}, next: end"),
    ),
    "name": _page(
        "A name of a condition, place, deed, danger, ask or step is one that is declared.",
        _step("do: Look at the can., place: wheels, next: end"),
        _step(f"{_LOOK}, next: end"),
    ),
    "value": _page(
        "A value has the kind that its key takes: a text, a list, a number, one of some words.",
        _step(f"{_LOOK}, deeds: shakes, next: end"),
        _step(f"{_LOOK}, deeds: [shakes], next: end"),
    ),
    "outcome": _page(
        "A gate leads on for each of its outcomes, and for nothing else. What cannot be told is an outcome too.",
        _step(f'{_LOOK}, choose: {{ask: Is it full?, options: ["yes", "no"]}}, next: {{"yes": end}}'),
        _step(f'{_LOOK}, choose: {{ask: Is it full?, options: ["yes", "no"]}}, next: {{"yes": end, "no": safe stop}}'),
    ),
    "unit": _page(
        "A quantity has a unit, and one that measures the same thing as what it is compared with.",
        "asks: {low: {what: Fluid at MIN, quantity: volume, unit: mm, sources: [handbook]}}\n"
        + _step(f"{_LOOK}, next: end"),
        "asks: {low: {what: Fluid at MIN, quantity: volume, unit: mL, sources: [handbook]}}\n"
        + _step(f"{_LOOK}, next: end"),
    ),
    "index": _page(
        "What goes by corner, axle or side is named with its place (`nipple_open@RR`), or used where one is here.",
        _step("do: Open the nipple., place: wheel, makes: [nipple_tight], next: end"),
        _step("do: Open the nipple., place: wheel, makes: [nipple_tight@RR], next: end"),
    ),
    "twice": _page(
        "A name means one thing in a file, with the fragments that it calls.",
        "asks: {can: {what: The can, text: true, sources: [handbook]}}\ncomputes: {can: {what: The can, is: 2 * 3}}\n"
        + _step(f"{_LOOK}, next: end"),
        "asks: {can: {what: The can, text: true, sources: [handbook]}}\n" + _step(f"{_LOOK}, next: end"),
    ),
    "slot": _page(
        "A text may show `{here}` where something is here, and the value of an ask, a reading or a computed value.",
        _step("do: 'Look at the {kan}.', place: wheel, next: end"),
        "asks: {can: {what: The can, quantity: volume, unit: mL, sources: [handbook]}}\n"
        + _step("do: 'Look for {can}.', place: wheel, next: end"),
    ),
    "bands": _page(
        "The bands of a reading cover every value, each from where the one before it ends.",
        _step(
            f"{_LOOK}, reading: {{as: play, what: the play, quantity: length, unit: mm, instruments: [gauge], bands: [{{small: {{below: 1 mm}}}}, {{large: {{at_least: 2 mm}}}}], kind: shop's own}}, next: {{small: end, large: safe stop, cannot tell: safe stop}}"
        ),
        _step(
            f"{_LOOK}, reading: {{as: play, what: the play, quantity: length, unit: mm, instruments: [gauge], bands: [{{small: {{below: 1 mm}}}}, {{large: {{at_least: 1 mm}}}}], kind: shop's own}}, next: {{small: end, large: safe stop, cannot tell: safe stop}}"
        ),
    ),
    "gate": _page(
        "A step has one gate: one thing that is asked before it goes on. Two questions are two steps.",
        _step(
            f'{_LOOK}, choose: {{ask: Is it full?, options: ["yes", "no"]}}, photo: {{as: can, what: the can}}, next: {{"yes": end, "no": safe stop}}'
        ),
        _step(f'{_LOOK}, choose: {{ask: Is it full?, options: ["yes", "no"]}}, next: {{"yes": end, "no": safe stop}}'),
    ),
    "formula": _page(
        "A formula has numbers, names, + - * / ^ and brackets, and is not computed from itself.",
        "computes: {twice: {what: Twice, is: 2 * }}\n" + _step(f"{_LOOK}, next: end"),
        "computes: {twice: {what: Twice, is: 2 * 3}}\n" + _step(f"{_LOOK}, next: end"),
    ),
    "fragment": _page(
        "A call names a fragment of the library, which does not come back to itself.",
        "steps:\n  lift: {call: lift-it, exits: {up: end}}\n  end: {end: done, say: It is done.}\n",
        _step(f"{_LOOK}, next: end"),
    ),
    "block": _page(
        "In a block stand steps and calls, which lead to each other, to the next turn or out by a named exit.",
        "steps:\n  all:\n    each: {corner: [RR, LR, RF, LF]}\n    steps:\n      see: {do: 'Look at the {here} wheel.', place: wheel, next: last}\n      last: {end: done, say: It is done.}\n    then: end\n  end: {end: done, say: It is done.}\n",
        "steps:\n  all:\n    each: {corner: [RR, LR, RF, LF]}\n    steps:\n      see: {do: 'Look at the {here} wheel.', place: wheel, next: next corner}\n    then: end\n  end: {end: done, say: It is done.}\n",
    ),
    "order": _page(
        "An order of the corners names each of the four once; the circuits of a split are what they are on the car.",
        "asks: {order: {what: Order of the corners, orders: {rear first: [RR, LR, RF]}, sources: [handbook]}}\n"
        + _step(f"{_LOOK}, next: end"),
        "asks: {order: {what: Order of the corners, orders: {rear first: [RR, LR, RF, LF]}, sources: [handbook]}}\n"
        + _step(f"{_LOOK}, next: end"),
    ),
}
"""By the word in brackets behind a finding."""
