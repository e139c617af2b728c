"""One hash for all procedures whose flat graph says the same: names of steps, places in files and words left out.

What a person reads (titles, notes, how a need was worded) does not count, nor does a step that no path reaches, nor
a need or caution that stands twice. What the engine and the proofs look at does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from hashlib import sha256

from runner.core.finding import Finding, Place
from runner.core.graph import Condition, Procedure, Step, Target, walk
from runner.core.mending import restores
from runner.verify.expand import expand
from runner.verify.station import Op, Station

_WORDS = frozenset(
    {"place", "id", "said", "do", "short", "why", "note", "expect", "what", "take", "group", "says", "says_not"}
)
_GRAPH = frozenset({"branch", "bound", "override", "cannot", "needs", "makes", "ends", "cautions", "deeds"})


def likeness(procedure: Procedure) -> str:
    """The hash; empty where the procedure has no flat graph."""
    expanded = expand(procedure)
    if isinstance(expanded, Finding):
        return ""
    digest = sha256(repr(_declared(procedure)).encode())
    rules = [rule for owner in (procedure, *procedure.fragments.values()) for rule in owner.rules]
    watched = {o.name for r in rules for o in (r.what, r.other) if o is not None and o.on == "step"}
    known: dict[int, object] = {}
    for at, point in enumerate(expanded.points):
        station = point.station
        if id(station) not in known:
            known[id(station)] = _plain_station(station, watched)
        digest.update(repr((at, known[id(station)], point.targets)).encode())
    return digest.hexdigest()


def _declared(procedure: Procedure) -> object:
    made: dict[str, set[tuple[str, str]]] = {}
    for owner in (procedure, *procedure.fragments.values()):
        for node in walk(owner.body):
            if isinstance(node, Step) and restores(procedure, node):
                made.setdefault(node.makes[0].name, set()).add((owner.name, node.id))
    conditions = {n: _restored(c, made.get(n, set())) for n, c in procedure.conditions.items()}
    names = ("levels", "parts", "stacks", "waits", "rules", "asks", "computes", "contract", "assumes", "carries")
    return (_plain(conditions), *(_plain(getattr(procedure, name)) for name in names))


def _restored(condition: Condition, makers: set[tuple[str, str]]) -> object:
    """Not the name of the step that restores it counts, but to which steps a run may go for it."""
    return (_plain(condition, ("restore",)), tuple(sorted(makers)))


def _plain_station(station: Station, watched: set[str]) -> object:
    node = station.node
    own = _plain(node, tuple(_GRAPH)) if isinstance(node, Step) else getattr(node, "kind", "")
    asked = sorted({(a.instance, a.wanted) for a in station.asked})
    others = sorted({repr(_plain(n)) for n in station.others})
    entry = sorted({(op.verb, op.name) for op in station.entry})
    edges = tuple(
        (e.label, e.kind, e.when, tuple((o.verb, o.name, o.sure, o.values) for o in e.ops if _counts(o, watched)))
        for e in station.edges
    )
    return (station.kind, station.here, own, asked, others, entry, edges)


def _counts(op: Op, watched: set[str]) -> bool:
    """The name of a step counts only where a rule watches it."""
    return op.verb != "step" or op.name.partition("@")[0] in watched


def _plain(value: object, without: tuple[str, ...] = ()) -> object:
    """A value as nested tuples, without places, targets and words."""
    if value is None or isinstance(value, str | int | Fraction | bool):
        return value
    if isinstance(value, Place | Target):
        return None
    if isinstance(value, Mapping):
        return tuple((str(k), _plain(v)) for k, v in value.items())
    if isinstance(value, tuple | list):
        return tuple(_plain(v) for v in value)
    if isinstance(value, frozenset | set):
        return tuple(sorted(map(str, value)))
    if is_dataclass(value):
        return (
            type(value).__name__,
            *(_plain(getattr(value, f.name)) for f in fields(value) if f.name not in _WORDS and f.name not in without),
        )
    return repr(value)
