"""A small invented procedure with every kind of stage in it, and a run of it that is driven act by act."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from unicodedata import category

from runner.core import act as ac
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.engine import decide
from runner.core.event import AnyEvent, Refused
from runner.core.expr import Expr, parse
from runner.core.finding import Place, clean
from runner.core.folding import fold
from runner.core.graph import Arm, Body, Branch, Condition, Holds, IfLeft, Node, Procedure, Ref, Step, Target
from runner.core.hazard import Caution
from runner.core.picture import Extras, look
from runner.core.quantity import DIMENSIONS
from runner.core.stamp import Stamp
from runner.core.state import State
from runner.core.units import Unclear, Unit, parse_unit
from runner.core.view import View

AT = Place("bench.yaml", 1, 1)
EXTRAS = Extras(people=("MB", "JT"), car="Saltmarsh 7", steering="right")


def expr(text: str) -> Expr:
    made = parse(text)
    assert isinstance(made, Expr), made
    return made


def unit(text: str, dimension: str) -> Unit:
    made = parse_unit(text, DIMENSIONS[dimension])
    assert not isinstance(made, Unclear), made
    return made


ML, MM, NM = unit("mL", "volume"), unit("mm", "length"), unit("N m", "torque")


def ref(text: str) -> Ref:
    name, _, at = text.partition("@")
    return Ref(name=name, at=at or None, place=AT)


def holds(text: str) -> Holds:
    name = text.removeprefix("not ")
    return Holds(ref=ref(name), wanted=name == text, said=text, place=AT)


def to(text: str) -> Target:
    kinds = {"next turn": "next turn", "safe stop": "safe stop", "again": "again"}
    if text.startswith("exit "):
        return Target(kind="exit", name=text[5:], place=AT)
    return Target(kind=kinds.get(text, "step"), name="" if text in kinds else text, place=AT)  # type: ignore[arg-type]


def branch(ways: str | Mapping[str, str], subject: str = "gate") -> Branch:
    if isinstance(ways, str):
        return Branch(subject=subject, arms=(Arm(value=None, target=to(ways), place=AT),))
    return Branch(subject=subject, arms=tuple(Arm(value=v, target=to(t), place=AT) for v, t in ways.items()))


def step(id: str, do: str, ways: str | Mapping[str, str], **more: object) -> Step:
    subject = str(more.pop("subject", "gate"))
    texts = {n: tuple(map(ref, more.pop(n, ()))) for n in ("makes", "ends")}  # type: ignore[call-overload]
    needs = tuple(map(holds, more.pop("needs", ())))  # type: ignore[call-overload]
    where = str(more.pop("where", "wheel"))
    return Step(
        id=id,
        do=do,
        short="",
        where=where,
        branch=branch(ways, subject),
        needs=needs,
        place=AT,
        **texts,
        **more,  # type: ignore[arg-type]
    )


def body(*nodes: Node) -> Body:
    return Body(nodes={n.id: n for n in nodes}, first=nodes[0].id)


def condition(name: str, says: str, says_not: str, **more: object) -> Condition:
    more.setdefault("kind", "fact")
    more.setdefault("index", None)
    return Condition(name=name, says=says, says_not=says_not, place=AT, **more)  # type: ignore[arg-type]


SPRAY = Caution(
    name="spray",
    hazard="Brake fluid squirts from an open nipple.",
    consequence="It can blind an eye.",
    avoid="Keep the goggles on.",
    harm="death or serious injury",
    outcome="could",
    place=AT,
)
SLIP = Caution(
    name="slip",
    hazard="The spanner slips off.",
    consequence="It bruises the hand.",
    avoid="Keep the ring spanner square on the nipple.",
    harm="minor or moderate injury",
    outcome="could",
    place=AT,
)
PAINT = Caution(
    name="paint",
    hazard="Brake fluid dissolves paint.",
    consequence="The panel is painted anew.",
    avoid="Keep fluid off paint.",
    harm="property",
    outcome="will",
    place=AT,
)

CONDITIONS = (
    condition("goggles_on", "goggles are on", "goggles are off", keeps="this stretch"),
    condition(
        "cap_off",
        "the reservoir cap is off",
        "the reservoir cap is on",
        kind="opening",
        normally=False,
        rank=30,
        if_left=IfLeft(kind="may stay", text="cover it with a clean cloth"),
    ),
    condition(
        "nipple_open",
        "the {here} nipple is open",
        "the {here} nipple is closed",
        kind="opening",
        normally=False,
        rank=10,
        index="corner",
        urgent=True,
        if_left=IfLeft(kind="close", text="Close the {here} nipple."),
    ),
    condition("rag_wet", "the rag is wet", "the rag is dry", keeps=Fraction(300)),
    condition("hose_on", "the hose is on the {here} nipple", "the {here} nipple has no hose", index="corner"),
    condition("on_stands", "the {here} axle is on stands", "the {here} axle is not on stands", index="axle"),
)


def ask(name: str, what: str, kind: str, **more: object) -> g.Ask:
    more.setdefault("sources", ("car's service literature", "marked on the part"))
    return g.Ask(name=name, what=what, kind=kind, place=AT, **more)  # type: ignore[arg-type]


LENGTH, VOLUME, TORQUE = (DIMENSIONS[n] for n in ("length", "volume", "torque"))
ASKS = {
    a.name: a
    for a in (
        ask("disc_min", "least thickness of the disc", "quantity", dimension=LENGTH, unit=MM, unknown=True),
        ask("torque", "torque of the nipple", "quantity", dimension=TORQUE, unit=NM),
        ask("one_way", "one-way valve in the hose", "choice", options=("fitted", "not fitted"), unknown=True),
        ask(
            "order",
            "order of the corners",
            "order",
            orders={"furthest first": ("RR", "LR", "RF", "LF"), "diagonal": ("RR", "LF", "LR", "RF")},
            unknown=True,
        ),
    )
}


def reading(name: str, what: str, **more: object) -> g.Reading:
    defaults: dict[str, object] = {
        "dimension": LENGTH,
        "unit": MM,
        "mode": "measured",
        "instruments": ("micrometer",),
        "error": None,
        "points": 1,
        "bands": (),
        "rule": "guarded",
        "limit_kind": "",
        "instead": (),
        "clicks": None,
    }
    return g.Reading(name=name, what=what, place=AT, **{**defaults, **more})  # type: ignore[arg-type]


def bands(low: str | None, high: str | None) -> tuple[g.LimitBand, ...]:
    """``pass`` between the ends, both included, and ``fail`` beyond each."""
    lo, hi = (expr(e) if e is not None else None for e in (low, high))
    made = [g.LimitBand(outcome="pass", low=lo, low_inclusive=True, high=hi, high_inclusive=True, place=AT)]
    if lo is not None:
        made.append(g.LimitBand(outcome="fail", low=None, low_inclusive=False, high=lo, high_inclusive=False, place=AT))
    if hi is not None:
        made.append(g.LimitBand(outcome="fail", low=hi, low_inclusive=False, high=None, high_inclusive=False, place=AT))
    return tuple(made)


def phase(do: str, makes: tuple[str, ...] = (), ends: tuple[str, ...] = ()) -> g.Phase:
    return g.Phase(do=do, makes=tuple(map(ref, makes)), ends=tuple(map(ref, ends)), deeds=(), needs=(), place=AT)


STROKES = g.Count(
    what="pedal strokes",
    beat=(phase("Open the {here} nipple.", makes=("nipple_open",)), phase("Close the nipple.", ends=("nipple_open",))),
    move=g.Move(
        source="reservoir",
        target="bottle",
        least=expr("0 mL"),
        most=expr("8 mL"),
        low_mark=expr("60 mL"),
        if_short=to("refill"),
        if_full=to("empty"),
        place=AT,
    ),
    gravity=None,
    seconds=Fraction(8),
    planned=None,
    grant=6,
    at_most=30,
    bound=to("exit fault"),
    ask="How does the fluid in the hose look?",
    exits=("clear", "dark"),
    again=frozenset({"dark"}),
    name="fluid",
    place=AT,
)

CORNER = body(
    step(
        "which",
        "Find the {here} wheel.",
        "hose",
        gate=g.Check(
            ask="Which corner is the spanner on?", kind="corner", options=(), right=("here",), otherwise=False, place=AT
        ),
    ),
    step(
        "hose", "Push the hose on the {here} nipple.", "bleed", makes=("hose_on",), cautions=(SLIP, PAINT), group="side"
    ),
    step(
        "bleed",
        "Pump the granted strokes.",
        {"clear": "hose-off"},
        gate=STROKES,
        cautions=(SPRAY,),
        needs=("hose_on", "goggles_on"),
    ),
    step(
        "refill",
        "Fill fresh fluid to the MAX mark.",
        "bleed",
        where="bonnet",
        sets=(g.SetByLook(level="reservoir", mark=expr("300 mL"), said="MAX", within=expr("5 mL"), place=AT),),
    ),
    step(
        "empty",
        "Empty the bottle.",
        "bleed",
        sets=(g.SetByLook(level="bottle", mark=expr("0 mL"), said="empty", within=expr("1 mL"), place=AT),),
    ),
    step("hose-off", "Take the hose off the {here} nipple.", "next turn", ends=("hose_on",), group="side"),
)

LIFT = body(
    step("jack", "Raise the {here} axle.", "chock", cautions=(SPRAY,)),
    step("chock", "Lower the {here} axle on stands.", "up", makes=("on_stands",)),
    g.End(id="up", kind="up", say="", place=AT),
)

MAIN = body(
    step("goggles", "Put the goggles on.", "cap", makes=("goggles_on",)),
    step(
        "cap",
        "Take the cap off the reservoir.",
        "mode",
        makes=("cap_off",),
        where="bonnet",
        note="It has a left-hand thread.",
    ),
    step("mode", "Look for the valve in the hose.", {"fitted": "lift", "not fitted": "lift"}, subject="one_way"),
    g.Call(
        id="lift",
        fragment="raise",
        at="rear",
        exits={"up": to("corners")},
        ensure=ref("on_stands@rear"),
        skip=to("corners"),
        place=AT,
    ),
    g.Each(
        id="corners",
        index="corner",
        order="order",
        body=CORNER,
        then=to("disc"),
        exits={"fault": to("clicks")},
        place=AT,
    ),
    step(
        "disc",
        "Measure the disc where it is thinnest.",
        {"pass": "clicks", "fail": "press", "cannot tell": "clicks"},
        gate=reading(
            "disc", "thickness of the disc", bands=bands("disc_min", None), points=2, limit_kind="marked on the part"
        ),
        override=to("clicks"),
    ),
    step(
        "clicks",
        "Count the splines of the shaft.",
        {"met": "torque", "not so": "torque"},
        gate=g.Check(ask="How many are there?", kind="number", options=(), right=("23",), otherwise=True, place=AT),
    ),
    step(
        "torque",
        "Torque the nipple.",
        {"pass": "press", "fail": "press", "cannot tell": "press", "by feel": "press"},
        gate=reading(
            "nipple_torque",
            "setting of the wrench",
            dimension=TORQUE,
            unit=NM,
            mode="setting",
            instruments=(),
            bands=bands("torque", "torque"),
            instead=("by feel",),
            clicks=1,
        ),
    ),
    step(
        "press",
        "Press the pedal with 300 N.",
        {"firm": "which-fluid", "sinks": "safe stop"},
        gate=g.Timed(at_least=Fraction(10), ask="Did the pedal sink?", options=("firm", "sinks"), place=AT),
    ),
    step(
        "which-fluid",
        "Read the marking of the bottle.",
        "batch",
        gate=g.Check(
            ask="Which fluid is it?",
            kind="pick",
            options=("DOT 3", "DOT 4", "none of these, cannot read"),
            right=("DOT 4",),
            otherwise=True,
            place=AT,
        ),
        override=to("batch"),
    ),
    step(
        "batch",
        "Read the batch on the bottle.",
        "picture",
        gate=g.Identify(name="batch", what="the batch number", pattern="[A-Z0-9-]{3,20}", place=AT),
    ),
    step(
        "picture",
        "Take a picture of the reservoir.",
        "books",
        gate=g.Photo(name="level", what="the level in the reservoir", place=AT),
    ),
    step(
        "books",
        "Compare what went in with what came out.",
        {"closes": "cap-on", "does not close": "cap-on", "cannot tell": "cap-on"},
        gate=g.Books(what="fluid", imbalance=expr("reservoir_start - reservoir_now"), within=expr("60 mL"), place=AT),
    ),
    step("cap-on", "Put the cap on the reservoir.", "rest", ends=("cap_off",), starts="soak"),
    step(
        "rest",
        "Let the fluid rest.",
        "choose",
        commit=g.Commit(parts=("ring",), takes="40 min", way_out="Leave it as it is."),
    ),
    step(
        "choose",
        "Look at the rear left drum.",
        {"wet": "done", "dry": "done"},
        gate=g.Choice(ask="How is it?", options=("wet", "dry"), name="drum", place=AT),
        cannot=to("done"),
    ),
    g.End(id="done", kind="done", say="The fluid is exchanged.", place=AT),
)

LEVELS = {
    "reservoir": g.Level(
        name="reservoir",
        what="fluid in the reservoir",
        unit=ML,
        floor=expr("20 mL"),
        brim=expr("340 mL"),
        marks={"MIN": expr("100 mL"), "MAX": expr("300 mL")},
        place=AT,
    ),
    "bottle": g.Level(
        name="bottle", what="fluid in the bottle", unit=ML, floor=expr("0 mL"), brim=expr("500 mL"), marks={}, place=AT
    ),
}


def procedure(main: Body = MAIN, **more: object) -> Procedure:
    table = {c.name: c for c in CONDITIONS}
    vocabulary = g.Vocabulary(
        file="vocabulary.yaml",
        conditions=table,
        places={"wheel": "at the wheel", "bonnet": "under the bonnet"},
        deeds={},
        hazards={c.name: c for c in (SPRAY, SLIP, PAINT)},
        duties=(),
    )
    made = Procedure(
        name="bench",
        title="Brake fluid exchange, in small",
        revision="3",
        file="bench.yaml",
        purpose="Try every kind of gate.",
        not_for=("cars with a pump",),
        is_fragment=False,
        here=None,
        contract=None,
        tools=("ring spanner",),
        consumables=("fresh fluid",),
        safety=("goggles",),
        asks=ASKS,
        computes={},
        levels=LEVELS,
        parts={"ring": g.Part(name="ring", what="sealing ring", have=1, single_use=True, trace=False, place=AT)},
        stacks={},
        waits={"soak": g.Wait(name="soak", what="the fluid rests", at_least=Fraction(600), keeps=None, place=AT)},
        rules=(),
        assumes=(holds("not cap_off"), *(holds(f"not nipple_open@{c}") for c in g.CORNERS)),
        carries=(),
        example_cars=(),
        conditions=table,
        vocabulary=vocabulary,
        body=main,
        fragments={},
        texts={},
        place=AT,
    )
    raise_it = replace(
        made,
        name="raise",
        title="Raise and support",
        is_fragment=True,
        here="axle",
        body=LIFT,
        asks={},
        levels={},
        waits={},
    )
    return replace(made, fragments={"raise": raise_it}, **more)


START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def stamp(seconds: float) -> Stamp:
    at = (START + timedelta(seconds=seconds)).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"
    return Stamp(at, int(seconds * 1_000_000_000), "bench")


BEGIN = ac.Begin(
    procedure="bench",
    revision="3",
    version="1",
    texts={},
    hashes={},
    car="saltmarsh-7",
    demonstration=True,
    salt="salt",
    asks={"torque": {"value": "12 N m", "source": "car's service literature"}},
    conditions={f"hose_on@{c}": "F" for c in g.CORNERS} | {"goggles_on": "F"},
    levels={"reservoir": ["0.000295", "0.000305"], "bottle": ["0", "0"]},
    waits={},
    parts={"ring": 1},
    instruments={"micrometer 2": {"what": "micrometer", "unit": "mm", "error": "0.01 mm"}},
    claims={},
    heads={},
)


@dataclass(slots=True)
class Bench:
    """A run in the hand: what it is, where it stands, what the clock says."""

    procedure: Procedure
    state: State
    seconds: float = 0.0
    extras: Extras = EXTRAS

    @property
    def now(self) -> Stamp:
        return stamp(self.seconds)

    def view(self) -> View:
        return look(self.procedure, self.state, self.now, self.extras)

    def try_out(self, act: AnyAct) -> tuple[AnyEvent, ...]:
        return decide(self.procedure, self.state, act, self.now, self.state.by)

    def do(self, *acts: AnyAct, wait: float = 30.0) -> View:
        for act in acts:
            self.seconds += wait
            events = self.try_out(act)
            self.state = fold(self.state, self.state.line + 1, self.now, self.state.by, act, events)
        return self.view()


def refused(events: tuple[AnyEvent, ...]) -> str | None:
    said = next((e for e in events if isinstance(e, Refused)), None)
    return None if said is None else f"{said.why} ({said.help})"


def harmless(line: str) -> bool:
    """Whether a line holds nothing that a terminal could take for a command."""
    return clean(line) == line and not any(category(c) == "Cc" for c in line)


PROCEDURE = procedure()


def begun(begin: ac.Begin = BEGIN) -> Bench:
    bench = Bench(PROCEDURE, State(by="MB"))
    bench.do(begin)
    return bench
