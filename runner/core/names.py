"""How the names in a record read: in the words of its own procedure, else as plain words.

A record names conditions, deeds, hazards, levels and steps as the author's file does; no such name is for people.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from runner.core.graph import HERE, Procedure, Step, find, narrow, spoken, walk
from runner.core.state import State
from runner.core.wording import fill, plain, says, says_all, what_of

_VALUES = {"T": "so", "F": "not so", "U": "not known"}
_IN_TEXT = re.compile(r"(?<![\w@.-])(?:(?:deed|make|end) )?[a-z][a-z0-9]*(?:[_-][a-z0-9]+)*(?:@[A-Za-z]+)?(?![\w@])")
_UNDONE = "left undone: "
"""How a run begins a finding of its own over what is not as it must be at its end."""
_VERBS = {"deed": "", "make": "", "end": "no longer so: ", "step": ""}
"""What a rule watches, as the record writes it before the name."""


@dataclass(frozen=True, slots=True)
class Names:
    """The words for the names of one run; ``state`` fills the slots of a step's instruction."""

    procedure: Procedure | None = None
    state: State = field(default_factory=State)

    def of(self, name: str) -> str:
        """A name as words: what the car is like, what was done, what the danger is, what a value is."""
        verb, space, rest = name.partition(" ")
        if space and verb in _VERBS:
            return _VERBS[verb] + self.of(rest)
        return self._known(name) or plain(name)

    def all_of(self, names: Iterable[str]) -> str:
        """The names as words, one after the other."""
        return ", ".join(self.of(name) for name in names) or "nothing"

    def facts(self, values: Mapping[str, str]) -> str:
        """What became of conditions, all places of one named together."""
        made = self.procedure
        if made is None or any(name.partition("@")[0] not in made.conditions for name in values):
            return "; ".join(f"{plain(name)}: {_VALUES.get(v, v)}" for name, v in values.items()) or "nothing changed"
        known = says_all(made, [(name, v == "T") for name, v in values.items() if v in ("T", "F")])
        unknown = says_all(made, [(name, True) for name, v in values.items() if v not in ("T", "F")])
        return "; ".join((*known, *(f"not known whether {text}" for text in unknown))) or "nothing changed"

    def open(self, names: Iterable[str]) -> str:
        """What stands open, as it is."""
        made = self.procedure
        told = list(names)
        if made is None or any(name.partition("@")[0] not in made.conditions for name in told):
            return ", ".join(plain(name) for name in told) or "nothing"
        facts = ((name, made.conditions[name.partition("@")[0]].normally is not True) for name in told)
        return "; ".join(says_all(made, facts)) or "nothing"

    def amiss(self, name: str) -> str:
        """What is not as it must be at the end, as it is: a condition, or the words of a rule."""
        made, base = self.procedure, name.partition("@")[0]
        if made is None or base not in made.conditions:
            return plain(name) if made is None else self._unfollowed(made, name) or self.in_text(name)
        wanted = any(
            ref.name == base for rule in made.rules if rule.kind == "at_end" and rule.wanted for ref in rule.refs
        )
        normally = made.conditions[base].normally
        return says(made, name, holds=normally is not True and not wanted)

    def _unfollowed(self, made: Procedure, text: str) -> str:
        """What happened and was not followed as a rule wants it, from the rule's own text with what happened behind."""
        for rule in made.rules:
            said, behind, happened = text.partition(f"{rule.said} (")
            if said or not behind or rule.what is None or rule.other is None:
                continue
            what = happened.removesuffix(")")
            member = what.partition("@")[2]
            index = made.conditions[rule.other.name].index if rule.other.name in made.conditions else None
            where = rule.other.at if rule.other.at not in (None, HERE) else narrow(member or None, index)
            owed = f"{rule.other.on} {rule.other.name}" + (f"@{where}" if where else "")
            return f"{self._came(made, what)}, but never after it: {self._came(made, owed)}"
        return ""

    def _came(self, made: Procedure, occasion: str) -> str:
        """What was done, or what the car came to be like."""
        verb, _, name = occasion.partition(" ")
        if verb == "end" and name.partition("@")[0] in made.conditions:
            return says(made, name, holds=False)
        return self.of(occasion)

    def found(self, what: str) -> str:
        """A finding; of one that the run made itself, what is not as it must be in words."""
        said, undone, name = what.partition(_UNDONE)
        return f"{_UNDONE}{self.amiss(name)}" if undone and not said else what

    def place(self, path: str) -> str:
        """A path as words: the instruction of a step in quotes, else its parts, ``corners, right rear, bleed``."""
        if self.procedure is not None:
            try:
                found = find(self.procedure, path)
            except (LookupError, ValueError):
                found = None
            if found is not None and isinstance(found.node, Step):
                return f"'{fill(found.node.do, found.procedure, self.state, found.here)}'"
        return place(path)

    def here(self, path: str) -> str:
        """The same; the step at which the run stands is this step."""
        return "this step" if path and path == self.state.path else self.place(path)

    def caused(self, why: str) -> str:
        """Why something became so; what the step at which the run stands does needs no words."""
        return "" if why == self.state.path.rpartition("/")[2] else self.of(why)

    def in_text(self, text: str) -> str:
        """A text with the names that stand in it as words; whatever is no name of the procedure stays."""
        if self.procedure is None or not ("_" in text or "@" in text):
            return text
        return _IN_TEXT.sub(self._in_text, text)

    def _in_text(self, found: re.Match[str]) -> str:
        verb, space, rest = found[0].partition(" ")
        name = rest if space else verb
        known = self._known(name) if "_" in name or "@" in name else ""
        return _VERBS.get(verb, "") * bool(space) + known if known else found[0]

    def _known(self, name: str) -> str:
        made = self.procedure
        if made is None:
            return ""
        base, _, member = name.partition("@")
        where = f", {spoken(member)}" if member else ""
        if base in made.conditions:
            return says(made, name, holds=True)
        if base in made.vocabulary.deeds:
            return made.vocabulary.deeds[base] + where
        if base in made.vocabulary.hazards:
            return made.vocabulary.hazards[base].hazard.rstrip(".")
        what = _whats(made).get(base, "")
        return what + where if what else ""


def place(path: str) -> str:
    """A path as words: ``corners/RR/bleed`` is ``corners, right rear, bleed``."""
    return ", ".join(where_words(part) for part in path.split("/"))


def where_words(member: str) -> str:
    """A corner, axle, side or part of a path as words."""
    return plain(f"@{member}").removeprefix(", ").replace("-", " ")


@lru_cache(maxsize=16)
def _whats(procedure: Procedure) -> dict[str, str]:
    """What each value of the procedure and its fragments is, in their authors' words."""
    found: dict[str, str] = {}
    for owner in (*procedure.fragments.values(), procedure):
        found |= {name: what_of(owner, name) for name in (*owner.asks, *owner.computes, *owner.levels)}
        found |= {name: plain(one.what) for several in (owner.parts, owner.waits) for name, one in several.items()}
        found |= {name: plain(what) for name, what in _asked(owner)}
    return found


def _asked(owner: Procedure) -> Iterable[tuple[str, str]]:
    for node in walk(owner.body):
        gate = node.gate if isinstance(node, Step) else None
        name, what = getattr(gate, "name", ""), getattr(gate, "what", "")
        if name and what:
            yield name, what
