"""A procedure as a drawing: boxes, lines and frames, before anything has a place or a format.

Rules of this module
1. Every node of the author's own graph is one box, a block is a frame with a head and a foot; a call is one box.
2. Between two boxes there is one line, whatever leads along it: the outcomes stand on it as labels.
3. A way to the safe stop, or to what many boxes lead to, stops at a mark of its own beside its step, with the name of
   the step or end that it means: forty lines to one box are not legible.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from runner.core.graph import (
    HERE,
    Body,
    Books,
    Call,
    Check,
    Choice,
    Count,
    Each,
    End,
    Gate,
    Identify,
    Photo,
    Procedure,
    Reading,
    Step,
    Target,
    Timed,
    spoken,
)
from runner.core.hazard import Word, highest
from runner.verify.coverage import beside

Kind = Literal["begin", "step", "call", "head", "foot", "end", "stop", "mark"]
_MOST_LINES: Mapping[Kind, int] = {"end": 2, "step": 5, "call": 5}
"""More lines than these to one box are cut short by marks."""
_FIELD = re.compile(r"\{([a-z_0-9@A-Z]+)\}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One text of a box: a caution (``word`` is its signal word), the action, its gate, or a remark."""

    kind: Literal["caution", "do", "gate", "remark"]
    text: str
    word: Word | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One node; ``name`` is its path in the author's own graph, ``frame`` the block in which it stands."""

    name: str
    kind: Kind
    rows: tuple[Row, ...]
    frame: str = ""

    @property
    def word(self) -> Word | None:
        """The gravest signal word among its cautions."""
        words = [row.word for row in self.rows if row.word is not None]
        return highest(words) if words else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A way from a box to a box, with the outcomes that take it; none where there is only one way."""

    source: str
    target: str
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """All that a picture of a procedure shows; ``frames`` are the titles of its blocks by name."""

    title: str
    boxes: tuple[Box, ...]
    lines: tuple[Line, ...]
    frames: Mapping[str, str]


def drawing(procedure: Procedure) -> Drawing:
    """The drawing of a procedure as its author wrote it: calls closed, blocks once."""
    maker = _Maker(procedure)
    maker.put("", "begin", (Row(kind="do", text="begin"),), "")
    maker.join("", procedure.body.first, "")
    maker.body(procedure.body, None)
    maker.mark()
    return Drawing(
        title=procedure.title,
        boxes=tuple(maker.boxes),
        lines=tuple(Line(source=s, target=t, labels=tuple(labels)) for (s, t), labels in maker.lines.items()),
        frames=maker.frames,
    )


class _Maker:
    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.boxes: list[Box] = []
        self.lines: dict[tuple[str, str], list[str]] = {}
        self.frames: dict[str, str] = {}

    def put(self, name: str, kind: Kind, rows: tuple[Row, ...], frame: str) -> None:
        self.boxes.append(Box(name=name, kind=kind, rows=rows, frame=frame))

    def join(self, source: str, target: str, label: str) -> None:
        labels = self.lines.setdefault((source, target), [])
        if label and label not in labels:
            labels.append(label)

    def mark(self) -> None:
        """Put marks in the place of the lines to a box that many others lead to."""
        boxes = {box.name: box for box in self.boxes}
        for name, box in boxes.items():
            sources = [s for s, t in self.lines if t == name and s != name]
            if len(sources) <= _MOST_LINES.get(box.kind, len(sources)):
                continue
            for source in sources:
                mark = f"{source}>{name}"
                self.put(mark, "mark", (Row(kind="do", text=f"to {name}"),), boxes[source].frame)
                self.lines[source, mark] = self.lines.pop((source, name))
            if box.kind != "end":
                told = Row(kind="remark", text=f"this is {name}, which marks lead to")
                self.boxes[self.boxes.index(box)] = replace(box, rows=(*box.rows, told))

    def body(self, body: Body, block: Each | None) -> None:
        for node in body.nodes.values():
            frame = block.id if block is not None else ""
            name = f"{frame}/{node.id}" if frame else node.id
            match node:
                case Step():
                    here = block.index if block is not None else self.procedure.here
                    self.put(name, "step", _step_rows(node, here or "here"), frame)
                    for label, target in _ways(node):
                        self.lead(name, target, label, block)
                case Call():
                    self.put(name, "call", self.call_rows(node), frame)
                    for label, target in node.exits.items():
                        self.lead(name, target, label, block)
                    if node.skip is not None:
                        self.lead(name, node.skip, "already so" if node.ensure else "still claimed", block)
                case Each():
                    self.block(node)
                case End():
                    what = f"{node.id}: {node.kind}" if node.kind in ("done", "stopped") else f"exit {node.kind}"
                    said = (Row(kind="remark", text=_plain(node.say, "here")),) if node.say else ()
                    self.put(name, "end", (Row(kind="do", text=what), *said), frame)

    def block(self, node: Each) -> None:
        order = f"in the order {', '.join(map(spoken, node.order))}"
        if isinstance(node.order, str):
            ask = self.procedure.asks.get(node.order)
            order = f"in this order: {ask.what if ask is not None else node.order}"
        self.frames[node.id] = f"{node.id}: one turn for each {node.index}, {order}"
        self.put(node.id, "head", (Row(kind="do", text=f"each {node.index}"),), node.id)
        self.put(f"{node.id}/", "foot", (Row(kind="do", text=f"next {node.index}, after the last go on"),), node.id)
        self.join(node.id, f"{node.id}/{node.body.first}", "")
        self.lead(f"{node.id}/", node.then, "after the last", None)
        self.join(f"{node.id}/", node.id, f"next {node.index}")
        self.body(node.body, node)

    def lead(self, source: str, target: Target, label: str, block: Each | None) -> None:
        """One way; an exit of a block is followed to where the block sends it."""
        match target.kind:
            case "step":
                self.join(source, f"{block.id}/{target.name}" if block is not None else target.name, label)
            case "again":
                self.join(source, source, label)
            case "next turn" if block is not None:
                self.join(source, f"{block.id}/", label)
            case "exit" if block is not None:
                self.lead(source, block.exits[target.name], label, None)
            case _:
                stop = f"{source}!"
                if (source, stop) not in self.lines:
                    frame = block.id if block is not None else ""
                    self.put(stop, "stop", (Row(kind="do", text="safe stop"),), frame)
                self.join(source, stop, label)

    def call_rows(self, node: Call) -> tuple[Row, ...]:
        called = self.procedure.fragments[node.fragment]
        at = "" if node.at is None else f", {'this ' + str(called.here) if node.at == HERE else spoken(node.at)}"
        rows = [Row(kind="do", text=f"{called.title}{at}"), Row(kind="remark", text=f"call {node.fragment}")]
        for ref, how in ((node.ensure, "left out when"), (node.give_back, "left out while another run needs")):
            if ref is not None:
                rows.append(Row(kind="remark", text=f"{how}: {ref.name.replace('_', ' ')}"))
        return tuple(rows)


def _step_rows(step: Step, here: str) -> tuple[Row, ...]:
    rows = [Row(kind="caution", text=_plain(c.hazard, here), word=c.word) for c in step.cautions]
    rows.append(Row(kind="do", text=_plain(step.do, here)))
    if step.gate is not None:
        rows.append(Row(kind="gate", text=_plain(_asked(step.gate), here)))
    if step.commit is not None:
        rows.append(Row(kind="remark", text=f"commit point, takes {step.commit.takes}"))
    if step.starts is not None:
        rows.append(Row(kind="remark", text=f"starts the wait {step.starts.replace('_', ' ')}"))
    return tuple(rows)


def _asked(gate: Gate) -> str:
    match gate:
        case Check():
            return f"check: {gate.ask}"
        case Choice():
            return f"choice: {gate.ask}"
        case Reading():
            return f"{'reading' if gate.mode == 'measured' else gate.mode}: {gate.what}"
        case Count():
            return f"count: {gate.what}, {gate.at_most} at most. {gate.ask}"
        case Timed():
            return f"hold {float(gate.at_least):g} s: {gate.ask}"
        case Identify():
            return f"identify: {gate.what}"
        case Photo():
            return f"picture: {gate.what}"
        case Books():
            return f"balance: {gate.what}"


def _ways(step: Step) -> Iterator[tuple[str, Target]]:
    again = step.gate.again if isinstance(step.gate, Count) else frozenset()
    for outcome in sorted(again):
        yield outcome, Target(kind="again", place=step.place)
    about = "" if step.branch.subject == "gate" else f"{step.branch.subject.replace('_', ' ')}: "
    for arm in step.branch.arms:
        yield (f"{about}{arm.value}" if arm.value is not None else ""), arm.target
    times = step.bound.times if step.bound is not None else 0
    for label, target in beside(step):
        if label == "bound" and step.bound is not None and target is step.bound.then:
            yield f"after {times} time{'s' if times != 1 else ''}", target
        elif label == "bound" and isinstance(step.gate, Count):
            yield f"after {step.gate.at_most} {step.gate.what}", target
        else:
            yield _BESIDE[label], target


_BESIDE = {
    "override": "overridden",
    "cannot": "cannot be done",
    "short": "would run short",
    "full": "would run over",
}


def _plain(text: str, here: str) -> str:
    """A text with its fields named instead of filled in: nothing is known of a car here."""
    return _FIELD.sub(lambda m: f"‹{here if m[1] == HERE else m[1].replace('_', ' ')}›", text)
