"""What each kind of stage puts before the technician: instruction, question, answers, field.

Every stage has at least one way on that the keypad alone can take, if only by the menu.
"""

from __future__ import annotations

from dataclasses import replace

from runner.core import act as ac
from runner.core import graph
from runner.core.graph import Found, Holds, Procedure, spoken
from runner.core.leaving import in_the_making
from runner.core.names import Names
from runner.core.panel import PAGE, numbered
from runner.core.picture_gate import Asked, at_step, enter
from runner.core.picture_unmet import ending, level_positions, needed, stop, then
from runner.core.picture_value import supply_options
from runner.core.stage import Stage
from runner.core.stamp import Stamp
from runner.core.state import State
from runner.core.values import level_of
from runner.core.view import Option
from runner.core.wording import close_words, leave_words, plain, says, says_all, title

ALL_SO = "all of this is so"
"""Confirms what stands on the lines before it."""


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
            return needed(procedure, state, owed, found, now)
        case "end":
            return ending(procedure, state, found, now)
        case _:
            return at_step(state, owed, found, pictures)


def _summary(procedure: Procedure, state: State) -> Asked:
    lists = (
        ("Not for", procedure.not_for),
        ("Tools", procedure.tools),
        ("Consumables", procedure.consumables),
        ("Parts", tuple(f"{p.what}: {state.parts.get(n, p.have)} in hand" for n, p in procedure.parts.items())),
        ("Safety", procedure.safety),
        ("Time", (procedure.takes,) if procedure.takes else ()),
    )
    text = [procedure.purpose] if procedure.purpose else []
    text += [f"{name}: {'; '.join(items)}" for name, items in lists if items]
    facts = [
        (graph.instance(procedure.conditions, n.ref, None), n.wanted) for n in procedure.assumes if isinstance(n, Holds)
    ]
    assumed = says_all(procedure, facts)
    contrary = [(n, not wanted) for n, wanted in facts if state.value(n) == ("F" if wanted else "T")]
    text = [f"LAST KNOWN OTHERWISE: {words}" for words in says_all(procedure, contrary)] + text
    question = "Look at the car: is it so? What is not so: - 2" if assumed else ""
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
    unmet = [u for u in end.unmet if u not in end.open]
    text = [f"Open: {words}" for words in opened]
    text += [f"{words[0].upper()}{words[1:]}" for words in Names(procedure, state).all_amiss(unmet)]
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
        if condition.if_left is None or condition.if_left.kind == "close":
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
    over = Option(key="enter", text="what may stay is as it says: end the run", act=ac.Done())
    return Asked(
        headline=acting[0].text if acting else "Nothing is left to close.",
        question="SAFE STOP. Make safe in this order." if acting else "SAFE STOP.",
        text=text,
        options=numbered(acting[:9]),
        enter=first or over,
        big="STOP",
    )


def _unknown(procedure: Procedure, state: State, owed: Stage) -> Asked:
    instance = owed.names[0]
    if len(together := _together(procedure, state, owed)) > 1:
        return _as_before(procedure, state, owed, together)
    # Few words: the question must stand on the first page of the smallest terminal, or it is answered unseen.
    more = len(owed.names) - 1
    text = [f"{more} more to be looked at after this."] if more else []
    return Asked(
        headline="Look at the car.",
        question="What is so?",
        text=(*text, *then(owed.found, state)),
        options=numbered(
            [
                Option(key="", text=says(procedure, instance, holds=h), act=ac.Attest(condition=instance, holds=h))
                for h in (True, False)
            ]
        ),
        big="LOOK",
    )


def _together(procedure: Procedure, state: State, owed: Stage) -> tuple[str, ...]:
    """What is looked at on one page: of one place on the car, known before the break, and nothing urgent.

    What the step was changing when it was broken off is asked by itself.
    """
    place = owed.names[0].partition("@")[2]
    changing = in_the_making(procedure, owed.found) if owed.found is not None else ()

    def kept(name: str) -> bool:
        base, _, member = name.partition("@")
        urgent = procedure.conditions[base].urgent
        return member == place and name in state.before and name not in changing and not urgent

    return tuple(filter(kept, owed.names))[: PAGE - 1] if kept(owed.names[0]) else ()


def _as_before(procedure: Procedure, state: State, owed: Stage, names: tuple[str, ...]) -> Asked:
    """One look for all of one place: each line that is not so is said; one key, behind the last line, confirms all."""
    believed = {name: state.before[name] == "T" for name in names}
    options = [
        Option(
            key="",
            text=f"not so: {says(procedure, name, holds=holds)}",
            act=ac.Attest(condition=name, holds=not holds),
        )
        for name, holds in believed.items()
    ]
    options.append(Option(key="", text=ALL_SO, act=ac.AttestAll(conditions=believed)))
    more = len(owed.names) - len(names)
    where = spoken(names[0].partition("@")[2])
    return Asked(
        headline=f"Look at the car: {where}." if where else "Look at the car.",
        question="What is so? As it was before:",
        text=((f"{more} more to be looked at after this.",) if more else ()) + then(owed.found, state),
        options=numbered(options),
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
    question = "From which step is the work done again?" if offers else "No step before it can be done again now."
    offers.append(stop("after a correction the run would have gone another way"))
    return Asked(
        headline="With the corrected value the run would have gone another way.",
        question=question,
        options=numbered(offers),
    )


def _look(procedure: Procedure, state: State, owed: Stage, found: Found) -> Asked:
    level = level_of(procedure, found.procedure, owed.level)
    return Asked(
        headline=f"Look at the level: {level.what}.",
        question="Where does it stand, seen from outside?",
        text=then(found, state),
        options=level_positions(owed.level, owed.options),
        big="LOOK",
    )


def _ask(state: State, owed: Stage, found: Found) -> Asked:
    name = owed.names[0]
    ask = found.procedure.asks.get(name.partition("@")[0])
    if ask is None:
        return Asked(headline=f"A value of this car is needed: {plain(name)}.", text=then(found, state))
    member = name.partition("@")[2]
    where = f", {spoken(member)}" if member else ""
    return Asked(
        headline=f"A value of this car is needed: {ask.what}{where}.",
        question="Where does the value come from?",
        text=then(found, state),
        options=supply_options(ask, name),
        big="VALUE",
    )
