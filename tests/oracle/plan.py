"""A procedure as plain lists and dictionaries: easy to change, to print and to shrink; built into a graph at the end.

A step is ``{"id", "makes", "ends", "needs", "deeds", "cautions", "gate", "ways", ..}``; a way is an outcome and
``(target, makes, ends)``. A block has ``each``, a call has ``call``, an end has ``end``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

from runner.core.expr import Expr, parse
from runner.core.graph import (
    Arm,
    Ask,
    Branch,
    Check,
    Contract,
    Count,
    Each,
    ExampleCar,
    Level,
    LevelNeed,
    Move,
    Procedure,
    SetByLook,
    Step,
    Wait,
)
from runner.core.units import UNITS
from tests.verify import build

Node = dict[str, Any]
ML = UNITS["mL"]


@dataclass
class Plan:
    """All of one procedure; ``fragments`` map a name to ``{"here", "body", "needs", "exits"}``."""

    seed: int = 0
    conditions: dict[str, dict[str, Any]] = field(default_factory=dict)
    duties: list[dict[str, Any]] = field(default_factory=list)
    rules: list[tuple[Any, ...]] = field(default_factory=list)
    assumes: list[str] = field(default_factory=list)
    carries: list[str] = field(default_factory=list)
    modes: list[str] = field(default_factory=list)
    orders: dict[str, tuple[str, ...]] = field(default_factory=dict)
    brim: int = 400
    body: list[Node] = field(default_factory=list)
    fragments: dict[str, dict[str, Any]] = field(default_factory=dict)


def bodies(plan: Plan) -> Iterator[list[Node]]:
    """Every list of nodes: the procedure's, the blocks', the fragments'."""
    todo = [plan.body, *(f["body"] for f in plan.fragments.values())]
    while todo:
        body = todo.pop()
        yield body
        todo += [n["body"] for n in body if "each" in n]


def steps(plan: Plan) -> Iterator[Node]:
    """Every step."""
    return (n for body in bodies(plan) for n in body if "ways" in n)


@lru_cache(maxsize=256)
def expr(text: str) -> Expr:
    """A formula."""
    made = parse(text)
    assert isinstance(made, Expr), made
    return made


def built(plan: Plan) -> Procedure:
    """The procedure itself."""
    conditions = []
    for name, c in plan.conditions.items():
        if c["kind"] == "opening":
            made = build.opening(name, index=c.get("index"), rank=c["rank"], if_left=c.get("if_left", "close"))
        else:
            made = build.fact(name, index=c.get("index"))
        conditions.append(replace(made, keeps=c.get("keeps")))
    table = {c.name: c for c in conditions}
    duties = [
        build.duty(d["on"], d["name"], *d["needs"], hazards=tuple(d.get("hazards", ())), unless=d.get("unless"))
        for d in plan.duties
    ]
    fragments = []
    for name, f in plan.fragments.items():
        ways = {k: (build.refs(*makes), build.refs(*ends)) for k, (makes, ends) in f["exits"].items()}
        contract = Contract(needs=build.needs(*f["needs"]), exits=ways, place=build.here())
        fragments.append(
            build.procedure(
                *_nodes(f["body"], table),
                name=name,
                conditions=conditions,
                duties=duties,
                contract=contract,
                at=f.get("here"),
            )
        )
    level = {
        "can": Level(
            name="can",
            what="fluid",
            unit=ML,
            floor=expr("20 mL"),
            brim=expr(f"{plan.brim} mL"),
            marks={"MIN": expr("100 mL"), "MAX": expr("300 mL")},
            place=build.here(),
        )
    }
    leveled = any(n.get("moves") or n.get("sets") or (n.get("count") or {}).get("draw") for n in steps(plan))
    asks = {
        m: Ask(name=m, what=m, kind="choice", options=("fitted", "missing"), sources=("part",), place=build.here())
        for m in plan.modes
    }
    if plan.orders:
        asks["order"] = Ask(
            name="order", what="order", kind="order", orders=plan.orders, sources=("part",), place=build.here()
        )
    wait = Wait(
        name="soak",
        what="soaking",
        at_least=Fraction(60),
        keeps=None,
        before=tuple(n["id"] for n in steps(plan) if "wait soak" in n["needs"]),
        started_by=tuple(n["id"] for n in steps(plan) if n.get("starts")),
        place=build.here(),
    )
    waits = {"soak": wait} if any(n.get("starts") or "wait soak" in n["needs"] for n in steps(plan)) else {}
    return build.procedure(
        *_nodes(plan.body, table),
        conditions=conditions,
        duties=duties,
        rules=[build.rule(r[0], *r[1], wanted=r[2] if len(r) > 2 else True) for r in plan.rules],
        assumes=tuple(a for a in plan.assumes if a.split()[-1] in _named(plan)),
        carries=tuple(plan.carries),
        fragments=fragments,
        levels=level if leveled else {},
        asks=asks,
        waits=waits,
        example_cars=tuple(
            ExampleCar(
                name=v,
                values=dict.fromkeys(plan.modes, v) | {"order": next(iter(plan.orders))}
                if plan.orders
                else dict.fromkeys(plan.modes, v),
                place=build.here(),
            )
            for v in ("fitted", "missing")
        ),
    )


