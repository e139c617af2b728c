"""How the names in a record read: in the words of its own procedure, else as plain words.

A record names conditions, deeds, hazards, levels and steps as the author's file does; no such name is for people.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from runner.core import event as ev
from runner.core.graph import HERE, Procedure, Step, find, narrow, spoken, walk
from runner.core.state import State
from runner.core.wording import fill, plain, says, says_all, what_of

_VALUES = {"T": "so", "F": "not so", "U": "not known"}
_IN_TEXT = re.compile(r"(?<![\w@.-])(?:(?:deed|make|end) )?[a-z][a-z0-9]*(?:[_-][a-z0-9]+)*(?:@[A-Za-z]+)?(?![\w@])")
UNDONE = "left undone: "
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

    def open(self, names: Iterable[str]) -> tuple[str, ...]:
        """What stands open, as it is; all places of one condition together."""
        made = self.procedure
        told = list(names)
        if made is None or any(name.partition("@")[0] not in made.conditions for name in told):
            return tuple(plain(name) for name in told)
        lost = [name for name in told if self.state.procedure and self.state.value(name) == "U"]
        facts = [(name, made.conditions[name.partition("@")[0]].normally is not True) for name in told]
        known = says_all(made, [fact for fact in facts if fact[0] not in lost])
        return (*known, *(f"not known whether {text}" for text in says_all(made, [f for f in facts if f[0] in lost])))

    def amiss(self, name: str) -> str:
        """What is not as it must be at the end, as it is: a condition, or the words of a rule."""
        made, base = self.procedure, name.partition("@")[0]
        if made is None or base not in made.conditions:
            return plain(name) if made is None else self._unfollowed(made, name) or self.in_text(name)
        return says(made, name, holds=made.conditions[base].normally is not True and not self._wanted(made, base))

    def all_amiss(self, names: Iterable[str]) -> tuple[str, ...]:
        """The same of several, in as few texts as it takes: all places of one condition together, each text once."""
        made = self.procedure
        facts: dict[tuple[str, bool], None] = {}
        unknown: dict[tuple[str, bool], None] = {}
        rest: dict[str, None] = {}
        for name in names:
            fact = self._fact(made, name) if made is not None else None
            if fact is None:
                rest[self._to_do(name)] = None
            elif self.state.procedure and self.state.value(fact[0]) == "U":
                unknown[fact[0], not fact[1]] = None
            else:
                facts[fact] = None
        said = [f"still so: {text}" for text in says_all(made, facts)] if made is not None else []
        said += [f"not known whether {text}" for text in says_all(made, unknown)] if made is not None else []
        return (*said, *rest)

    def _fact(self, made: Procedure, name: str) -> tuple[str, bool] | None:
        """The condition that is not as it must be, and as what it stands; None where it is something else."""
        base = name.partition("@")[0]
        if base in made.conditions:
            return name, made.conditions[base].normally is not True and not self._wanted(made, base)
        verb, _, owed = self._owed(made, name)[1].partition(" ")
        now = self.state.conditions.get(owed)
        if owed.partition("@")[0] not in made.conditions or now == {"make": "T", "end": "F"}.get(verb, now):
            return None
        return owed, verb == "end"

    def _to_do(self, name: str) -> str:
        """What is still to come after something that happened."""
        owed = self._owed(self.procedure, name)[1] if self.procedure is not None else ""
        if not owed or self.procedure is None:
            return f"still so: {self.in_text(name) if self.procedure is not None else plain(name)}"
        again = owed.partition(" ")[0] in ("make", "end")
        return f"to be done {'again' if again else 'yet'}: {self._came(self.procedure, owed)}"

    @staticmethod
    def _wanted(made: Procedure, base: str) -> bool:
        return any(
            ref.name == base for rule in made.rules if rule.kind == "at_end" and rule.wanted for ref in rule.refs
        )

    def _owed(self, made: Procedure, text: str) -> tuple[str, str]:
        """What happened, and what a rule wants after it and has not got, from the rule's own text."""
        for rule in made.rules:
            said, behind, happened = text.partition(f"{rule.said} (")
            if said or not behind or rule.what is None or rule.other is None:
                continue
            what = happened.removesuffix(")")
            member = what.partition("@")[2]
            index = made.conditions[rule.other.name].index if rule.other.name in made.conditions else None
            where = rule.other.at if rule.other.at not in (None, HERE) else narrow(member or None, index)
            return what, f"{rule.other.on} {rule.other.name}" + (f"@{where}" if where else "")
        return "", ""

    def _unfollowed(self, made: Procedure, text: str) -> str:
        """What is still to come, with what it follows on."""
        what, owed = self._owed(made, text)
        return f"still to come: {self._came(made, owed)} (it follows on: {self._came(made, what)})" if owed else ""

    def _came(self, made: Procedure, occasion: str) -> str:
        """What was done, or what the car came to be like."""
        verb, _, name = occasion.partition(" ")
        if verb == "end" and name.partition("@")[0] in made.conditions:
            return says(made, name, holds=False)
        return self.of(occasion)

    def found(self, what: str) -> str:
        """A finding; of one that the run made itself, what is not as it must be in words."""
        said, undone, name = what.partition(UNDONE)
        return f"{UNDONE}{self.amiss(name)}" if undone and not said else what

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


def left_undone(event: ev.AnyEvent) -> bool:
    """Whether the run itself wrote down one of the things that it ended without: its end tells them all together."""
    return isinstance(event, ev.FindingMade) and event.origin == "run" and event.what.startswith(UNDONE)


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
