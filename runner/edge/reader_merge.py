"""What a procedure takes over from the fragments that it calls: their asks, levels, parts and waits."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from runner.core.finding import Place, quote
from runner.core.graph import Choice, Compute, Count, Identify, Photo, Procedure, Reading, Step, walk
from runner.core.quantity import PLAIN
from runner.edge.reader_desk import Desk, Named
from runner.edge.reader_values import KIND_OF_ASK
from runner.edge.reader_vocabulary import FITTED

_KEPT = (Choice, Count, Reading, Identify, Photo)
_KINDS = ("asks", "computes", "levels", "parts", "stacks", "waits")


@dataclass(slots=True)
class Taken:
    """The declarations of all called fragments, each with its fragment, by kind and name."""

    of: dict[tuple[str, str], tuple[Any, Procedure]] = field(default_factory=dict)

    def kind(self, kind: str) -> dict[str, Any]:
        """The declarations of one kind by name."""
        return {name: one for (of, name), (one, _) in self.of.items() if of == kind}


def take_over(desk: Desk) -> Taken:
    """Lays what the fragments declare on the desk; notes it where two of them disagree."""
    taken = Taken()
    for fragment in desk.fragments.values():
        for kind in _KINDS:
            for name, one in getattr(fragment, kind).items():
                other = taken.of.setdefault((kind, name), (one, fragment))
                if not _same(one, other[0]):
                    _disagree(desk, kind, name, one, other)
        fitted = {name: made for name, made in fragment.conditions.items() if name.startswith(FITTED)}
        desk.conditions = {**fitted, **desk.conditions}
    for name, ask in taken.kind("asks").items():
        desk.asks[name] = ask
        desk.named[name] = Named(KIND_OF_ASK[ask.kind], ask.dimension, ask.per, ask.place)
        if ask.kind == "choice":
            desk.choices[name] = ask.options
    for name, level in taken.kind("levels").items():
        desk.levels[name] = level
        for look in ("start", "now"):
            desk.named[f"{name}_{look}"] = Named("a look at a level", level.unit.dimension, None, level.place)
    for name, compute in taken.kind("computes").items():
        dimension = compute.unit.dimension if compute.unit else PLAIN
        desk.named[name] = Named("a computed value", dimension, compute.per, compute.place)
    desk.parts |= taken.kind("parts")
    desk.stacks |= taken.kind("stacks")
    desk.waits |= taken.kind("waits")
    return taken


def agree(desk: Desk, taken: Taken, computes: Mapping[str, Compute]) -> None:
    """Notes what the procedure declares in another way than a fragment that it calls."""
    own: Mapping[str, Mapping[str, Any]] = {
        "asks": desk.asks,
        "computes": computes,
        "levels": desk.levels,
        "parts": desk.parts,
        "stacks": desk.stacks,
        "waits": desk.waits,
    }
    for (kind, name), (one, fragment) in taken.of.items():
        mine = own[kind].get(name, one)
        if not _same(mine, one):
            _disagree(desk, kind, name, mine, (one, fragment))


def kept_apart(desk: Desk, made: Procedure) -> None:
    """Notes what is kept under one name in two files: an answer or a reading of the one would stand in the other."""
    first: dict[str, tuple[str, Place]] = {}
    owners = (made, *made.fragments.values())
    for owner in owners:
        gates = [node.gate for node in walk(owner.body) if isinstance(node, Step)]
        own = {g.name: g.place for g in gates if isinstance(g, _KEPT) and g.name}
        for name, place in own.items():
            said = ((o, o.asks.get(name) or o.computes.get(name)) for o in owners if o is not owner)
            other = next(((o.name, one.place) for o, one in said if one is not None), first.get(name))
            if other is not None:
                why = f"{quote(name)} is kept here in {owner.name}, and in {other[0]} too"
                mend = "give one of them another name: the one would be taken for the other"
                desk.say(place, "twice", why, mend, ((other[1], "the other one"),))
            first.setdefault(name, (owner.name, place))


def _disagree(desk: Desk, kind: str, name: str, one: Any, other: tuple[Any, Procedure]) -> None:
    why = f"{quote(name)} under {quote(kind)} is declared in another way in {other[1].name}"
    mend = "take one of them out, or make both the same: a fragment's declarations count for its callers"
    desk.say(one.place, "twice", why, mend, ((other[0].place, "the other one"),))


def _same(one: Any, other: Any) -> bool:
    return bool(one == replace(other, place=one.place))
