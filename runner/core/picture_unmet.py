"""What a step or the end needs and does not find, and the way on from there: never a place without one."""

from __future__ import annotations

from collections.abc import Iterable

from runner.core import act as ac
from runner.core import graph
from runner.core.draft import Draft
from runner.core.graph import After, Found, Holds, LevelNeed, Need, Part, Procedure, Rule
from runner.core.leaving import unmet_at_end
from runner.core.mending import restoring_path
from runner.core.names import Names
from runner.core.panel import numbered
from runner.core.picture_gate import Asked, enter
from runner.core.stage import Stage, Unmet, needs_unmet, open_now
from runner.core.stamp import Stamp
from runner.core.state import State
from runner.core.values import level_of, positions
from runner.core.view import Field, Option
from runner.core.wording import leave_words, minutes, says, sentence, title

_NOTHING_TO_PRESS = "Nothing is to be pressed until then."
_MAY_BE_LEFT = "The work may be left until then: * holds it, and the same command goes on with it."


def needed(procedure: Procedure, state: State, owed: Stage, found: Found, now: Stamp) -> Asked:
    """A step that cannot begin yet: what it needs, and what can be done about it."""
    options: list[Option] = []
    text: list[str] = []
    names = Names(procedure, state)
    for unmet in owed.unmet:
        need = unmet.need
        if isinstance(need, Holds):
            text.append(f"Needed: {says(procedure, unmet.instance, holds=need.wanted)}.")
            options += _met(procedure, state, unmet, need, now)
        elif isinstance(need, Rule | After):
            text.append(f"Not before its time: {names.in_text(unmet.said)}.")
        else:
            what = unmet.said if isinstance(need, Part) else names.of(unmet.instance)
            text.append(f"{_missing(unmet, need)}: {what}{_left(unmet)}.")
            options += _looked_at(procedure, state, unmet, found) if isinstance(need, LevelNeed) else []
            options += [_counted(unmet, need)] if isinstance(need, Part) else []
    waiting = any(unmet.is_now == "running" for unmet in owed.unmet)
    idle = waiting and not options
    return Asked(
        headline="This step cannot begin yet.",
        question=text[0],
        text=(*text[1:], *then(found, state), *(_meanwhile(procedure, state, found) if idle else ())),
        options=numbered(options[:9] if options or waiting else [stop("what the step needs is not so")]),
        big="WAIT" if idle else "",
    )


def _meanwhile(procedure: Procedure, state: State, found: Found) -> tuple[str, ...]:
    """What a wait leaves to do: nothing, or to leave the car, and how it stays behind."""
    if not isinstance(found.node, graph.Step) or found.node.park is None:
        return (_NOTHING_TO_PRESS,)
    return (_MAY_BE_LEFT, *leave_words(procedure, open_now(procedure, state)))


def _missing(unmet: Unmet, need: Need | Part) -> str:
    """What is amiss with a level, a wait or a part that a step needs."""
    if isinstance(need, LevelNeed):
        return "Too low for this step" if unmet.is_now == "low" else "Not known"
    if isinstance(need, Part):
        return "None in hand"
    return {"running": "Not over yet", "too long ago": "Over for too long"}.get(unmet.is_now, "Not begun yet")


def _left(unmet: Unmet) -> str:
    return f", {minutes(unmet.wait_left_s)} left" if unmet.is_now == "running" else ""


def _met(procedure: Procedure, state: State, unmet: Unmet, need: Holds, now: Stamp) -> list[Option]:
    words = says(procedure, unmet.instance, holds=need.wanted)
    if unmet.is_now == "U":
        seen: ac.AnyAct = ac.Attest(condition=unmet.instance, holds=need.wanted)
    else:
        seen = ac.Contradict(condition=unmet.instance, holds=need.wanted)
    options: list[Option] = []
    path = restoring_path(procedure, state.path, unmet.instance) if need.wanted and not state.back_to else None
    if path is not None:
        there = graph.find(procedure, path)
        if not needs_unmet(procedure, state, there, now):
            restore = ac.Restore(condition=unmet.instance)
            options.append(Option(key="", text=f"go and make it so: {title(there, state)}", act=restore))
    options.append(Option(key="", text=f"seen on the car: {words}", act=seen))
    return options


def _looked_at(procedure: Procedure, state: State, unmet: Unmet, found: Found) -> list[Option]:
    """Another look at a level that was too low; what has been filled in since shows in it."""
    level = level_of(procedure, found.procedure, unmet.instance)
    seen = level_positions(unmet.instance, positions(procedure, state, level))
    return [Option(key="", text=f"look again: {level.what}", sub=seen)] if seen else []


def _counted(unmet: Unmet, part: Part) -> Option:
    base = ac.PartsCame(part=unmet.instance, have=0)
    return Option(
        key="",
        text=f"it came: {part.what}",
        field=Field(what="how many are in hand now", kind="whole number", base=base),
    )


def stop(reason: str) -> Option:
    """The way on where there is no other."""
    return Option(key="", text="stop safely", act=ac.Cannot(reason=reason, way="stop"))


def then(found: Found | None, state: State) -> tuple[str, ...]:
    """What comes when this is settled."""
    return (f"Then: {title(found, state)}",) if found is not None else ()


def level_positions(level: str, seen: Iterable[str]) -> tuple[Option, ...]:
    """What a look at a level may show."""
    return numbered([Option(key="", text=p, act=ac.Look(level=level, position=p)) for p in seen])


def ending(procedure: Procedure, state: State, found: Found, now: Stamp) -> Asked:
    """The end of the procedure, and what it still lacks."""
    node = found.node
    if not isinstance(node, graph.End):
        return Asked(headline=title(found, state))
    unmet = unmet_at_end(Draft(procedure, state, now, state.by)) if node.kind == "done" else ()
    headline = sentence(title(found, state))
    if not unmet:
        return Asked(headline=headline, question="End the run?", enter=enter("end the run", ac.Done()), big="END")
    options: list[Option] = []
    text: list[str] = []
    for instance in unmet:
        if instance.partition("@")[0] not in procedure.conditions:
            text.append(f"Not followed yet: {Names(procedure, state).amiss(instance)}.")
            continue
        if state.value(instance) == "U":
            text.append(f"Not known: {says(procedure, instance, holds=True)}?")
            holds = _wanted_at_end(procedure, instance)
            fixed: ac.AnyAct = ac.Attest(condition=instance, holds=holds)
        else:
            holds = state.value(instance) != "T"
            text.append(f"Not as it must be: {says(procedure, instance, holds=not holds)}.")
            fixed = ac.Contradict(condition=instance, holds=holds)
        options.append(Option(key="", text=f"seen on the car: {says(procedure, instance, holds=holds)}", act=fixed))
    return Asked(
        headline=headline,
        question="Not everything is as it must be at the end.",
        text=tuple(text),
        options=numbered([*options, stop("not everything is as it must be at the end")]),
    )


def _wanted_at_end(procedure: Procedure, instance: str) -> bool:
    name = instance.partition("@")[0]
    rules = [r for r in procedure.rules if r.kind == "at_end" and any(ref.name == name for ref in r.refs)]
    return rules[0].wanted if rules else procedure.conditions[name].normally is True
