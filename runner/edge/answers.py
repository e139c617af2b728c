"""A file of answers drives the engine without a screen: the same acts and gates, a clock moved by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.finding import Finding, Place, nearest
from runner.core.gates import OWED
from runner.core.graph import Procedure, Step
from runner.core.leaving import OVERRIDABLE
from runner.core.stage import Stage, stage
from runner.core.state import State, kind_of_step
from runner.edge.clock import SteppedClock
from runner.edge.job import Job
from runner.edge.schema import schema
from runner.edge.shape import check_shape
from runner.edge.text import Map, Node, Scalar, Seq, load

MOST_ACTS = 20_000
"""A run that is not over by then goes in circles."""
NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Said:
    """One answer: its parts, and where it stands."""

    parts: Mapping[str, Any]
    place: Place

    def text(self, *names: str) -> str:
        """The first of the named parts that was given."""
        return next((str(self.parts[n]) for n in names if n in self.parts), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The answers of a file by step, level, condition and value."""

    procedure: str
    file: Place
    steps: Mapping[str, tuple[Said, ...]]
    looks: Mapping[str, tuple[Said, ...]]
    attest: Mapping[str, Said]
    supply: Mapping[str, Said]


def read_answers(path: Path) -> Answers | tuple[Finding, ...]:
    """The answers of a file, or what is wrong with it."""
    here = Place(str(path), 1, 1)
    try:
        data = path.read_bytes()
    except OSError as error:
        return (_finding(here, f"cannot be read: {error.strerror or 'unknown trouble'}", "check the name"),)
    root = load(data, str(path))
    if isinstance(root, tuple):
        return root
    wrong = check_shape(root, schema("answers"))
    if wrong or not isinstance(root, Map):
        return wrong
    named = root.get("answers")
    return Answers(
        procedure=named.value if isinstance(named, Scalar) else "",
        file=here,
        steps=_table(root.get("steps")),
        looks=_table(root.get("looks")),
        attest={k: v[0] for k, v in _table(root.get("attest")).items()},
        supply={k: v[0] for k, v in _table(root.get("supply")).items()},
    )


def _table(node: Node | None) -> dict[str, tuple[Said, ...]]:
    if not isinstance(node, Map):
        return {}
    return {
        key.value: tuple(_said(i) for i in value.items) if isinstance(value, Seq) else (_said(value),)
        for key, value in node.entries
    }


def _said(node: Node) -> Said:
    if isinstance(node, Map):
        parts: dict[str, Any] = {}
        for key, value in node.entries:
            parts[key.value] = (
                [i.value for i in value.items if isinstance(i, Scalar)]
                if isinstance(value, Seq)
                else value.value
                if isinstance(value, Scalar)
                else ""
            )
        return Said(parts, node.place)
    return Said({"value": node.value if isinstance(node, Scalar) else ""}, node.place)


def _finding(place: Place, text: str, mend: str) -> Finding:
    return Finding(place=place, check="answers", text=text, help=mend)


def drive(job: Job, procedure: Procedure, answers: Answers, clock: SteppedClock) -> tuple[Finding, ...]:
    """Answer what the run owes until it is over; what stops it, with the place of the answer."""
    if answers.procedure != procedure.name:
        return (
            _finding(answers.file, f"answers for '{answers.procedure}', not for '{procedure.name}'", "name its file"),
        )
    unknown = _unknown(procedure, answers)
    if unknown:
        return unknown
    script = _Script(procedure, answers, clock)
    for _ in range(MOST_ACTS):
        if job.state.phase == "ended":
            return ()
        act = script.next_act(job.state)
        if isinstance(act, Finding):
            return (act,)
        job.do(act)
        if job.notice:
            return (_finding(answers.file, job.notice, "mend that, then run it again"),)
        refused = job.state.last
        if isinstance(refused, ev.Refused):
            return (_finding(script.place, f"at '{job.state.path}': {refused.why}", refused.help),)
        if isinstance(refused, ev.Mistaken):
            text = f"at '{job.state.path}': '{refused.value}' is not so: {refused.ask}"
            return (_finding(script.place, text, "give the answer that is true on the car"),)
    return (
        _finding(answers.file, f"not over after {MOST_ACTS} acts, at '{job.state.path}'", "the answers go in circles"),
    )


def _unknown(procedure: Procedure, answers: Answers) -> tuple[Finding, ...]:
    from runner.core.draft import paths

    known = {name for path in paths(procedure) for name in (path, kind_of_step(path), path.rpartition("/")[2])}
    found = []
    for name, said in answers.steps.items():
        if name not in known:
            guess = nearest(name, known)
            mend = f"did you mean '{guess}'?" if guess else "name a step of the procedure"
            found.append(_finding(said[0].place, f"no step '{name}' in '{procedure.name}'", mend))
    return tuple(found)


