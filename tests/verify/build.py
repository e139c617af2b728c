"""Small procedures in Python, for proofs that are about the graph and not about its spelling."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import count as counter

from runner.core.finding import Place
from runner.core.graph import (
    MEMBERS,
    After,
    Arm,
    Body,
    Branch,
    Call,
    Choice,
    Condition,
    Contract,
    Count,
    Duty,
    Each,
    End,
    Gate,
    Holds,
    IfLeft,
    Node,
    Occasion,
    Phase,
    Procedure,
    Ref,
    Rule,
    Step,
    Target,
    Times,
    Unless,
    Vocabulary,
    WaitNeed,
)
from runner.core.hazard import Caution

LINES = counter(1)


def here() -> Place:
    """A place of its own for each node, so that findings can be told apart."""
    return Place("case.yaml", next(LINES), 1)


def ref(text: str) -> Ref:
    """``nipple_open`` or ``nipple_open@RR``."""
    name, _, at = text.partition("@")
    return Ref(name=name, at=at or "here", place=here())


def refs(*texts: str) -> tuple[Ref, ...]:
    """Several references."""
    return tuple(ref(t) for t in texts)


def needs(*texts: str, conditions: Mapping[str, Condition] | None = None) -> tuple[Holds | WaitNeed, ...]:
    """``x``, ``not x``, ``none x``, ``all x`` (these two spread over the corners), ``wait x``."""
    made: list[Holds | WaitNeed] = []
    for text in texts:
        word, _, rest = text.partition(" ")
        place = here()
        if word == "wait":
            made.append(WaitNeed(wait=rest, said=text, place=place))
            continue
        spread = word in ("none", "all")
        name = rest or word
        index = (conditions or {})[name].index if spread and conditions and name in conditions else "corner"
        names = [f"{name}@{m}" for m in MEMBERS[index]] if spread and index else [name]
        made += [Holds(ref=ref(n), wanted=word not in ("not", "none"), said=text, place=place) for n in names]
    return tuple(made)


def to(text: str) -> Target:
    """A step id, ``next corner``, ``exit x``, ``again`` or ``safe stop``."""
    if text in ("again", "safe stop"):
        return Target(kind=text, place=here())  # type: ignore[arg-type]
    if text == "next corner":
        return Target(kind="next turn", place=here())
    if text.startswith("exit "):
        return Target(kind="exit", name=text[5:], place=here())
    return Target(kind="step", name=text, place=here())


def arms(next_: str | Mapping[str, object], subject: str) -> Branch:
    """A branch from a target, or from outcomes to targets or to (target, makes, ends)."""
    if isinstance(next_, str):
        return Branch(subject=subject, arms=(Arm(value=None, target=to(next_), place=here()),))
    made = []
    for value, way in next_.items():
        target, makes, ends = way if isinstance(way, tuple) else (way, (), ())
        made.append(
            Arm(value=value or None, target=to(str(target)), makes=refs(*makes), ends=refs(*ends), place=here())
        )
    return Branch(subject=subject, arms=tuple(made))


def caution(name: str) -> Caution:
    """A warning by its name."""
    return Caution(
        name=name,
        hazard=f"{name} squirts.",
        consequence="It can blind an eye.",
        avoid="Keep the goggles on.",
        harm="death or serious injury",
        outcome="could",
        place=here(),
    )


def step(
    id_: str,
    next_: str | Mapping[str, object],
    *,
    asks: tuple[str, ...] = (),
    where: str = "wheel",
    cautions: tuple[str, ...] = (),
    makes: tuple[str, ...] = (),
    ends: tuple[str, ...] = (),
    deeds: tuple[str, ...] = (),
    gate: Gate | None = None,
    subject: str = "gate",
    at_most: tuple[int, str] | None = None,
    override: str | None = None,
    cannot: str | None = None,
    starts: str | None = None,
    slides: tuple[tuple[str, str], ...] = (),
) -> Step:
    """A step; ``next_`` is a target or outcomes to targets."""
    return Step(
        id=id_,
        do=f"Look at {id_}.",
        short="",
        where=where,
        cautions=tuple(caution(c) for c in cautions),
        needs=needs(*asks),
        makes=refs(*makes),
        ends=refs(*ends),
        deeds=deeds,
        gate=gate,
        branch=arms(next_, subject),
        bound=Times(times=at_most[0], then=to(at_most[1])) if at_most else None,
        override=to(override) if override else None,
        cannot=to(cannot) if cannot else None,
        starts=starts,
        slides=slides,
        place=here(),  # type: ignore[arg-type]
    )


def after(node: str, *outcomes: str) -> After:
    """What must have come before: a node of the same body, or how it came out last."""
    said = f"only after {node}" + (f" came out as {' or '.join(outcomes)}" if outcomes else "")
    return After(node=node, outcomes=outcomes, said=said, place=here())


def choice(*options: str, name: str | None = None) -> Choice:
    """A choice among options."""
    return Choice(ask="Which one is it?", options=options, name=name, place=here())


def phase(
    do: str,
    *,
    makes: tuple[str, ...] = (),
    ends: tuple[str, ...] = (),
    deeds: tuple[str, ...] = (),
    asks: tuple[str, ...] = (),
) -> Phase:
    """A phase of a beat."""
    return Phase(do=do, makes=refs(*makes), ends=refs(*ends), deeds=deeds, needs=needs(*asks), place=here())


def strokes(
    *beat: Phase, exits: tuple[str, ...] = ("clear", "dark"), again: tuple[str, ...] = ("dark",), bound: str = "fault"
) -> Count:
    """A count of strokes without a level."""
    return Count(
        what="strokes",
        beat=beat,
        move=None,
        gravity=None,
        seconds=Fraction(8),
        planned=None,
        grant=6,
        at_most=60,
        bound=to(bound),
        ask="How does it look?",
        exits=exits,
        again=frozenset(again),
        name=None,
        place=here(),
    )


def end(kind: str = "done", id_: str = "") -> End:
    """An end; its id is its kind."""
    return End(id=id_ or kind, kind=kind, say="", place=here())


def body(*nodes: Node) -> Body:
    """A body; the first node is its entry."""
    return Body(nodes={n.id: n for n in nodes}, first=nodes[0].id)


def each(
    id_: str, then: str, *nodes: Node, order: str | tuple[str, ...] = "order", exits: Mapping[str, str] | None = None
) -> Each:
    """A block over the corners."""
    ways = {name: to(way) for name, way in (exits or {}).items()}
    return Each(id=id_, index="corner", order=order, body=body(*nodes), then=to(then), exits=ways, place=here())


def call(
    id_: str,
    fragment: str,
    exits: Mapping[str, str],
    *,
    at: str | None = None,
    ensure: str = "",
    give_back: str = "",
    skip: str = "",
) -> Call:
    """A call of a fragment."""
    return Call(
        id=id_,
        fragment=fragment,
        at=at,
        exits={n: to(w) for n, w in exits.items()},
        ensure=ref(ensure) if ensure else None,
        give_back=ref(give_back) if give_back else None,
        skip=to(skip) if skip else None,
        place=here(),
    )


def fact(name: str, *, index: str | None = None) -> Condition:
    """A fact."""
    return Condition(name=name, index=index, kind="fact", says=name, says_not=f"not {name}", place=here())  # type: ignore[arg-type]


def opening(
    name: str, *, index: str | None = None, rank: int = 1, if_left: str | None = "close", normally: bool = False
) -> Condition:
    """An opening, closed by itself when the work is left."""
    return Condition(
        name=name,
        index=index,
        kind="opening",
        says=name,
        says_not=f"not {name}",
        normally=normally,  # type: ignore[arg-type]
        if_left=IfLeft(kind=if_left, text=f"Close {name}.") if if_left else None,
        rank=rank,
        place=here(),  # type: ignore[arg-type]
    )


def duty(on: str, name: str, *asks: str, hazards: tuple[str, ...] = (), unless: tuple[str, str] | None = None) -> Duty:
    """A standing duty."""
    return Duty(
        on=on,
        name=name,
        needs=needs(*asks),
        hazards=hazards,  # type: ignore[arg-type]
        unless=Unless(subject=unless[0], value=unless[1]) if unless else None,
        place=here(),
    )


def occasion(text: str) -> Occasion:
    """``make nipple_open``, ``step torque``, ``deed pedal_rise``."""
    on, _, name = text.partition(" ")
    name, _, at = name.partition("@")
    return Occasion(on=on, name=name, at=at or None)  # type: ignore[arg-type]


def rule(kind: str, *texts: str, wanted: bool = True) -> Rule:
    """A rule of one of the five kinds."""
    paired = kind in ("only_after", "must_follow")
    return Rule(
        kind=kind,
        what=occasion(texts[0]) if paired else None,
        other=occasion(texts[1]) if paired else None,  # type: ignore[arg-type]
        refs=() if paired else tuple(replace(ref(t), at=t.partition("@")[2] or None) for t in texts),
        wanted=wanted,
        why="",
        if_found_broken="",
        said=f"{kind} {' '.join(texts)}",
        place=here(),
    )


def procedure(
    *nodes: Node,
    conditions: Iterable[Condition] = (),
    duties: Iterable[Duty] = (),
    rules: Iterable[Rule] = (),
    assumes: tuple[str, ...] = (),
    fragments: Iterable[Procedure] = (),
    carries: tuple[str, ...] = (),
    name: str = "case",
    contract: Contract | None = None,
    at: str | None = None,
    **more: object,
) -> Procedure:
    """A procedure of these nodes."""
    table = {c.name: c for c in conditions}
    vocabulary = Vocabulary(
        file="vocabulary.yaml",
        conditions=table,
        places={"wheel": "at the wheel"},
        deeds={},
        hazards={},
        duties=tuple(duties),
    )
    made = Procedure(
        name=name,
        title=name,
        revision="1",
        file="case.yaml",
        purpose="",
        not_for=(),
        is_fragment=contract is not None,
        here=at,
        contract=contract,
        tools=(),
        consumables=(),
        safety=(),
        asks={},
        computes={},
        levels={},
        parts={},  # type: ignore[arg-type]
        stacks={},
        waits={},
        rules=tuple(rules),
        assumes=needs(*assumes, conditions=table),
        carries=carries,
        example_cars=(),
        conditions=table,
        vocabulary=vocabulary,
        body=body(*nodes),
        fragments={f.name: f for f in fragments},
        texts={},
        place=here(),
    )
    return replace(made, **more)  # type: ignore[arg-type]
