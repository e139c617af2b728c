"""How each event reads as one line of a story: what happened, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import assert_never

from runner.core import event as ev
from runner.core import signature
from runner.core.event import AnyEvent
from runner.core.finding import clean
from runner.core.names import Names, place, where_words

_UNSHOWN = str.maketrans({"\n": " ", "{": None, "}": None})
_VALUES = {"T": "so", "F": "not so", "U": "not known"}
_NO_NAMES = Names()


def tell(event: AnyEvent, names: Names = _NO_NAMES) -> str:
    """The event as one line, without control characters and braces; it begins in lower case and ends without a stop.

    ``names`` lends the words of the procedure, and where the run stood when it happened.
    """
    return clean(names.in_text(_told(event, names))).translate(_UNSHOWN)


def _told(event: AnyEvent, names: Names) -> str:
    match event:
        case (
            ev.Begun()
            | ev.Assumed()
            | ev.Arrived()
            | ev.Left()
            | ev.Passed()
            | ev.OrderSet()
            | ev.TurnOver()
            | ev.Asked()
            | ev.Jumped()
            | ev.Stopped()
            | ev.Resumed()
            | ev.Ended()
            | ev.Signed()
            | ev.PersonSet()
            | ev.Ticked()
            | ev.Restoring()
            | ev.Restored()
        ):
            return _course(event, names)
        case (
            ev.Confirmed()
            | ev.Refused()
            | ev.Mistaken()
            | ev.Answered()
            | ev.ReadBack()
            | ev.Retyped()
            | ev.Taken()
            | ev.Named()
            | ev.Identified()
            | ev.TimerStarted()
            | ev.Corrected()
            | ev.Restated()
            | ev.Overridden()
            | ev.CannotDo()
            | ev.FindingMade()
            | ev.Owes()
            | ev.Settled()
            | ev.Supplied()
        ):
            return _gate(event, names)
        case (
            ev.Granted()
            | ev.Beaten()
            | ev.Returned()
            | ev.Looked()
            | ev.LevelIs()
            | ev.Became()
            | ev.Happened()
            | ev.WaitStarted()
            | ev.PartUsed()
            | ev.InHand()
            | ev.Expired()
            | ev.Attested()
            | ev.Contradicted()
        ):
            return _car(event, names)
        case _:
            assert_never(event)


_Course = (
    ev.Begun
    | ev.Assumed
    | ev.Arrived
    | ev.Left
    | ev.Passed
    | ev.OrderSet
    | ev.TurnOver
    | ev.Asked
    | ev.Jumped
    | ev.Stopped
    | ev.Resumed
    | ev.Ended
    | ev.Signed
    | ev.PersonSet
    | ev.Ticked
    | ev.Restoring
    | ev.Restored
)


def _course(event: _Course, names: Names) -> str:
    """Where the run goes."""
    match event:
        case ev.Begun(procedure=procedure, revision=revision, car=car, demonstration=demo, rehearsal=rehearsal):
            kind = "rehearsal of" if rehearsal else "demonstration of" if demo else "run of"
            return f"{kind} {procedure}, revision {revision}, on {car} began"
        case ev.Assumed():
            return "the summary was read; the car is as the procedure takes it to be"
        case ev.Arrived(path=path, because=because):
            return f"came to {names.place(path)}{_why(because)}"
        case ev.Left(path=path, outcome=outcome, because=because, late=late):
            when = f", in truth done at about {late}, entered now" if late else ""
            return f"left {names.here(path)} by '{outcome}'{when}{_why(because)}"
        case ev.Passed(path=path, outcome=outcome):
            return f"noted for what comes after: {names.of(path)}{f': {names.of(outcome)}' if outcome else ''}"
        case ev.OrderSet(block=block, order=order, source=source):
            members = ", ".join(where_words(member) for member in order)
            return f"the order of {place(block)} is {members}, from {names.of(source)}"
        case ev.TurnOver(block=block, member=member):
            return f"{place(block)}: the turn at {where_words(member)} is over"
        case ev.Asked(paths=paths):
            return f"to confirm again: {', '.join(names.place(p) for p in paths)}"
        case ev.Jumped(source=source, path=path, void=void):
            gone = f"; void now: {names.all_of(void)}" if void else ""
            return f"to do again: from {names.place(source)} back to {names.place(path)}{gone}"
        case ev.Stopped(unknown=unknown, levels=levels):
            return f"HOLD{_lost(unknown, levels, names)}"
        case ev.Resumed(clean=tidy, torn=torn, unknown=unknown, levels=levels):
            how = "" if tidy else " after a crash or a cut" + (", the last line was torn" if torn else "")
            return f"the run goes on{how}{_lost(unknown, levels, names)}"
        case ev.Ended(kind=kind, open=open_now, unmet=unmet, do_not_drive=no):
            parts = [f"open: {'; '.join(names.open(open_now))}"] if open_now else []
            parts += names.all_amiss(name for name in unmet if name not in open_now)
            parts += ["THE CAR IS NOT TO BE DRIVEN"] if no else []
            return "; ".join([f"the run ended: {kind}", *parts])
        case ev.Signed(initials=initials, meaning=meaning, reference=reference):
            return f"signed by {initials}: {meaning}" + (f" ({signature.told(reference)})" if reference else "")
        case ev.PersonSet(initials=initials):
            return f"from now on {initials} acts"
        case ev.Ticked():
            return "nothing had run out"
        case ev.Restoring(condition=condition, back_to=back):
            return f"a detour to make '{names.of(condition)}' so again, then back to {names.place(back)}"
        case ev.Restored(condition=condition):
            return f"'{names.of(condition)}' is so again"


_Gate = (
    ev.Confirmed
    | ev.Refused
    | ev.Mistaken
    | ev.Answered
    | ev.ReadBack
    | ev.Retyped
    | ev.Taken
    | ev.Named
    | ev.Identified
    | ev.TimerStarted
    | ev.Corrected
    | ev.Restated
    | ev.Overridden
    | ev.CannotDo
    | ev.FindingMade
    | ev.Owes
    | ev.Settled
    | ev.Supplied
)


def _gate(event: _Gate, names: Names) -> str:
    """What a person answered, typed or said."""
    match event:
        case ev.Confirmed(hazards=hazards, words=words, how=how, shown_ms=shown, needed_ms=needed, fast=fast):
            what = ", ".join(f"{w} {names.of(h)}" for w, h in zip(words, hazards, strict=False)) or "nothing"
            act = "with a key of its own" if how == "own" else "together"
            seconds = f"{shown / 1000:.1f} s of {needed / 1000:.1f} s to read"
            return f"confirmed {act}: {what}; {seconds}" + (", FASTER THAN IT CAN BE READ" if fast else "")
        case ev.Refused(why=why, help=mend):
            return f"refused: {why}" + (f" ({mend})" if mend else "")
        case ev.Mistaken(ask=ask, value=value):
            return f"answered '{value}' to '{ask}', which is not so"
        case ev.Answered(ask=ask, value=value):
            return f"answered '{value}' to '{ask}'"
        case ev.ReadBack(shown=shown):
            return f"typed and read back: {shown}"
        case ev.Retyped():
            return "what was read back was not meant"
        case ev.Taken(name=name, typed=typed, unit=unit, outcome=outcome, because=because, repeat=repeat):
            again = f", taking {repeat + 1}" if repeat else ""
            return f"{names.of(name)}: {as_typed(typed, unit)}{again}: {outcome}{_why(because)}"
        case ev.Named(name=name, result=result):
            return f"{names.of(name)}: {result}"
        case ev.Identified(name=name, text=text, digest=digest):
            return f"{names.of(name)}: {text or 'a picture'}" + (f" (SHA-256 {digest})" if digest else "")
        case ev.TimerStarted(path=path):
            return f"the time at {names.place(path)} began"
        case ev.Corrected(line=line, was=was, now=now, reason=reason, effect=effect, broken=broken):
            held = f"; in truth not met: {names.all_of(broken)}" if broken else ""
            return f"line {line} corrected from '{was}' to '{now}': {reason}; {effect}{held}"
        case ev.Restated(name=name, outcome=outcome):
            return f"{names.of(name)} after the correction: {outcome}"
        case ev.Overridden(path=path, gate=gate, reason=reason, initials=initials):
            return f"OVERRIDDEN at {names.place(path)}: {gate}; {reason}; {initials}"
        case ev.CannotDo(path=path, reason=reason, way=way):
            return f"could not be done as written: {names.place(path)}; {reason}; {way}"
        case ev.FindingMade(what=what, where=where, severity=severity, follows=follows):
            at = f" at {where_words(where)}" if where else ""
            return f"finding ({severity}): {names.found(what)}{at}" + (f"; {follows}" if follows else "")
        case ev.Owes(what=what):
            return f"a text is owed: {what}"
        case ev.Settled(owed=owed, text=text):
            return f"the owed text '{names.of(owed)}' reads: {text}"
        case ev.Supplied(name=name, value=value, source=source):
            return f"{names.of(name)} is {value}, from {source}"


_Car = (
    ev.Granted
    | ev.Beaten
    | ev.Returned
    | ev.Looked
    | ev.LevelIs
    | ev.Became
    | ev.Happened
    | ev.WaitStarted
    | ev.PartUsed
    | ev.InHand
    | ev.Expired
    | ev.Attested
    | ev.Contradicted
)


def _car(event: _Car, names: Names) -> str:
    """What became of the car."""
    match event:
        case ev.Granted(beats=beats, levels=levels):
            debit = f"; debited in advance: {names.all_of(levels)}" if levels else ""
            return f"granted: {beats}{debit}"
        case ev.Beaten():
            return "one more of the grant is over"
        case ev.Returned(used=used):
            return f"the grant is over: {used} used"
        case ev.Looked(level=level, position=position):
            return f"{names.of(level)} as seen: {position}"
        case ev.LevelIs(level=level, enclosure=pair, why=why):
            return f"{names.of(level)} {'is not known now' if pair is None else 'moved'}{_why(names.of(why))}"
        case ev.Became(changes=changes, why=why):
            return f"{names.facts(changes)}{_why(names.caused(why))}"
        case ev.Happened(deeds=deeds):
            done = [deed for deed in deeds if not deed.startswith("step ")]
            return f"happened: {names.all_of(done)}" if done or not deeds else "this step was done"
        case ev.WaitStarted(wait=wait):
            return f"the wait '{names.of(wait)}' began"
        case ev.PartUsed(part=part, left=left):
            return f"used: {names.of(part)}; {left} left in hand"
        case ev.InHand(part=part, have=have):
            return f"in hand: {have} of {names.of(part)}"
        case ev.Expired(conditions=conditions, levels=levels):
            return f"not known any more: {names.all_of((*conditions, *levels))}"
        case ev.Attested(condition=condition, value=value):
            return f"seen on the car: {names.facts({condition: value})}"
        case ev.Contradicted(condition=condition, was=was, value=value, breaks=breaks):
            change = f"noted was '{names.facts({condition: was})}', seen '{names.facts({condition: value})}'"
            gone = f"; no longer holds: {names.all_of(breaks)}" if breaks else ""
            return f"the car is not as the record said: {change}{gone}"


def as_typed(typed: Iterable[str], unit: str) -> str:
    """What was typed with its unit, which may have been typed with it."""
    text = ", ".join(typed)
    return text if not unit or text.endswith(f" {unit}") else f"{text} {unit}"


def _why(because: str) -> str:
    return f", because {because}" if because else ""


def _lost(unknown: Mapping[str, str], levels: Iterable[str], names: Names) -> str:
    gone = [*unknown, *levels]
    return f"; to be looked at: {names.all_of(gone)}" if gone else ""
