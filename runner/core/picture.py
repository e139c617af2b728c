"""The picture of a run: everything that a surface may know, made anew from procedure and state each time.

Looking changes nothing. What is offered is possible: an act that the engine would refuse is shown with its reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from textwrap import wrap
from typing import Literal

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.engine import decide
from runner.core.folding import evolve
from runner.core.graph import CANNOT_TELL, Found, Procedure, Reading, Step
from runner.core.hazard import Caution
from runner.core.names import Names
from runner.core.picture_car import gauges, last_readings, open_words, plan, timers
from runner.core.picture_gate import Asked
from runner.core.picture_menu import menu
from runner.core.picture_stage import asked
from runner.core.picture_steps import ahead, group, number, result, section, trail, walked
from runner.core.stage import Stage, stage
from runner.core.stamp import Stamp
from runner.core.state import SAFE_STOP, State, Visit, kind_of_step
from runner.core.story import tell
from runner.core.view import CautionView, Later, Option, View
from runner.core.wording import fill, says_all, title

AlertKind = Literal["", "refused", "fail", "too close to call", "torn", "not recorded", "note"]
_FAR = 22
_BEFORE_CAUTIONS = ("unknown", "look", "ask", "needs", "diverged")


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """What the picture needs and the state does not hold.

    ``people`` are initials to choose from, ``pictures`` (name, SHA-256) of pictures that were just taken, ``head``
    the hash of the record's last line, ``alert`` a notice of whoever keeps the record.
    """

    car: str = ""
    steering: str = ""
    people: tuple[str, ...] = ()
    pictures: tuple[tuple[str, str], ...] = ()
    head: str = ""
    alert: str = ""


NOTHING_MORE = Extras()


def look(procedure: Procedure, state: State, now: Stamp, extras: Extras = NOTHING_MORE) -> View:
    """The picture at this moment."""
    state = _by_now(procedure, state, now)
    owed = stage(procedure, state, now)
    put = _possible(procedure, state, owed, asked(procedure, state, owed, now, extras.pictures), now)
    found, step = owed.found, owed.step
    alert, kind = _with_notice(extras.alert, *_alert(procedure, state))
    at_step = step is not None and state.phase == "running"

    @cache
    def entries() -> tuple[Option, ...]:
        return menu(procedure, state, owed, extras.people, doable=put.enter is not None)

    return View(
        token=_token(state, owed, put),
        title=procedure.title,
        revision=procedure.revision,
        car=extras.car or state.car,
        by=state.by,
        demonstration=_demonstration(state),
        section=section(procedure, state),
        where=procedure.vocabulary.places.get(step.where, step.where) if at_step and step is not None else "",
        step_n=number(procedure, state.path),
        steps=len(walked(procedure)),
        kind=owed.kind,
        headline=put.headline,
        text=tuple(put.text),
        short=_short(put, owed),
        big=put.big,
        take=step.take if at_step and step is not None else (),
        cautions=_cautions(state, owed),
        question=put.question,
        options=put.options,
        field=put.field,
        enter=put.enter,
        gauges=gauges(procedure, state),
        timers=timers(procedure, state, owed, now),
        plan=plan(procedure, state, extras.steering),
        because=_because(procedure, state),
        alert=alert,
        alert_kind=kind,
        group=group(procedure, state),
        trail=trail(procedure, state),
        ahead=ahead(procedure, state),
        menu=Later(lambda: len(entries()), lambda many: entries()[len(entries()) - many :]),
        readings=last_readings(procedure, state),
        open_now=open_words(procedure, state),
        owed=tuple(state.owed.items()),
        speak=_speak(put, owed, found, state),
        head=extras.head,
        ended=state.phase == "ended",
    )


def _by_now(procedure: Procedure, state: State, now: Stamp) -> State:
    """The state with what has run out of time since the last act, as the next act will find it."""
    for event in decide(procedure, state, ac.Tick(), now, state.by):
        if isinstance(event, ev.Expired):
            state = evolve(state, event)
    return state


def _token(state: State, owed: Stage, put: Asked) -> str:
    about = owed.caution.name if owed.caution else owed.level or ",".join(owed.names[:1])
    field = put.field.what if put.field is not None else ""
    at = state.again[0] if state.again else state.path
    return "|".join((state.phase, at, str(state.entries.get(at, 0)), owed.kind, about, field))


def _demonstration(state: State) -> str:
    if state.rehearsal:
        return "REHEARSAL: no work on a car"
    return "DEMONSTRATION" if state.demonstration else ""


# ── what is possible ─────────────────────────────────────────────────────────────────────────────


def _possible(procedure: Procedure, state: State, owed: Stage, put: Asked, now: Stamp) -> Asked:
    """The stage without the answers that the engine would refuse; each then says why."""

    def tried(option: Option) -> Option:
        if option.act is None or isinstance(option.act, ac.DoAgain):
            return option
        why = refusal(decide(procedure, state, option.act, now, state.by))
        return option if why is None else replace(option, act=None, note=why)

    enter = tried(put.enter) if put.enter is not None else None
    if enter is not None and enter.act is None and not enter.turn:
        put = replace(put, question=sentence_of(put.question, enter.note), enter=None)
        enter = None
    return replace(put, enter=enter, options=tuple(tried(option) for option in put.options))


def refusal(events: Sequence[ev.Event]) -> str | None:
    """Why an act would be refused; None where it is taken."""
    said = next((e for e in events if isinstance(e, ev.Refused)), None)
    return None if said is None else said.why


def sentence_of(question: str, why: str) -> str:
    """The question, and why it cannot be answered as usual."""
    return f"{question} Not possible now: {why}.".strip()


# ── safety messages ──────────────────────────────────────────────────────────────────────────────


def _cautions(state: State, owed: Stage) -> tuple[CautionView, ...]:
    step, found = owed.step, owed.found
    if step is None or found is None or state.phase != "running":
        return ()
    return tuple(_caution(state, owed, found, step, caution) for caution in step.cautions)


def _caution(state: State, owed: Stage, found: Found, step: Step, caution: Caution) -> CautionView:
    key, wait = "", 0.0
    mode: Literal["owed", "later", "confirmed", "in effect", "together"] = "later"
    path = state.again[0] if state.again else state.path
    if owed.caution is not None and caution.name == owed.caution.name:
        mode, key, wait = "owed", owed.key, max(0, owed.needed_ms - owed.shown_ms) / 1000
    elif caution in owed.rest:
        mode = "together"
    elif caution.name in state.confirmed:
        mode = "confirmed"
    elif owed.kind not in _BEFORE_CAUTIONS and (kind_of_step(path), caution.name) in state.in_effect:
        mode = "in effect"
    words = (
        fill(text, found.procedure, state, found.here) for text in (caution.avoid, caution.hazard, caution.consequence)
    )
    avoid, hazard, consequence = words
    return CautionView(
        word=caution.word,
        avoid=avoid,
        hazard=hazard,
        consequence=consequence,
        key=key,
        state=mode,
        wait_s=wait,
        act=ac.Confirm(hazard=caution.name, key=key) if key else None,
    )


# ── why the run is here ──────────────────────────────────────────────────────────────────────────


def _last_visit(state: State) -> Visit | None:
    item = state.trail.item if state.trail is not None else None
    return item if isinstance(item, Visit) else None


def _because(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What came of the last step; after a break also what was done last and what is next."""
    lines: list[str] = []
    visit = _last_visit(state)
    if visit is not None and (words := result(visit)):
        lines.append(words)
    if isinstance(state.last, ev.Arrived) and state.last.because:
        lines.append(state.last.because)
    if isinstance(state.last, ev.Resumed) or state.unknown:
        if visit is not None:
            lines.insert(0, f"Last done: {title(graph.find(procedure, visit.path), state)}")
        if state.path not in ("", SAFE_STOP):
            lines.append(f"Now: {title(graph.find(procedure, state.path), state)}")
        lines += [f"Next: {line.title}" for line in ahead(procedure, state)[:1]]
        lines += _lost(procedure, state)
    return tuple(lines)


