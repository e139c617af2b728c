"""The real engine led along one path that the proofs printed: it can be gone, as far as the fault that it shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from runner.core import event as ev
from runner.core.graph import Count, Each, Procedure, Step, Target
from runner.core.state import SAFE_STOP
from runner.verify import CHECKS
from runner.verify.claim import Broken as Suspect
from runner.verify.claim import broken, case_of
from runner.verify.expand import Expanded, Point, expand
from runner.verify.flow import Flow, spread, ways
from runner.verify.layout import layout
from runner.verify.paths import Path, proven
from tests.oracle.campaign import JUDGED
from tests.oracle.history import told
from tests.oracle.run import Spot
from tests.oracle.walker import Walk


@dataclass(frozen=True, slots=True)
class Shown:
    """A fault with its path: the proof's name, the steps that are left on the way, and the last one.

    ``blurred`` names what a proof of conditions does not follow and the engine does: levels, bounds, the order.
    """

    check: str
    text: str
    left: tuple[str, ...]
    last: str
    blurred: frozenset[str]


def shown(procedure: Procedure) -> Iterator[Shown]:
    """Every fault of a proof that a walk can meet, with its path."""
    expanded = expand(procedure)
    assert isinstance(expanded, Expanded)
    case = case_of(procedure, expanded, layout(procedure, expanded))
    made = ways(expanded, case.layout)
    flow = Flow(expanded, case.layout, made, spread(made, 0, case.layout.start))
    claims = {
        id(s): tuple(c for check in CHECKS if check.claims is not None for c in check.claims(case, s))
        for s in expanded.stations
    }
    suspects = list(broken(flow, claims))
    for at, path in proven(flow, suspects, 0, case.layout.start).items():
        if suspects[at].claim.check in JUDGED:
            yield _told(expanded, suspects[at], path)


def _told(expanded: Expanded, suspect: Suspect, path: Path) -> Shown:
    left: list[str] = []
    blurred = {"turns"} if path.blurred else set()
    points = [expanded.points[p] for p in path.points]
    for nth, (point, edge) in enumerate(zip(points, path.edges, strict=True), 1):
        blurred.update(_not_followed(point))
        way = point.station.edges[edge] if edge >= 0 else None
        if way is not None and way.kind == "bound":
            blurred.add("bound")
        if way is not None and nth < len(points) and point.station.step and isinstance(way.to, Target):
            left.append(point.path)
    return Shown(suspect.claim.check, suspect.claim.text, tuple(left), points[-1].path, frozenset(blurred))


def _not_followed(point: Point) -> Iterator[str]:
    step, frame = point.station.step, point.frame
    if step is not None and (step.moves or (isinstance(step.gate, Count) and step.gate.move is not None)):
        yield "level"
    if isinstance(frame.node, Each) and isinstance(frame.node.order, str):
        yield "order"


class Along(Walk):
    """Only the ways that leave the steps of the path in its order."""

    def __init__(self, procedure: Procedure, way: Shown) -> None:
        super().__init__(procedure, most=4000, both=True)
        self.way, self.there = way, False

    def arrives(self) -> str:
        """'there' at the last step of the path, 'broke' where a fault lies before or beside it, or 'lost'."""
        found = self.broken()
        return "there" if self.there else "lost" if found is None else "broke"

    def put(self, spot: Spot) -> None:
        """Kept only as long as it keeps to the path."""
        left = tuple(e.path for e in told(spot.line) if isinstance(e, ev.Left) and self.is_step(e.path))[::-1]
        if left != self.way.left[: len(left)] or self.there:
            return
        self.there = len(left) == len(self.way.left) and spot.state.path in (self.way.last, SAFE_STOP)
        super().put(spot)

    def is_step(self, path: str) -> bool:
        """Whether the path is that of a step, not of a call or a block."""
        return isinstance(self.judge.spot(path)[0], Step)
