"""The acts at a gate: safety messages, a plain step, checks, choices, readings, holds, markings, books."""

from __future__ import annotations

import re

from runner.core import act as ac
from runner.core import event as ev
from runner.core import graph
from runner.core.act import AnyAct
from runner.core.draft import Draft, outward
from runner.core.effects import leave
from runner.core.gauging import balanced, overfull, take, understand
from runner.core.graph import Found, Step
from runner.core.stage import Stage
from runner.core.units import Unclear
from runner.core.values import level_of, positions
from runner.core.vin import check as check_vin

_TIME = re.compile(r"([01]?\d|2[0-3])[:.]?[0-5]\d")
_DIGEST = re.compile(r"[0-9a-f]{64}")
OWED = "owed until sign-off"
OTHER = "other, text owed"
"""The last of every list of reasons: the text is given before the sign-off."""


def check_late(text: str) -> str | None:
    """What is wrong with a time of day typed for a late entry; None if it is fine or absent."""
    return None if not text or _TIME.fullmatch(text) else f"'{text}' is not a time of day"


def at_gate(draft: Draft, owed: Stage, found: Found, act: AnyAct) -> None:
    """Judge an act at what the step owes now."""
    step = owed.step
    match owed.kind, act:
        case "own caution", ac.Confirm():
            _confirm(draft, owed, act)
        case "cautions", ac.ConfirmRest():
            _confirm_rest(draft, owed)
        case "look", ac.Look():
            _look(draft, found, act)
        case "do", ac.Done() if step is not None:
            leave(draft, found, "done", late=act.late)
        case ("check", ac.Answer()) if step is not None:
            _check(draft, found, step, act)
        case ("choose", ac.Answer()) if step is not None:
            _choose(draft, found, step, act)
        case "start hold", ac.Done():
            draft.emit(ev.TimerStarted(path=draft.state.path))
        case ("hold", ac.Answer()) if step is not None:
            _timed(draft, found, step, owed, act)
        case "hold", ac.Done():
            draft.emit(ev.TimerStarted(path=draft.state.path))  # let go, and begun anew
        case ("read", ac.Enter()) if step is not None:
            _enter(draft, found, step, act)
        case ("read", ac.Instead()) if step is not None:
            _instead(draft, found, step, act)
        case ("identify" | "photo", ac.Enter()) if step is not None:
            _mark(draft, step, act)
        case ("identify" | "photo", ac.Instead()) if step is not None:
            _owe(draft, found, step, act)
        case "read back", ac.Retype():
            draft.emit(ev.Retyped(path=draft.state.path))
        case ("read back", ac.Accept()) if step is not None:
            _accept(draft, found, step)
        case ("books", ac.Done()) if step is not None:
            _books(draft, found, step)
        case "needs", ac.Look() if any(u.instance == act.level for u in owed.unmet):
            _look(draft, found, act)
        case "needs", _:
            first = owed.unmet[0]
            draft.refuse(f"the step needs: {first.said}", "restore it, or say how the car is")
        case (("own caution" | "cautions"), _):
            draft.refuse("a safety message stands before this", "read it and confirm it with the key in its text")
        case "ask", _:
            draft.refuse(f"a value of the car is not known yet: {', '.join(owed.names)}", "look it up and enter it")
        case "look", _:
            draft.refuse("a look at the level is owed", "answer where the fluid stands, or 'cannot see'")
        case "diverged", _:
            draft.refuse(
                "after the correction the run would have gone another way", "do one of the steps again, or stop"
            )
        case _:
            draft.refuse("this is not asked for now", "the screen shows what is")