def _lost(procedure: Procedure, state: State) -> list[str]:
    """What is not known any more, as it was believed before."""
    facts = says_all(procedure, [(name, state.before.get(name) != "F") for name in state.unknown])
    lost = [f"whether {words}" for words in facts]
    lost += [Names(procedure, state).of(level) for level in state.looks_owed]
    return [f"Not known any more: {'; '.join(lost)}"] if lost else []


def _alert(procedure: Procedure, state: State) -> tuple[tuple[str, ...], AlertKind]:
    last = state.last
    match last:
        case ev.Refused(why=why, help=mend):
            return ((why, mend) if mend else (why,)), "refused"
        case ev.Mistaken(value=value):
            return (f"'{value}' is not so here", "look at the car again, and answer what is seen"), "refused"
        case ev.FindingMade(severity="fail" | "unsafe"):
            return (tell(last),), "fail"
        case ev.Contradicted() | ev.Corrected() | ev.Expired() | ev.FindingMade() | ev.LevelIs(enclosure=None):
            return (tell(last),), "note"
        case _:
            return _verdict(procedure, state)


def _with_notice(notice: str, alert: tuple[str, ...], kind: AlertKind) -> tuple[tuple[str, ...], AlertKind]:
    """The alert together with a notice about the record, which comes first if something was not recorded."""
    if not notice:
        return alert, kind
    if notice.upper().startswith("NOT RECORDED"):
        return (notice, *alert), "not recorded"
    return (*alert, notice), kind or ("torn" if notice.startswith("torn") else "note")


def _verdict(procedure: Procedure, state: State) -> tuple[tuple[str, ...], AlertKind]:
    """The verdict of the last step, as long as it is the last, where it is not a plain pass."""
    visit = _last_visit(state)
    if visit is None:
        return (), ""
    step = graph.find(procedure, visit.path).node
    if not isinstance(step, Step) or not isinstance(step.gate, Reading | graph.Books):
        return (), ""
    if visit.outcome == CANNOT_TELL:
        return ("TOO CLOSE TO CALL", visit.because), "too close to call"
    if visit.outcome in ("fail", "does not close"):
        return ("FAIL", visit.because), "fail"
    return (), ""


# ── far view and speech ──────────────────────────────────────────────────────────────────────────


def _short(put: Asked, owed: Stage) -> tuple[str, ...]:
    """At most two lines of 22 capitals for the far view."""
    if owed.caution is not None:
        return (owed.caution.word, f"PRESS {owed.key}")
    if owed.kind == "summary":
        return ("READ", "BEFORE THE WORK")
    step = owed.step
    at_gate = owed.kind not in (*_BEFORE_CAUTIONS, "held")
    words = step.short if step is not None and step.short and at_gate else put.headline.rstrip(".")
    lines = [part for line in words.split("\n") for part in wrap(line, _FAR)]
    return tuple(line.upper() for line in lines[:2])


def _speak(put: Asked, owed: Stage, found: Found | None, state: State) -> str:
    if owed.caution is not None and found is not None:
        caution = owed.caution
        texts = (caution.avoid, caution.hazard, caution.consequence)
        words = " ".join(fill(t, found.procedure, state, found.here) for t in texts)
        return f"{caution.word.capitalize()}. {words}"
    return f"{put.headline} {put.question}".strip()