def _named(plan: Plan) -> frozenset[str]:
    """Every name that the steps, rules and fragments speak of: what nothing uses is not assumed."""
    return frozenset(re.findall(r"\w+", repr((plan.body, plan.rules, plan.fragments))))


def _nodes(body: list[Node], table: dict[str, Any]) -> list[Any]:
    return [_node(n, table) for n in body]


def _node(n: Node, table: dict[str, Any]) -> Any:
    if "end" in n:
        return build.end(n["end"], n["id"])
    after = tuple(build.after(name, *outcomes) for name, outcomes in n.get("after", ()))
    return replace(_begun(n, table), after=after)


def _begun(n: Node, table: dict[str, Any]) -> Any:
    if "call" in n:
        return build.call(
            n["id"], n["call"], n["exits"], at=n.get("at"), ensure=n.get("ensure", ""), skip=n.get("skip", "")
        )
    if "each" in n:
        ways = {name: build.to(way) for name, way in n["exits"].items()}
        inner = build.body(*_nodes(n["body"], table))
        return Each(
            id=n["id"],
            index=n["each"],
            order=n["order"],
            body=inner,
            then=build.to(n["then"]),
            exits=ways,
            place=build.here(),
        )
    return _step(n, table)


def _step(n: Node, table: dict[str, Any]) -> Step:
    levels = [t for t in n["needs"] if t.startswith("can ")]
    made = build.step(
        n["id"],
        "safe stop",
        asks=(),
        cautions=tuple(n["cautions"]),
        makes=tuple(n["makes"]),
        ends=tuple(n["ends"]),
        deeds=tuple(n["deeds"]),
        gate=_gate(n, table),
        at_most=n.get("at_most"),
        override=n.get("override"),
        cannot=n.get("cannot"),
        starts=n.get("starts"),
        where=n.get("place", "wheel"),
    )
    asked = build.needs(*(t for t in n["needs"] if t not in levels), conditions=table)
    asked += tuple(LevelNeed(level="can", at_least=expr(t[4:]), said=t, place=build.here()) for t in levels)
    moves = tuple(_move(m) for m in n.get("moves", ()))
    sets = tuple(
        SetByLook(level="can", mark=expr(f"{m} mL"), said="MAX", within=expr(f"{w} mL"), place=build.here())
        for m, w in n.get("sets", ())
    )
    return replace(made, needs=asked, moves=moves, sets=sets, branch=_branch(n))


def _branch(n: Node) -> Branch:
    arms = [
        Arm(value=v or None, target=build.to(t), makes=build.refs(*makes), ends=build.refs(*ends), place=build.here())
        for v, (t, makes, ends) in n["ways"].items()
    ]
    return Branch(subject=n.get("subject", "gate"), arms=tuple(arms))


def _gate(n: Node, table: dict[str, Any]) -> Any:
    if "choice" in n:
        return build.choice(*n["choice"], name=n.get("as"))
    if "check" in n:
        return Check(
            ask="Is it?", kind="pick", options=("yes", "no"), right=("yes",), otherwise=n["check"], place=build.here()
        )
    if "count" in n:
        return _count(n["count"], table)
    return None


def _count(c: dict[str, Any], table: dict[str, Any]) -> Count:
    beat = tuple(
        replace(
            build.phase("Press it.", makes=tuple(p["makes"]), ends=tuple(p["ends"]), deeds=tuple(p["deeds"])),
            needs=build.needs(*p["needs"], conditions=table),
        )
        for p in c["beat"]
    )
    made = build.strokes(*beat, bound=c["bound"])
    move = _move(c["draw"]) if c.get("draw") else None
    return replace(made, move=move, grant=c["grant"], at_most=c["at_most"])


def _move(m: dict[str, Any]) -> Move:
    low = expr(f"{m['low']} mL") if m.get("low") is not None else None
    return Move(
        source=m.get("from"),
        target=m.get("to"),
        least=expr(f"{m['each'][0]} mL"),
        most=expr(f"{m['each'][1]} mL"),
        low_mark=low,
        if_short=build.to(m["short"]) if m.get("short") else None,
        if_full=build.to(m["full"]) if m.get("full") else None,
        place=build.here(),
    )


def printed(plan: Plan) -> str:
    """The plan, one node a line, so that a failing one can be read."""
    lines = [f"# seed {plan.seed}"]
    lines += [f"condition {n}: {c}" for n, c in plan.conditions.items()]
    lines += [f"duty: {d}" for d in plan.duties]
    lines += [f"rule: {r}" for r in plan.rules]
    lines.append(f"assumes: {plan.assumes}  carries: {plan.carries}  modes: {plan.modes}  orders: {plan.orders}")
    for name, f in plan.fragments.items():
        lines.append(f"fragment {name}: here {f.get('here')}, needs {f['needs']}, exits {f['exits']}")
        lines += _lines(f["body"], 1)
    return "\n".join([*lines, "steps:", *_lines(plan.body, 1)])


def _lines(body: list[Node], depth: int) -> list[str]:
    made = []
    for n in body:
        inner = {k: v for k, v in n.items() if k not in ("id", "body") and v not in ([], {}, (), None)}
        made.append(f"{'  ' * depth}{n['id']}: {inner}")
        if "each" in n:
            made += _lines(n["body"], depth + 1)
    return made