class _Script:
    """Which answer is next: a list is used up one visit after the other, its last item stays."""

    def __init__(self, procedure: Procedure, answers: Answers, clock: SteppedClock) -> None:
        self.procedure = procedure
        self.answers = answers
        self.clock = clock
        self.place = answers.file
        self._used: dict[str, int] = {}

    def next_act(self, state: State) -> AnyAct | Finding:
        """The act for what is owed now; time passes where reading or waiting takes it."""
        owed = stage(self.procedure, state, self.clock.now())
        match owed.kind:
            case "summary":
                return ac.Assume()
            case "held":
                return ac.Resume(clean=True)
            case "unknown":
                said = self.answers.attest.get(owed.names[0])
                return ac.Attest(condition=owed.names[0], holds=said is None or said.text("value") == "true")
            case "look":
                return self._look(owed)
            case "ask":
                return self._supply(state, owed)
            case "own caution":
                self.clock.advance(max(0, owed.needed_ms - owed.shown_ms) * 1_000_000)
                return ac.Confirm(hazard=owed.caution.name if owed.caution else "", key=owed.key)
            case "cautions":
                self.clock.advance(max(0, owed.needed_ms - owed.shown_ms) * 1_000_000)
                return ac.ConfirmRest()
            case "safe stop":
                return self._safe_stop(owed)
            case "end":
                return ac.Done()
            case "needs":
                return self._needs(state, owed)
            case _:
                return self._gate(state, owed)

    def _take(self, table: Mapping[str, tuple[Said, ...]], *names: str) -> Said | None:
        for name in names:
            if name in table:
                at = self._used.get(name, 0)
                self._used[name] = at + 1
                said = table[name][min(at, len(table[name]) - 1)]
                self.place = said.place
                return said
        return None

    def _look(self, owed: Stage) -> AnyAct:
        said = self._take(self.answers.looks, owed.level)
        return ac.Look(level=owed.level, position=said.text("value") if said else "cannot see")

    def _supply(self, state: State, owed: Stage) -> AnyAct | Finding:
        name = owed.names[0]
        said = self.answers.supply.get(name)
        if said is None:
            return _finding(self.place, f"at '{state.path}': '{name}' is not known yet", "give it under 'supply'")
        self.place = said.place
        return ac.Supply(name=name, typed=said.text("value"), source=said.text("source"))

    def _safe_stop(self, owed: Stage) -> AnyAct:
        for name in owed.names:
            left = self.procedure.conditions[name.partition("@")[0]].if_left
            if left is not None and left.kind == "close":
                return ac.MadeSafe(condition=name)
        return ac.Done()

    def _needs(self, state: State, owed: Stage) -> AnyAct | Finding:
        first = owed.unmet[0]
        if first.wait_left_s:
            self.clock.advance(first.wait_left_s * NS)
            return ac.Tick()
        if first.is_now == "U" and isinstance(first.need, graph.Holds):
            said = self.answers.attest.get(first.instance)
            holds = first.need.wanted if said is None else said.text("value") == "true"
            return ac.Attest(condition=first.instance, holds=holds)
        if isinstance(first.need, graph.Holds) and first.need.wanted:
            return ac.Restore(condition=first.instance)
        return _finding(self.place, f"at '{state.path}': the step needs {first.said}", "the answers led the car astray")

    def _gate(self, state: State, owed: Stage) -> AnyAct | Finding:
        if owed.kind == "read back":
            return ac.Accept()
        if owed.kind == "hold" and owed.left_s:
            self.clock.advance(owed.left_s * NS)
        coming = self._coming(state)
        if owed.kind == "beats" and coming is not None and "used" in coming.parts:
            return ac.Report(used=coming.text("used"))
        plain = coming is None or not any(k in coming.parts for k in ("cannot", "override", "late"))
        if owed.kind in ("start hold", "beats", "grant", "books", "do") and plain:
            return ac.Done()
        path = state.path
        said = self._take(self.answers.steps, path, kind_of_step(path), path.rpartition("/")[2])
        if said is None:
            return self._without(owed, path)
        step = owed.step
        if said.text("cannot"):
            return ac.Cannot(reason=said.text("cannot"), way="step")
        if said.text("override") and owed.kind in OVERRIDABLE:
            return ac.Override(reason=said.text("override"), initials=state.by)
        return _act(owed, said, step)

    def _coming(self, state: State) -> Said | None:
        """The next answer of this step, not yet used up."""
        for name in (state.path, kind_of_step(state.path), state.path.rpartition("/")[2]):
            if name in self.answers.steps:
                table = self.answers.steps[name]
                return table[min(self._used.get(name, 0), len(table) - 1)]
        return None

    def _without(self, owed: Stage, path: str) -> AnyAct | Finding:
        if owed.kind in ("identify", "photo"):
            return ac.Instead(result=OWED)
        if owed.kind == "check" and owed.step is not None and isinstance(owed.step.gate, graph.Check) and owed.found:
            return ac.Answer(
                value=(owed.found.here or "") if owed.step.gate.right == (graph.HERE,) else owed.step.gate.right[0]
            )
        options = f": one of {', '.join(owed.options)}" if owed.options else ""
        return _finding(self.answers.file, f"no answer for the step '{path}'", f"give one under 'steps'{options}")


def _act(owed: Stage, said: Said, step: Step | None) -> AnyAct:
    if owed.kind in ("read", "identify", "photo"):
        if said.text("instead"):
            return ac.Instead(result=said.text("instead"))
        points = said.parts.get("points")
        typed = [str(p) for p in points] if points else [said.text("value")]
        return ac.Enter(
            typed=typed, unit=said.text("unit"), instrument=said.text("instrument"), clicks=said.text("clicks")
        )
    if owed.kind == "do":
        return ac.Done(late=said.text("late"))
    return ac.Answer(value=said.text("answer", "value"))
