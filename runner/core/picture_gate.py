"""A step at its safety messages or at its gate: the instruction stays, the question changes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from runner.core import act as ac
from runner.core import graph
from runner.core.graph import CORNERS, Count, Found, Step, spoken
from runner.core.panel import numbered
from runner.core.picture_value import limits, number_field, reading_field, text_field
from runner.core.stage import Stage
from runner.core.state import State
from runner.core.view import Field, Option
from runner.core.wording import fill, minutes, plain

CORNER_KEYS = {"LF": "7", "RF": "9", "LR": "1", "RR": "3"}
"""A corner is answered by where it lies on the keypad, front up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One stage in words. ``big`` is the value, grant or key that is drawn large for the far view."""

    headline: str
    question: str = ""
    text: tuple[str, ...] = ()
    options: tuple[Option, ...] = ()
    field: Field | None = None
    enter: Option | None = None
    big: str = ""


OWE = "Without a keyboard, - 1 1 owes it until sign-off."
"""A text or a picture that the keypad cannot give: the keys of its entry in the menu."""


def enter(text: str, act: ac.AnyAct) -> Option:
    """What the Enter key does."""
    return Option(key="enter", text=text, act=act)


def at_step(state: State, owed: Stage, found: Found, pictures: tuple[tuple[str, str], ...]) -> Asked:
    """A step at its safety messages or at its gate: the instruction stays, the question changes."""
    step = found.node
    if not isinstance(step, Step):
        return Asked(headline="")

    def say(text: str) -> str:
        return fill(text, found.procedure, state, found.here)

    base = Asked(headline=say(step.do), text=_around(step, found, state))
    match owed.kind, step.gate:
        case ("own caution", _) if owed.caution is not None:
            ask = f"{owed.caution.word}: read it, then press the key that is printed in its text."
            return replace(base, question=ask, big=owed.key)
        case "cautions", _:
            read = enter("read and understood", ac.ConfirmRest())
            return replace(base, question="Read what stands above.", enter=read, big="READ")
        case "again", _:
            options = [Option(key="", text=o, act=ac.Answer(value=o)) for o in owed.options]
            return replace(base, question="Confirm again: is it still so?", options=numbered(options))
        case "check", graph.Check(kind="number") as check:
            return replace(base, question=say(check.ask), field=number_field(check))
        case "check", graph.Check(kind="corner") as check:
            return replace(base, question=say(check.ask), options=corner_options())
        case ("check", graph.Check(ask=ask)) | ("choose", graph.Choice(ask=ask)) | ("hold", graph.Timed(ask=ask)):
            if owed.kind == "hold" and owed.left_s:
                return replace(base, question=f"Hold on: {minutes(owed.left_s)} left.", big=str(owed.left_s))
            return replace(base, question=say(ask), options=_answers(owed.options))
        case "start hold", graph.Timed(at_least=least):
            return replace(
                base, question=f"Hold it for {minutes(int(least))} at least.", enter=enter("it begins now", ac.Done())
            )
        case "read", graph.Reading() as reading:
            question = "Type what the wrench is set to." if reading.mode == "setting" else f"Read: {say(reading.what)}."
            return replace(base, question=question, field=reading_field(found, state, reading))
        case "read back", _:
            return _read_back(base, state, found, step)
        case "identify", graph.Identify(what=what):
            owe = (*base.text, OWE)
            return replace(
                base, text=owe, question=f"Type: {say(what)}.", field=text_field(say(what), ac.Enter(typed=[]))
            )
        case "photo", graph.Photo(what=what):
            options = [Option(key="", text=label, act=ac.Enter(typed=[digest])) for label, digest in pictures[:9]]
            question = f"Take a picture: {say(what)}." + (" Which is it?" if options else "")
            field = None if options else text_field(f"the file of the picture: {say(what)}", ac.Enter(typed=[]))
            return replace(base, text=(*base.text, OWE), question=question, options=numbered(options), field=field)
        case "books", graph.Books(what=what):
            return replace(base, question=f"Close the books: {say(what)}.", enter=enter("close the books", ac.Done()))
        case _, Count() as count:
            return _count(base, state, owed, count, say(count.ask))
        case _:
            return replace(base, question="", enter=enter("done", ac.Done()), big="")


def _around(step: Step, found: Found, state: State) -> tuple[str, ...]:
    def say(text: str) -> str:
        return fill(text, found.procedure, state, found.here)

    lines: list[str] = []
    if step.commit is not None:
        commit = step.commit
        lines.append("THIS CANNOT BE UNDONE.")
        lines += [f"Parts in hand first: {', '.join(plain(p) for p in commit.parts)}"] if commit.parts else []
        lines += [f"It takes {say(commit.takes)}."] if commit.takes else []
        lines += [f"The way out: {say(commit.way_out)}"] if commit.way_out else []
    lines += [f"Expect: {say(step.expect)}"] if step.expect else []
    if isinstance(step.gate, Count):
        lines += [f"{n}. {say(phase.do)}" for n, phase in enumerate(step.gate.beat, 1)]
    if isinstance(step.gate, graph.Reading) and step.gate.bands and step.gate.mode != "setting":
        lines += [f"Limit: {limits(found, state, step.gate)}"]
        if step.gate.rule == "guarded" and step.gate.mode == "measured":
            lines.append("Nearer to the limit than the error of the instrument: too close to call.")
    lines += [f"Note: {say(step.note)}"] if step.note else []
    lines += [f"Why: {say(step.why)}"] if step.why else []
    return tuple(lines)


def corner_options() -> tuple[Option, ...]:
    """The four corners by their place on the keypad."""
    return tuple(Option(key=CORNER_KEYS[c], text=spoken(c), act=ac.Answer(value=c)) for c in CORNERS)


def _answers(options: tuple[str, ...]) -> tuple[Option, ...]:
    return numbered([Option(key="", text=plain(o), act=ac.Answer(value=o)) for o in options])


def _read_back(base: Asked, state: State, found: Found, step: Step) -> Asked:
    back = state.pending
    shown = back.shown if back is not None else ""
    with_what = f", {back.instrument}" if back is not None and back.instrument else ""
    limit = ""
    if isinstance(step.gate, graph.Reading) and step.gate.bands and step.gate.mode != "setting":
        limit = f" The limit: {limits(found, state, step.gate)}."
    return replace(
        base,
        question=f"Typed: {shown}{with_what}. Is that what was read?{limit}",
        options=(Option(key="-", text="not what was meant: type it again", act=ac.Retype()),),
        enter=enter("that is what was meant", ac.Accept()),
        big=shown,
    )


def _count(base: Asked, state: State, owed: Stage, count: Count, ask: str) -> Asked:
    if owed.kind == "grant":
        if owed.beats < 1:
            return replace(
                base, question=f"No more {count.what} are safe now.", enter=enter("go on to what is needed", ac.Done())
            )
        grant = f"{owed.beats} {count.what}, then look."
        take = enter(f"take {owed.beats} {count.what}", ac.Done())
        return replace(base, question=grant, enter=take, big=str(owed.beats))
    if owed.kind == "beats":
        used = state.out.used if state.out is not None else 0
        told = f" {used} of them are told." if used else ""
        field = Field(what=f"how many {count.what} were done in all", kind="whole number", base=ac.Report(used=""))
        return replace(
            base,
            question=f"{owed.beats} {count.what}, then look.{told} How many were done in all?",
            field=field,
            enter=enter("one more is done", ac.Beat()),
            big=str(owed.beats - used),
        )
    return replace(base, question=ask, options=_answers(owed.options))
