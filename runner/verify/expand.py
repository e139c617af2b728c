"""The whole procedure laid out flat: fragments taken in place, every turn of every block, every beat.

Rules of this module
1. A fragment means its steps in the place of the call; nothing is taken from its contract.
2. The order of a block is not known: a turn is told by which members are over and which one is now, so that
   every order is a path. An order that the procedure lists is taken as it stands.
3. The safe stop that is open everywhere is no edge; only a target that the author wrote is one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import msgspec

from runner.core.finding import Finding
from runner.core.graph import (
    HERE,
    MEMBERS,
    SKIPPED,
    Body,
    Call,
    Each,
    End,
    Node,
    Procedure,
    Step,
    Target,
    narrow,
    walk,
)
from runner.verify.shape import nested, reverse_post_order, too_large
from runner.verify.station import Edge, Op, Setting, Station, When, glue
from runner.verify.steps import choices_of, stations


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One scope that is open: the procedure, a call, or a turn of a block with the turns that are over."""

    body: Body
    owner: Procedure
    here: str | None
    prefix: str
    block: str
    node: Call | Each | None
    up: Frame | None
    over: frozenset[str] = frozenset()
    left: frozenset[str] = frozenset()


class Point(msgspec.Struct, frozen=True, eq=False):
    """A station in its place: the path, the scope, and where each of the station's edges leads."""

    station: Station
    path: str
    frame: Frame
    targets: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Expanded:
    """The flat graph, from ``points[0]``, in an order in which loops alone lead back."""

    points: tuple[Point, ...]
    stations: tuple[Station, ...]
    at: Mapping[str, tuple[int, ...]]


def expand(procedure: Procedure, here: str | None = None) -> Expanded | Finding:
    """The flat graph, or why there is none: a fragment that calls itself, too deep, too large.

    A fragment for one corner, axle or side is laid out for ``here``, by default for the last there is.
    """
    wrong = nested(procedure) or too_large(procedure)
    return wrong or _Layer(procedure, here).laid()


_Key = tuple[int, str, str]


