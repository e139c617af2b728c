"""A path through the flat graph in the words of its steps; turns of a block that repeat are folded."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby

from runner.core.finding import clean
from runner.core.graph import Each, spoken
from runner.verify.expand import Expanded, Frame, Point

_SLOT = re.compile(r"\{(\w+)\}")
LONGEST = 40


def trail(
    expanded: Expanded, points: Sequence[int], edges: Sequence[int], notes: Sequence[str] = ()
) -> tuple[str, ...]:
    """One line for each step of the path: its title and how it was left; ``notes`` stand beside the points."""
    entries: list[tuple[str, str, str, str]] = []
    last = ""
    for nth, (at, edge) in enumerate(zip(points, edges, strict=True)):
        point = expanded.points[at]
        label = point.station.edges[edge].label if edge >= 0 else ""
        if point.station.kind == "step" or (label and point.station.kind in ("gate", "call")):
            note = notes[nth] if notes and notes[nth] != last else ""
            last = note or last
            entries.append((*_turn(point.frame), title(point), ", ".join(filter(None, (label, note)))))
        elif label and entries and point.station.kind in ("rest", "look"):
            entries[-1] = (*entries[-1][:3], ", ".join(filter(None, (entries[-1][3], label))))
    lines = tuple(_folded(entries))
    if len(lines) <= LONGEST:
        return lines
    half = LONGEST // 2
    return (*lines[:half], f"… {len(lines) - 2 * half} steps more …", *lines[-half:])


def title(point: Point) -> str:
    """A step by its id and its sentence, with the corner that is here in words."""
    step, node = point.station.step, point.station.node
    if step is None:
        return node.id if node is not None else point.path
    said = _SLOT.sub(lambda m: spoken(point.station.here) if m[1] == "here" else m[1].replace("_", " "), step.do)
    return f"{step.id}: {clean(said)}"


def _turn(frame: Frame) -> tuple[str, str]:
    """The block around and the member whose turn it is."""
    inner: Frame | None = frame
    while inner is not None and not isinstance(inner.node, Each):
        inner = inner.up
    return (inner.block, inner.here or "") if inner is not None else ("", "")


def _folded(entries: list[tuple[str, str, str, str]]) -> Iterator[str]:
    shown: dict[tuple[str, tuple[tuple[str, str], ...]], str] = {}
    for (block, member), group in groupby(entries, key=lambda e: e[:2]):
        lines = [(said, label) for _, _, said, label in group]
        plain = tuple((said.partition(":")[0], label) for said, label in lines)
        before = shown.get((block, plain))
        if block and before is not None and len(lines) > 1:
            yield f"{spoken(member)}: as at {spoken(before)}"
            continue
        shown[block, plain] = member
        first = f"{spoken(member)}, " if block and spoken(member) not in lines[0][0] else ""
        for nth, (said, label) in enumerate(lines):
            yield ("" if nth else first) + (f"{said} ({label})" if label else said)
