"""A second opinion on a run: from its acts, its events and the clock alone, by plain definitions.

It shares nothing with the engine but the words of acts, events and procedures. What it holds against each line:
no step is left by its outcome unless its messages were confirmed and its gate answered; no lower bound of a level
is raised by anything but a look or a measured fill; the place moves only by ``Arrived``; a refused act did nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph as g
from runner.core.act import AnyAct
from runner.core.event import AnyEvent
from runner.core.graph import Procedure
from runner.core.stamp import Stamp

NOT_BY_THE_GATE = ("bound", "skipped", "short", "full", "override", "cannot")
MS_A_WORD = 200


class Judge:
    """Follows one run line by line and says what is wrong with a line, if anything."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.path = ""
        self.by = ""
        self.conditions: dict[str, str] = {}
        self.then: dict[str, str] = {}
        self.levels: dict[str, tuple[Fraction, Fraction] | None] = {}
        self.before: dict[str, tuple[Fraction, Fraction] | None] = {}
        self.owned: set[str] = set()
        self.joined: set[str] = set()
        self.in_effect: set[tuple[str, str]] = set()
        self.since = 0
        self.timer: int | None = None
        self.nodes: dict[str, tuple[g.Node, str | None]] = {}

    def node(self, path: str) -> tuple[g.Node, str | None]:
        """The node at a path and the corner or axle that is here, found by hand."""
        if path not in self.nodes:
            nodes, here, owner = self.procedure.body.nodes, None, self.procedure
            ids = path.split("/")
            while len(ids) > 1:
                node = nodes[ids.pop(0)]
                if isinstance(node, g.Each):
                    here, nodes = ids.pop(0), node.body.nodes
                elif isinstance(node, g.Call):
                    owner = self.procedure.fragments[node.fragment]
                    here = here if node.at in (None, "here") else node.at
                    here = g.AXLE_OF.get(here or "", here) if owner.here == "axle" else here
                    nodes = owner.body.nodes
            self.nodes[path] = (nodes[ids[0]], here)
        return self.nodes[path]

    def line(self, now: Stamp, by: str, act: AnyAct, events: tuple[AnyEvent, ...], key: str) -> str | None:
        """What is wrong with one line; ``key`` is what was printed in the text of the warning that stood."""
        if not events:
            return "nothing happened"
        if by and by != self.by:
            self.new_person()
        self.by = by or self.by
        self.then = dict(self.conditions)
        refused = [e for e in events if isinstance(e, ev.Refused)]
        if refused and any(not isinstance(e, ev.Refused | ev.Expired) for e in events):
            return "a refused act did something"
        for event in events:
            wrong = self.event(now, act, event, key)
            if wrong is not None:
                return wrong
        return None

    def new_person(self) -> None:
        self.owned, self.joined, self.in_effect = set(), set(), set()

    def event(self, now: Stamp, act: AnyAct, event: AnyEvent, key: str) -> str | None:
        match event:
            case ev.Begun(conditions=conditions, levels=levels):
                self.conditions = dict(conditions)
                self.levels = {n: self.pair(v) for n, v in levels.items()}
            case ev.Arrived(path=path):
                self.path, self.since, self.timer = path, now.mono, None
                self.owned, self.joined = set(), set()
            case ev.Confirmed():
                return self.confirmed(now, act, event, key)
            case ev.Left(path=path, outcome=outcome) if outcome not in NOT_BY_THE_GATE:
                return self.left(now, act, path, outcome)
            case ev.TimerStarted():
                self.timer = now.mono
            case ev.Granted():
                return self.granted(event)
            case ev.Returned(levels=levels, conditions=conditions, used=used):
                self.conditions |= conditions
                for name, pair in levels.items():
                    top, after = self.before.get(name), self.pair(pair)
                    if after is not None and (top is None or after[0] > top[0]):
                        return f"a credit raised '{name}' above where it was before the grant"
                    if after is not None and top is not None and used and after[1] < top[1] - (top[1] - after[0]):
                        return f"'{name}' is upside down"
                    self.levels[name] = after
            case ev.Looked(level=level, enclosure=pair):
                if not isinstance(act, ac.Look):
                    return "a look without a look"
                if pair is not None:
                    self.levels[level] = self.pair(pair)
            case ev.LevelIs():
                return self.level_is(act, event)
            case ev.Became(changes=changes) | ev.Stopped(unknown=changes) | ev.Resumed(unknown=changes):
                self.conditions |= changes
                if isinstance(event, ev.Stopped | ev.Resumed):
                    self.new_person()
                    self.since = now.mono
                    self.levels |= dict.fromkeys(event.levels)
            case ev.Expired(conditions=conditions, levels=levels):
                self.conditions |= dict.fromkeys(conditions, "U")
                self.levels |= dict.fromkeys(levels)
            case ev.Attested(condition=name, value=value) | ev.Contradicted(condition=name, value=value):
                self.conditions[name] = value
            case ev.PersonSet(initials=by):
                self.by = by
                self.new_person()
            case ev.Asked():
                self.owned, self.joined = set(), set()
            case _:
                pass
        return None

    def pair(self, texts: list[str] | None) -> tuple[Fraction, Fraction] | None:
        return None if texts is None else (Fraction(texts[0]), Fraction(texts[1]))

    def confirmed(self, now: Stamp, act: AnyAct, event: ev.Confirmed, key: str) -> str | None:
        node, _ = self.node(event.path)
        if not isinstance(node, g.Step):
            return "a message without a step"
        words = {c.name: c for c in node.cautions}
        kind = kind_of(event.path)
        if isinstance(act, ac.Confirm):
            caution = words[act.hazard]
            needed = len(f"{caution.avoid} {caution.hazard} {caution.consequence}".split()) * MS_A_WORD
            if act.key != key:
                return "a warning was confirmed with another key than the one in its text"
            if (now.mono - self.since) // 1_000_000 < needed:
                return "a warning was confirmed before it can have been read"
            self.owned.add(act.hazard)
            self.in_effect |= {(kind, act.hazard), (event.path, act.hazard)}
        elif isinstance(act, ac.ConfirmRest):
            for name in event.hazards:
                if words[name].word == "DANGER":
                    return "a danger was confirmed together with others"
                if words[name].word == "WARNING" and (kind, name) not in self.in_effect:
                    return "a warning was joined that had not been read"
                self.joined.add(name)
                self.in_effect |= {(kind, name), (event.path, name)}
        else:
            return "a message was confirmed by no act"
        self.since = now.mono
        return None

    def left(self, now: Stamp, act: AnyAct, path: str, outcome: str) -> str | None:
        node, here = self.node(path)
        if not isinstance(node, g.Step):
            return f"'{path}' is no step"
        counted = isinstance(node.gate, g.Count)
        for caution in node.cautions:
            told = self.owned | (self.joined if caution.word != "DANGER" else set())
            if caution.name not in told and not (counted and (path, caution.name) in self.in_effect):
                return f"'{path}' was left although '{caution.name}' was not confirmed"
        for need in node.needs if not counted else ():
            if isinstance(need, g.Holds):
                name = g.instance(self.procedure.conditions, need.ref, here)
                if self.then.get(name, "U") != ("T" if need.wanted else "F"):
                    return f"'{path}' was left although '{need.said}' did not hold"
        return None if self.answered(now, act, node.gate, here, outcome) else f"'{path}' was left without its act"

    def answered(self, now: Stamp, act: AnyAct, gate: g.Gate | None, here: str | None, outcome: str) -> bool:
        match gate:
            case None | g.Books():
                return isinstance(act, ac.Done)
            case g.Check(right=right, otherwise=otherwise):
                wanted = {here if r == "here" else r for r in right}
                said = act.value.strip() if isinstance(act, ac.Answer) else None
                said = str(int(said)) if gate.kind == "number" and said and said.isdigit() else said
                return said is not None and (outcome == "met" if said in wanted else otherwise and outcome == "not so")
            case g.Choice(options=options):
                return isinstance(act, ac.Answer) and act.value == outcome and outcome in options
            case g.Timed(at_least=least, options=options):
                long = self.timer is not None and now.mono - self.timer >= least * 1_000_000_000
                return isinstance(act, ac.Answer) and outcome in options and long
            case g.Reading(instead=instead):
                return isinstance(act, ac.Accept) or (isinstance(act, ac.Instead) and act.result in instead)
            case g.Identify() | g.Photo():
                return isinstance(act, ac.Accept | ac.Instead)
            case g.Count(exits=exits, again=again):
                return isinstance(act, ac.Answer) and outcome in exits and outcome not in again
        return False

    def granted(self, event: ev.Granted) -> str | None:
        self.conditions |= event.touched
        self.before = {n: self.levels.get(n) for n in event.levels}
        for name, texts in event.levels.items():
            was, now = self.levels.get(name), self.pair(texts)
            if was is None or now is None or now[0] > was[0] or now[1] < was[1]:
                return f"the grant of '{name}' is no worst case"
            self.levels[name] = now
        return None

    def level_is(self, act: AnyAct, event: ev.LevelIs) -> str | None:
        was, now = self.levels.get(event.level), self.pair(event.enclosure)
        self.levels[event.level] = now
        if event.by_look or isinstance(act, ac.Correct) or now is None:
            return None
        if was is None:
            return f"'{event.level}' was not known and is now, without a look"
        if now[0] > was[0] and not isinstance(act, ac.Accept):
            return f"the lower bound of '{event.level}' was raised without a look or a measured fill"
        return None


def kind_of(path: str) -> str:
    """The step without its corner, so that it is the same at each."""
    members = ("LF", "RF", "LR", "RR", "front", "rear", "left", "right")
    return "/".join(p for p in path.split("/") if p not in members)


def low_marks(procedure: Procedure) -> Mapping[str, g.Move]:
    """The move of every count, by the id of its step."""
    owners = (procedure, *procedure.fragments.values())
    counts = (n for p in owners for n in g.walk(p.body) if isinstance(n, g.Step) and isinstance(n.gate, g.Count))
    return {n.id: n.gate.move for n in counts if isinstance(n.gate, g.Count) and n.gate.move is not None}