def _confirm(draft: Draft, owed: Stage, act: ac.Confirm) -> None:
    caution = owed.caution
    if caution is None or act.hazard != caution.name:
        draft.refuse("another safety message is owed first")
    elif act.key != owed.key:
        draft.refuse(f"'{act.key}' is not the key in the text", "read the message: its key stands inside it")
    elif owed.shown_ms < owed.needed_ms:
        left = (owed.needed_ms - owed.shown_ms + 999) // 1000
        draft.refuse(f"{caution.words} words cannot have been read yet", f"it can be confirmed in {left} s")
    else:
        draft.emit(
            ev.Confirmed(
                path=_asked_path(draft),
                hazards=[caution.name],
                words=[caution.word],
                how="own",
                key=act.key,
                shown_ms=owed.shown_ms,
                needed_ms=owed.needed_ms,
                fast=False,
            )
        )


def _asked_path(draft: Draft) -> str:
    return draft.state.again[0] if draft.state.again else draft.state.path


def _confirm_rest(draft: Draft, owed: Stage) -> None:
    draft.emit(
        ev.Confirmed(
            path=_asked_path(draft),
            hazards=[c.name for c in owed.rest],
            words=[c.word for c in owed.rest],
            how="together",
            key="",
            shown_ms=owed.shown_ms,
            needed_ms=owed.needed_ms,
            fast=owed.shown_ms < owed.needed_ms,
        )
    )


def _look(draft: Draft, found: Found, act: ac.Look) -> None:
    owed = draft.state.looks_owed
    if owed and act.level != owed[0]:
        draft.refuse(f"the look that is owed is at '{owed[0]}'")
        return
    level = level_of(draft.procedure, found.procedure, act.level)
    seen = positions(draft.procedure, draft.state, level)
    if act.position == "cannot see":
        draft.emit(ev.Looked(level=act.level, position=act.position, enclosure=None))
    elif act.position in seen:
        draft.emit(ev.Looked(level=act.level, position=act.position, enclosure=outward(seen[act.position])))
        if act.position == "nothing to be seen":
            draft.emit(
                ev.FindingMade(
                    what=f"{level.what}: nothing to be seen, air may have been drawn in",
                    where=found.here or "",
                    severity="unsafe",
                    follows="bleed from the master cylinder on before the brakes are used",
                    origin="run",
                )
            )
    else:
        draft.refuse(f"'{act.position}' is no position of the gauge", f"answer one of: {', '.join(seen)}, cannot see")


def _check(draft: Draft, found: Found, step: Step, act: ac.Answer) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Check):
        return
    right = tuple(found.here or "" if r == graph.HERE else r for r in gate.right)
    value = act.value.strip()
    options = graph.CORNERS if gate.kind == "corner" else gate.options
    if gate.kind == "number":
        if not re.fullmatch(r"\d{1,6}", value):
            draft.refuse(f"'{value}' is not a whole number", "count, and type what you counted")
            return
        value = str(int(value))
    elif value not in options:
        draft.refuse(f"'{value}' is none of the answers", f"answer one of: {', '.join(options)}")
        return
    if value in right:
        draft.emit(ev.Answered(path=draft.state.path, ask=gate.ask, value=value, outcome="met"))
        leave(draft, found, "met", because=f"{gate.ask} {value}")
    elif gate.otherwise:
        draft.emit(ev.Answered(path=draft.state.path, ask=gate.ask, value=value, outcome="not so"))
        leave(draft, found, "not so", because=f"{gate.ask} {value}")
    else:
        draft.emit(ev.Mistaken(path=draft.state.path, ask=gate.ask, value=value))


def _choose(draft: Draft, found: Found, step: Step, act: ac.Answer) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Choice):
        return
    if act.value not in gate.options:
        draft.refuse(f"'{act.value}' is none of the answers", f"answer one of: {', '.join(gate.options)}")
        return
    draft.emit(
        ev.Answered(path=draft.state.path, ask=gate.ask, value=act.value, outcome=act.value, name=gate.name or "")
    )
    leave(draft, found, act.value, because=f"{gate.ask} {act.value}")


def _timed(draft: Draft, found: Found, step: Step, owed: Stage, act: ac.Answer) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Timed):
        return
    if act.value not in gate.options:
        draft.refuse(f"'{act.value}' is none of the answers", f"answer one of: {', '.join(gate.options)}")
    elif owed.left_s > 0:
        draft.refuse(f"the time is not over: {owed.left_s} s left", "go on holding; if you let go, start again")
    else:
        draft.emit(ev.Answered(path=draft.state.path, ask=gate.ask, value=act.value, outcome=act.value))
        leave(draft, found, act.value, because=f"{gate.ask} {act.value}")


