"""Slips that the trade knows, told apart from the procedures: no path of the procedure that they belong to makes one.

Each is given to the proofs as one more duty or rule. It holds on every path already; the opposite does not, so that
what it speaks of does take place.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from runner.core.graph import Procedure
from runner.edge.reader import read
from runner.verify import Checked, verify

HERE = Path(__file__).parent
TRAPS: list[dict[str, Any]] = tomllib.loads((HERE / "traps.toml").read_text("utf-8"))["trap"]
FILES = {path.name: path.read_bytes() for path in sorted((HERE.parent / "procedures").glob("*.yaml"))}
PROCEDURES = sorted({trap["procedure"] for trap in TRAPS})
NEVER_TOGETHER = frozenset({"at_most_one"})
"""What has no opposite."""


def duty(trap: dict[str, Any], *, against: bool) -> str:
    """The demand as a line of the vocabulary; turned round, or with a message of another trade."""
    on, name, *rest = trap.get("duty") or trap["caution"]
    if "caution" in trap:
        return f"{{on: {{{on}: {name}}}, cautions: [{'lens_crazes' if against else rest[0]}]}}"
    apart = f", unless: {{{trap['unless'][0]}: {trap['unless'][1]}}}" if "unless" in trap else ""
    return f"{{on: {{{on}: {name}}}, needs: [{', '.join([turned(rest[0])] if against else rest)}]{apart}}}"


def rule(trap: dict[str, Any], *, against: bool) -> str:
    """The demand as a rule; turned round, or in the other order."""
    kind, what, *other = trap["rule"]
    if kind == "at_end":
        return f"{{at_end: [{turned(what) if against else what}], why: The trade knows it.}}"
    if not other:
        return f"{{{kind}: {what}, why: The trade knows it.}}"
    first, then = (what, other[0])[:: -1 if against else 1]
    link = "after" if kind == "only_after" else "then"
    (on, name), (by, with_) = first.split(), then.split()
    return f"{{{kind}: {{{on}: {name}, {link}: {{{by}: {with_}}}}}, why: The trade knows it.}}"


def turned(need: str) -> str:
    """The need the other way round, in its own number: ``all x`` and ``none x``, ``x`` and ``not x``."""
    word, _, rest = need.partition(" ")
    return {"all": f"none {rest}", "none": f"all {rest}", "not": rest}.get(word, f"not {need}")


def broken(name: str, *, against: bool) -> set[str]:
    """The slips of the procedure whose demand does not hold on every path."""
    traps = [trap for trap in TRAPS if trap["procedure"] == name]
    files, lines = dict(FILES), dict[tuple[str, int], str]()
    for trap in (t for t in traps if "rule" not in t):
        text = files["vocabulary.yaml"] = files["vocabulary.yaml"] + f"  - {duty(trap, against=against)}\n".encode()
        lines["vocabulary.yaml", text.count(b"\n")] = trap["slip"]
    text = files[f"{name}.yaml"].decode()
    if "\nrules:\n" not in text:
        text = text.replace("\nsteps:\n", "\nrules:\nsteps:\n", 1)
    first = text[: text.index("\nrules:\n")].count("\n") + 3
    ruled = [trap for trap in traps if "rule" in trap]
    lines |= {(f"{name}.yaml", first + nth): trap["slip"] for nth, trap in enumerate(ruled)}
    added = "".join(f"  - {rule(trap, against=against)}\n" for trap in ruled)
    files[f"{name}.yaml"] = text.replace("\nrules:\n", f"\nrules:\n{added}", 1).encode()
    made = read(files, f"{name}.yaml")
    assert isinstance(made, Procedure), made
    verdict = verify(made)
    found = () if isinstance(verdict, Checked) else verdict
    places = {p for f in found if f.check != "restated" for p in (f.place, *(place for place, _ in f.related))}
    return {slip for (file, line), slip in lines.items() if any((p.file, p.line) == (file, line) for p in places)}


@pytest.mark.parametrize("name", PROCEDURES)
def test_no_path_makes_a_slip_that_the_trade_knows(name: str) -> None:
    assert broken(name, against=False) == set()


@pytest.mark.parametrize("name", PROCEDURES)
def test_each_slip_could_be_made_there(name: str) -> None:
    mine = [t for t in TRAPS if t["procedure"] == name]
    asked = {t["slip"] for t in mine if t.get("rule", [""])[0] not in NEVER_TOGETHER}
    assert asked - broken(name, against=True) == set()
