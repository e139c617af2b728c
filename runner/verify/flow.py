"""The first pass: which states every field may have at every point, over all paths at once.

The join over all paths is computed exactly for each field alone (Kildall 1973, distributive transfer): a worklist
in reverse post-order. A need that does not hold is taken to hold after its point, so that one fault is one report.
"""

from __future__ import annotations

from dataclasses import dataclass

from runner.verify.expand import Expanded
from runner.verify.fields import Layout

_Way = tuple[int, int, int, int, tuple[int, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """The graph, its fields, and the states in which each point may be entered; 0 where it never is."""

    expanded: Expanded
    layout: Layout
    ways: tuple[tuple[_Way, ...], ...]
    states: tuple[int, ...]


def ways(expanded: Expanded, layout: Layout) -> tuple[tuple[_Way, ...], ...]:
    """For each point its edges on the bits: target, what opens it, keep, put, what is counted down."""
    made: dict[int, tuple[tuple[int, int, int, tuple[int, ...]], ...]] = {}
    for station in expanded.stations:
        entered, edges = layout.changes(station)
        made[id(station)] = tuple(
            (layout.open_to(station, at), whole.keep, whole.put, whole.down)
            for at, edge in enumerate(edges)
            for whole in (entered.then(edge),)
        )
    return tuple(
        tuple((t, *way) for t, way in zip(p.targets, made[id(p.station)], strict=True)) for p in expanded.points
    )


def spread(all_ways: tuple[tuple[_Way, ...], ...], first: int, start: int) -> tuple[int, ...]:
    """The states of every point when a run starts at ``first`` in one of ``start``."""
    states = [0] * len(all_ways)
    states[first] = start
    dirty = bytearray(len(all_ways))
    dirty[first] = 1
    at = first
    while at >= 0:
        dirty[at] = 0
        x = states[at]
        back = at
        for target, opens, keep, put, down in all_ways[at]:
            if opens and not x & opens:
                continue
            y = x & keep | put
            for mask in down:
                y = y & ~mask | (y & mask) >> 1 & mask | y & mask & -mask
            before = states[target]
            if y | before != before:
                states[target] = y | before
                dirty[target] = 1
                if target < back:
                    back = target
        # No point before this one waits, save those that were just reached by a way back.
        at = dirty.find(1, back)
    return tuple(states)
