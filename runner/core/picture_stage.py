"""What each kind of stage puts before the technician: instruction, question, answers, field.

Every stage has at least one way on that the keypad alone can take, if only by the menu.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from runner.core import act as ac
from runner.core import graph
from runner.core.draft import Draft
from runner.core.event import Resumed
from runner.core.graph import Found, Holds, Procedure, spoken
from runner.core.leaving import unmet_at_end
from runner.core.mending import restoring_path
from runner.core.panel import numbered
from runner.core.picture_gate import Asked, at_step, enter
from runner.core.picture_value import supply_options
from runner.core.stage import Stage, Unmet, needs_unmet
from runner.core.stamp import Stamp
from runner.core.state import State, visits
from runner.core.values import level_of, positions
from runner.core.view import Option
from runner.core.wording import close_words, leave_words, minutes, plain, plain_all, says, says_all, sentence, title


def asked(procedure: Procedure, state: State, owed: Stage, now: Stamp, pictures: tuple[tuple[str, str], ...]) -> Asked:
    """The stage in words."""
    match owed.kind:
        case "new":
            return Asked(headline="No run has begun.", question="Begin a run for a car.")
        case "summary":
            return _summary(procedure, state)
        case "ended":
            return _ended(procedure, state)
        case "held" | "safe stop":
            return _stopping(procedure, owed)
        case "unknown":
            return _unknown(procedure, state, owed)
        case "diverged":
            return _diverged(procedure, state, owed)
        case _:
            pass
    found = owed.found
    if found is None:
        return Asked(headline="")
    match owed.kind:
        case "look":
            return _look(procedure, state, owed, found)
        case "ask":
            return _ask(state, owed, found)
        case "needs":
            return _needs(procedure, state, owed, found, now)
        case "end":
            return _end(procedure, state, found, now)
        case _:
            return at_step(state, owed, found, pictures)


def _then(found: Found | None, state: State) -> tuple[str, ...]:
    return (f"Then: {title(found, state)}",) if found is not None else ()


def _summary(procedure: Procedure, state: State) -> Asked:
    lists = (
        ("Not for", procedure.not_for),
        ("Tools", procedure.tools),
        ("Consumables", procedure.consumables),
        ("Parts", tuple(f"{p.what}: {state.parts.get(n, p.have)} in hand" for n, p in procedure.parts.items())),
        ("Safety", procedure.safety),
    )
    text = [procedure.purpose] if procedure.purpose else []
    text += [f"{name}: {'; '.join(items)}" for name, items in lists if items]
    facts = [
        (graph.instance(procedure.conditions, n.ref, None), n.wanted) for n in procedure.assumes if isinstance(n, Holds)
    ]
    assumed = says_all(procedure, facts)
    question = "Look at the car: is it so?" if assumed else ""
    text += ["So it is on the car:"] if assumed else []
    text += [f"- {words}" for words in assumed]
    return Asked(
        headline="Read this before the work begins.",
        question=question,
        text=tuple(text),
        enter=enter("read; the car is so" if assumed else "read; begin", ac.Assume()),
        big="READ",
    )


def _ended(procedure: Procedure, state: State) -> Asked:
    end = state.ended
    if end is None:
        return Asked(headline="The run is over.")
    opened = says_all(procedure, ((i, state.value(i) == "T") for i in end.open))
    facts = [(u, state.value(u) == "T") for u in end.unmet if u not in end.open]
    known = [fact for fact in facts if fact[0].partition("@")[0] in procedure.conditions]
    text = [f"Open: {words}" for words in opened]
    text += [f"Not as it must be: {words}" for words in says_all(procedure, known)]
    text += [f"Not met: {plain(u)}" for u, _ in facts if u.partition("@")[0] not in procedure.conditions]
    text += [f"Owed: {what}" for what in state.owed.values()]
    text += [f"Signed: {s.initials}, {s.meaning}" for s in state.signed]
    drive = " THE CAR IS NOT TO BE DRIVEN." if end.do_not_drive else ""
    owed = bool(state.owed)
    return Asked(
        headline=f"The run is over: {end.kind}.{drive}",
        text=tuple(text),
        question="Texts are owed before it can be signed: see the menu." if owed else "Sign it from the menu.",
        enter=Option(key="enter", text="close", turn="leave"),
        big="END",
    )


def _stopping(procedure: Procedure, owed: Stage) -> Asked:
    acting: list[Option] = []
    staying: list[str] = []
    for instance in owed.names:
        condition = procedure.conditions[instance.partition("@")[0]]
        words = close_words(procedure, instance)
        if condition.if_left is None:
            closed = ac.Contradict(condition=instance, holds=condition.normally is True, reason="made safe")
            acting.append(Option(key="", text=words, act=closed))
        elif condition.if_left.kind == "close":
            acting.append(Option(key="", text=words, act=ac.MadeSafe(condition=instance)))
        else:
            staying.append(instance)
    text = leave_words(procedure, staying)
    first = replace(acting[0], key="enter", text=f"done: {acting[0].text.rstrip('.')}") if acting else None
    if owed.kind == "held":
        on = Option(key="0", text="go on with the work", act=ac.Resume(clean=True))
        return Asked(
            headline=acting[0].text if acting else "The run is on hold.",
            question="HOLD. Make safe in this order, or go on." if acting else "HOLD. Nothing has to be closed.",
            text=text,
            options=(*numbered(acting[:9]), on),
            enter=first or replace(on, key="enter"),
            big="HOLD",
        )
    stop = Option(key="enter", text="what may stay is as it says: end the run", act=ac.Done())
    return Asked(
        headline=acting[0].text if acting else "Nothing is left to close.",
        question="SAFE STOP. Make safe in this order." if acting else "SAFE STOP.",
        text=text,
        options=numbered(acting[:9]),
        enter=first or stop,
        big="STOP",
    )


def _unknown(procedure: Procedure, state: State, owed: Stage) -> Asked:
    instance = owed.names[0]
    also = plain_all(procedure, owed.names[1:])
    text = [f"Then to be looked at: {also}."] if also else []
    if isinstance(state.last, Resumed):
        done = visits(state)
        last = [title(graph.find(procedure, done[-1].path), state)] if done else []
        text += [f"Last done: {words}" for words in last]
    return Asked(
        headline="Look at the car.",
        question=f"What is so? {sentence(plain(instance))}",
        text=(*text, *_then(owed.found, state)),
        options=numbered(
            [
                Option(key="", text=says(procedure, instance, holds=h), act=ac.Attest(condition=instance, holds=h))
                for h in (True, False)
            ]
        ),
        big="LOOK",
    )


def _diverged(procedure: Procedure, state: State, owed: Stage) -> Asked:
    offers = [
        Option(
            key="",
            text=title(graph.find(procedure, path), state),
            note="checked when chosen",
            act=ac.DoAgain(path=path, admissible=False),
        )
        for path in owed.options
    ]
    if owed.step is not None:
        stop = ac.Cannot(reason="after a correction the run would have gone another way", way="stop")
        offers.append(Option(key="", text="stop safely", act=stop))
    return Asked(
        headline="With the corrected value the run would have gone another way.",
        question="From which step is the work done again?",
        options=numbered(offers),
    )


def _look(procedure: Procedure, state: State, owed: Stage, found: Found) -> Asked:
    level = level_of(procedure, found.procedure, owed.level)
    return Asked(
        headline=f"Look at the level: {level.what}.",
        question="Where does it stand, seen from outside?",
        text=_then(found, state),
        options=_positions(owed.level, owed.options),
        big="LOOK",
    )


def _ask(state: State, owed: Stage, found: Found) -> Asked:
    name = owed.names[0]
    ask = found.procedure.asks.get(name.partition("@")[0])
    if ask is None:
        return Asked(headline=f"A value of this car is needed: {plain(name)}.", text=_then(found, state))
    member = name.partition("@")[2]
    where = f", {spoken(member)}" if member else ""
    return Asked(
        headline=f"A value of this car is needed: {ask.what}{where}.",
        question="Where does the value come from?",
        text=_then(found, state),
        options=supply_options(ask, name),
        big="VALUE",
    )


def _needs(procedure: Procedure, state: State, owed: Stage, found: Found, now: Stamp) -> Asked:
    options: list[Option] = []
    text: list[str] = []
    for unmet in owed.unmet:
        need = unmet.need
        if isinstance(need, Holds):
            text.append(f"Needed: {says(procedure, unmet.instance, holds=need.wanted)}.")
            options += _met(procedure, state, unmet, need, now)
        elif unmet.is_now == "running":
            text.append(f"Needed: {unmet.said}: {minutes(unmet.wait_left_s)} left.")
        else:
            text.append(f"Needed: {unmet.said}: {plain(unmet.instance)} is {unmet.is_now.replace('U', 'not known')}.")
            options += _looked_at(procedure, state, unmet, found) if isinstance(need, graph.LevelNeed) else []
    return Asked(
        headline="This step cannot begin yet.",
        question=text[0],
        text=(*text[1:], *_then(found, state)),
        options=numbered(options[:9]),
        big="WAIT" if not options else "",
    )


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
    seen = _positions(unmet.instance, positions(procedure, state, level))
    return [Option(key="", text=f"look again: {level.what}", sub=seen)] if seen else []


def _positions(level: str, seen: Iterable[str]) -> tuple[Option, ...]:
    return numbered([Option(key="", text=p, act=ac.Look(level=level, position=p)) for p in seen])


def _end(procedure: Procedure, state: State, found: Found, now: Stamp) -> Asked:
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
        holds = state.value(instance) != "T"
        text.append(f"Not as it must be: {says(procedure, instance, holds=not holds)}.")
        fixed: ac.AnyAct = ac.Contradict(condition=instance, holds=holds)
        if state.value(instance) == "U":
            holds = _wanted_at_end(procedure, instance)
            fixed = ac.Attest(condition=instance, holds=holds)
        options.append(Option(key="", text=f"seen on the car: {says(procedure, instance, holds=holds)}", act=fixed))
    return Asked(
        headline=headline,
        question="Not everything is as it must be at the end.",
        text=tuple(text),
        options=numbered(options),
    )


def _wanted_at_end(procedure: Procedure, instance: str) -> bool:
    name = instance.partition("@")[0]
    rules = [r for r in procedure.rules if r.kind == "at_end" and any(ref.name == name for ref in r.refs)]
    return rules[0].wanted if rules else procedure.conditions[name].normally is True