def _enter(draft: Draft, found: Found, step: Step, act: ac.Enter) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Reading):
        return
    parsed = understand(draft, gate, act.typed, act.unit, act.instrument)
    if not isinstance(parsed, Unclear):
        parsed = overfull(draft, found, step, parsed) or parsed
    if isinstance(parsed, Unclear):
        draft.refuse(parsed.why, parsed.help)
        return
    if gate.clicks is not None and act.clicks != str(gate.clicks):
        if not act.clicks:
            draft.refuse("the clicks were not counted", "count the clicks of the wrench and type them")
        else:
            draft.emit(ev.Mistaken(path=draft.state.path, ask="clicks of the wrench", value=act.clicks))
        return
    draft.emit(
        ev.ReadBack(
            path=draft.state.path,
            typed=act.typed,
            unit=act.unit,
            clicks=act.clicks,
            shown=parsed.shown,
            instrument=act.instrument or (parsed.instrument.id if parsed.instrument else ""),
        )
    )


def _instead(draft: Draft, found: Found, step: Step, act: ac.Instead) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Reading) or act.result not in gate.instead:
        draft.refuse(f"'{act.result}' is not a result that this step knows", "type the value, or 'cannot be done'")
        return
    draft.emit(ev.Named(path=draft.state.path, name=gate.name, result=act.result))
    leave(draft, found, act.result, because=act.result)


def _mark(draft: Draft, step: Step, act: ac.Enter) -> None:
    gate, text = step.gate, " ".join(act.typed).strip()
    if isinstance(gate, graph.Photo):
        if not _DIGEST.fullmatch(text):
            draft.refuse("the picture was not kept", "give the path of a picture file")
            return
    elif isinstance(gate, graph.Identify):
        if gate.pattern == "vin":
            vin = check_vin(text)
            if vin.problems:
                draft.refuse(vin.problems[0].why, vin.problems[0].help)
                return
        elif not text or not re.fullmatch(gate.pattern, text):
            draft.refuse(f"'{text}' does not look like {gate.what}", f"expected: {gate.pattern}")
            return
    draft.emit(ev.ReadBack(path=draft.state.path, typed=[text], unit="", instrument="", clicks="", shown=text))


def _owe(draft: Draft, found: Found, step: Step, act: ac.Instead) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Identify | graph.Photo) or act.result != OWED:
        draft.refuse(f"'{act.result}' is not a result that this step knows", f"give it now, or: {OWED}")
        return
    draft.emit(ev.Owes(owed=f"{gate.name}@{found.here}" if found.here else gate.name, what=gate.what))
    leave(draft, found, "taken", because=f"{gate.what}: {OWED}")


def _accept(draft: Draft, found: Found, step: Step) -> None:
    back, gate = draft.state.pending, step.gate
    if back is None:
        return
    if isinstance(gate, graph.Reading):
        outcome = take(draft, found, gate, back)
        if outcome is not None:
            taken = draft.events[-1]
            leave(draft, found, outcome, because=taken.because if isinstance(taken, ev.Taken) else "")
    elif isinstance(gate, graph.Identify | graph.Photo):
        picture = isinstance(gate, graph.Photo)
        draft.emit(
            ev.Identified(
                path=draft.state.path,
                name=gate.name,
                text="" if picture else back.typed[0],
                digest=back.typed[0] if picture else "",
            )
        )
        leave(draft, found, "taken")


def _books(draft: Draft, found: Found, step: Step) -> None:
    gate = step.gate
    if not isinstance(gate, graph.Books):
        return
    outcome, because = balanced(draft, found, gate)
    draft.emit(ev.Answered(path=draft.state.path, ask=gate.what, value=because, outcome=outcome))
    leave(draft, found, outcome, because=because)