class _Layer:
    """Lays points one by one; each is found again by its scope, its node and its part."""

    def __init__(self, procedure: Procedure, here: str | None) -> None:
        self.root = procedure
        here = here or (MEMBERS[procedure.here][-1] if procedure.here else None)
        self.top = Frame(procedure.body, procedure, here, "", "", None, None)
        self.index: dict[_Key, int] = {}
        self.waiting: list[tuple[Frame, Station, str]] = []
        self.targets: list[tuple[int, ...]] = []
        self.overs: dict[int, frozenset[str]] = {}
        self.frames: dict[tuple[int, str, frozenset[str], str | None], Frame] = {}
        self.known: dict[tuple[int, str | None, int, str], tuple[Station, ...]] = {}
        self.settings: dict[tuple[int, str | None, str], Setting] = {}

    def laid(self) -> Expanded:
        self.enter(self.top, self.top.body.first)
        at = 0
        while at < len(self.waiting):
            self.targets.append(tuple(self.lead(at, edge.to) for edge in self.waiting[at][1].edges))
            at += 1
        return self._ordered()

    def _ordered(self) -> Expanded:
        order = reverse_post_order(self.targets)
        place = {old: new for new, old in enumerate(order)}
        points: list[Point] = []
        at: dict[str, list[int]] = {}
        for old in order:
            frame, station, path = self.waiting[old]
            at.setdefault(path, []).append(len(points))
            points.append(Point(station, path, frame, tuple(place[t] for t in self.targets[old])))
        every = tuple({id(p.station): p.station for p in points}.values())
        return Expanded(points=tuple(points), stations=every, at={k: tuple(v) for k, v in at.items()})

    def setting(self, frame: Frame) -> Setting:
        key = (id(frame.owner), frame.here, frame.block)
        if key not in self.settings:
            afters = [one for node in walk(frame.owner.body) for one in getattr(node, "after", ())]
            self.settings[key] = Setting(
                conditions=self.root.conditions,
                owner=frame.owner,
                here=frame.here,
                block=frame.block,
                choices=choices_of(frame.owner),
                awaited=frozenset(one.node for one in afters),
                told_apart=frozenset(one.node for one in afters if one.outcomes),
            )
        return self.settings[key]

    def put(self, frame: Frame, name: str, station: Station, shown: str = "") -> int:
        """The index of a point, laid on first meeting; its path ends in ``shown`` or else in its name."""
        key = (id(frame), name, station.part)
        if key not in self.index:
            self.index[key] = len(self.waiting)
            self.waiting.append((frame, station, frame.prefix + (shown or name)))
        return self.index[key]

    def enter(self, frame: Frame, name: str) -> int:
        """The point at which a node of a scope is entered."""
        node = frame.body.nodes[name]
        key = (id(frame), name, "")
        if key in self.index:
            return self.index[key]
        match node:
            case Step():
                return self.put(frame, name, self.parts(frame, node)[0])
            case Call():
                return self.put(frame, name, self._call(frame, node))
            case Each():
                return self.fork(frame, node, frozenset())
            case End():
                return self._end(frame, node)

    def parts(self, frame: Frame, node: Step) -> tuple[Station, ...]:
        key = (id(node), frame.here, id(frame.owner), frame.block)
        if key not in self.known:
            self.known[key] = stations(self.setting(frame), node)
        return self.known[key]

    def _call(self, frame: Frame, node: Call) -> Station:
        setting = self.setting(frame)
        when_skip = when_call = None
        if node.ensure is not None:
            name = setting.name(node.ensure)
            when_skip, when_call = When(name, ("T",)), When(name, ("F", "U"))
        elif node.give_back is not None:
            when_skip = When(setting.name(node.give_back), ("T",))
        edges = [Edge(label="", kind="on", to=">", when=when_call, place=node.place)]
        if node.skip is not None:
            label = "already so" if node.ensure is not None else "still claimed"
            ops = setting.come(node, SKIPPED, node.place)
            edges.append(Edge(label=label, kind="skip", to=node.skip, when=when_skip, ops=ops, place=node.place))
        return glue("call", node, setting, tuple(edges))

    def _end(self, frame: Frame, node: End) -> int:
        if node.kind in ("done", "stopped") or _caller(frame) is None:
            kind = "end" if node.kind in ("done", "stopped") else "exit"
            return self.put(frame, node.id, glue(kind, node, self.setting(frame), ()))  # type: ignore[arg-type]
        edge = Edge(label="", kind="on", to=f"<{node.kind}", place=node.place)
        return self.put(frame, node.id, glue("call", node, self.setting(frame), (edge,)))

    def fork(self, frame: Frame, node: Each, over: frozenset[str]) -> int:
        """The point between two turns of a block: what may be next, or the way on."""
        name = f"{node.id}/{'+'.join(sorted(over))}" if over else node.id
        key = (id(frame), name, "")
        if key in self.index:
            return self.index[key]
        ops = (Op("over", frame.block + node.id, node.place),)
        following = self._following(node, over)
        if following:
            edges = tuple(
                Edge(
                    label=member,
                    kind="on",
                    to=f">{member}",
                    place=node.place,
                    ops=(Op("turn", frame.block + node.id, node.place, values=(member,)),),
                )
                for member in following
            )
        else:
            ended = self.setting(frame).come(node, "", node.place)
            edges = (Edge(label="", kind="on", to=node.then, ops=ended, place=node.then.place),)
        index = self.put(frame, name, glue("each", node, self.setting(frame), edges, ops), node.id)
        self.overs[index] = over
        return index

    def _members(self, node: Each) -> tuple[str, ...]:
        if not isinstance(node.order, str):
            return node.order
        ask = next((a.orders for p in self._owners() if (a := p.asks.get(node.order)) and a.orders), None)
        return next(iter(ask.values())) if ask else MEMBERS[node.index]

    def _owners(self) -> Iterator[Procedure]:
        yield self.root
        yield from self.root.fragments.values()

    def _following(self, node: Each, over: frozenset[str]) -> tuple[str, ...]:
        left = tuple(m for m in self._members(node) if m not in over)
        return left[:1] if not isinstance(node.order, str) else left

    def child(self, frame: Frame, node: Call | Each, member: str | None, over: frozenset[str]) -> Frame:
        key = (id(frame), node.id, over, member)
        if key in self.frames:
            return self.frames[key]
        if isinstance(node, Call):
            owner = self.root.fragments[node.fragment]
            here = frame.here if node.at in (None, HERE) else node.at
            here = narrow(here, owner.here) if owner.here is not None else here
            made = Frame(owner.body, owner, here, f"{frame.prefix}{node.id}/", f"{frame.block}{node.id}/", node, frame)
        else:
            left = frozenset(self._members(node)) - over - {member or ""}
            made = Frame(
                node.body,
                frame.owner,
                member,
                f"{frame.prefix}{node.id}/{member}/",
                f"{frame.block}{node.id}/",
                node,
                frame,
                over,
                left,
            )
        self.frames[key] = made
        return made

    def lead(self, at: int, to: Target | str) -> int:
        """The index of the point to which an edge of a point leads."""
        frame, station, _ = self.waiting[at]
        node = station.node
        if isinstance(to, Target):
            return self.aim(frame, node, to)
        if to.startswith("<"):
            return self.exit(frame, to[1:], calls_only=True)
        if isinstance(node, Step):
            sibling = next(s for s in self.parts(frame, node) if s.part == to)
            return self.put(frame, node.id, sibling)
        assert isinstance(node, Call | Each)
        inner = self.child(frame, node, to[1:] or None, self.overs.get(at, frozenset()))
        return self.enter(inner, inner.body.first)

    def aim(self, frame: Frame, node: Node | None, to: Target) -> int:
        """The index of the point that a target means in a scope."""
        match to.kind:
            case "step":
                return self.enter(frame, to.name)
            case "again":
                assert node is not None
                return self.enter(frame, node.id)
            case "exit":
                return self.exit(frame, to.name)
            case "next turn":
                inner: Frame | None = frame
                while inner is not None and not isinstance(inner.node, Each):
                    inner = inner.up
                if inner is None or inner.up is None or not isinstance(inner.node, Each):
                    return self.stop()
                return self.fork(inner.up, inner.node, inner.over | {inner.here or ""})
            case "safe stop":
                return self.stop()

    def exit(self, frame: Frame, name: str, *, calls_only: bool = False) -> int:
        """The way out of a scope by a named exit; at the top it is an end of its own."""
        inner: Frame | None = _caller(frame) if calls_only else frame
        if inner is None or inner.node is None or inner.up is None:
            end = End(id=f"exit {name}", kind=name, say="", place=self.root.place)
            return self.put(self.top, end.id, glue("exit", end, self.setting(self.top), ()))
        ops = (Op("over", inner.block.rstrip("/"), inner.node.place),) if isinstance(inner.node, Each) else ()
        setting = self.setting(inner.up)
        came = setting.come(inner.node, name, inner.node.place, sure=isinstance(inner.node, Call))
        edge = Edge(label=name, kind="on", to=inner.node.exits[name], ops=came, place=inner.node.place)
        station = glue("call", inner.node, setting, (edge,), ops)
        return self.put(inner.up, f"{inner.node.id} {name}", station, inner.node.id)

    def stop(self) -> int:
        """The safe stop as a target that the author wrote."""
        return self.put(self.top, "safe stop", glue("safe stop", None, self.setting(self.top), ()))


def _caller(frame: Frame) -> Frame | None:
    inner: Frame | None = frame
    while inner is not None and not isinstance(inner.node, Call):
        inner = inner.up
    return inner
