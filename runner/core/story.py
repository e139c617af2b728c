"""How each event reads as one line of a story: what happened, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import assert_never

from runner.core import event as ev
from runner.core import signature
from runner.core.event import AnyEvent
from runner.core.finding import clean
from runner.core.wording import plain

_UNSHOWN = str.maketrans({"\n": " ", "{": None, "}": None})
_VALUES = {"T": "so", "F": "not so", "U": "not known"}


def tell(event: AnyEvent) -> str:
    """The event as one line, without control characters and braces; it begins in lower case and ends without a stop."""
    return clean(_told(event)).translate(_UNSHOWN)


def _told(event: AnyEvent) -> str:
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
            return _course(event)
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
            return _gate(event)
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
            return _car(event)
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


def _course(event: _Course) -> str:
    """Where the run goes."""
    match event:
        case ev.Begun(procedure=procedure, revision=revision, car=car, demonstration=demo, rehearsal=rehearsal):
            kind = "rehearsal of" if rehearsal else "demonstration of" if demo else "run of"
            return f"{kind} {procedure}, revision {revision}, on {car} began"
        case ev.Assumed():
            return "the summary was read; the car is as the procedure takes it to be"
        case ev.Arrived(path=path, because=because):
            return f"came to {place(path)}{_why(because)}"
        case ev.Left(path=path, outcome=outcome, because=because, late=late):
            when = f", in truth done at about {late}, entered now" if late else ""
            return f"left {place(path)} by '{outcome}'{when}{_why(because)}"
        case ev.Passed(path=path, outcome=outcome):
            return f"noted for what comes after: {plain(path)}{f': {plain(outcome)}' if outcome else ''}"
        case ev.OrderSet(block=block, order=order, source=source):
            return f"the order of {place(block)} is {_list(order)}, from {plain(source)}"
        case ev.TurnOver(block=block, member=member):
            return f"{place(block)}: the turn at {_at(member)} is over"
        case ev.Asked(paths=paths):
            return f"to confirm again: {_list(place(p) for p in paths)}"
        case ev.Jumped(source=source, path=path, void=void):
            gone = f"; void now: {_list(void)}" if void else ""
            return f"to do again: from {place(source)} back to {place(path)}{gone}"
        case ev.Stopped(unknown=unknown, levels=levels):
            return f"HOLD{_lost(unknown, levels)}"
        case ev.Resumed(clean=tidy, torn=torn, unknown=unknown, levels=levels):
            how = "" if tidy else " after a crash or a cut" + (", the last line was torn" if torn else "")
            return f"the run goes on{how}{_lost(unknown, levels)}"
        case ev.Ended(kind=kind, open=open_now, unmet=unmet, do_not_drive=no):
            parts = [f"open: {_list(open_now)}"] if open_now else []
            parts += [f"not met: {_list(unmet)}"] if unmet else []
            parts += ["THE CAR IS NOT TO BE DRIVEN"] if no else []
            return "; ".join([f"the run ended: {kind}", *parts])
        case ev.Signed(initials=initials, meaning=meaning, reference=reference):
            return f"signed by {initials}: {meaning}" + (f" ({signature.told(reference)})" if reference else "")
        case ev.PersonSet(initials=initials):
            return f"from now on {initials} acts"
        case ev.Ticked():
            return "nothing had run out"
        case ev.Restoring(condition=condition, back_to=back):
            return f"a detour to make '{plain(condition)}' so again, then back to {place(back)}"
        case ev.Restored(condition=condition):
            return f"'{plain(condition)}' is so again"


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


def _gate(event: _Gate) -> str:
    """What a person answered, typed or said."""
    match event:
        case ev.Confirmed(hazards=hazards, words=words, how=how, shown_ms=shown, needed_ms=needed, fast=fast):
            what = _list(f"{w} {plain(h)}" for w, h in zip(words, hazards, strict=False))
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
            return f"{plain(name)}: {', '.join(typed)} {unit}{again}: {outcome}{_why(because)}"
        case ev.Named(name=name, result=result):
            return f"{plain(name)}: {result}"
        case ev.Identified(name=name, text=text, digest=digest):
            return f"{plain(name)}: {text or 'a picture'}" + (f" (SHA-256 {digest})" if digest else "")
        case ev.TimerStarted(path=path):
            return f"the time at {place(path)} began"
        case ev.Corrected(line=line, was=was, now=now, reason=reason, effect=effect, broken=broken):
            held = f"; in truth not met: {_list(broken)}" if broken else ""
            return f"line {line} corrected from '{was}' to '{now}': {reason}; {effect}{held}"
        case ev.Restated(name=name, outcome=outcome):
            return f"{plain(name)} after the correction: {outcome}"
        case ev.Overridden(path=path, gate=gate, reason=reason, initials=initials):
            return f"OVERRIDDEN at {place(path)}: {gate}; {reason}; {initials}"
        case ev.CannotDo(path=path, reason=reason, way=way):
            return f"could not be done as written: {place(path)}; {reason}; {way}"
        case ev.FindingMade(what=what, where=where, severity=severity, follows=follows):
            at = f" at {_at(where)}" if where else ""
            return f"finding ({severity}): {what}{at}" + (f"; {follows}" if follows else "")
        case ev.Owes(what=what):
            return f"a text is owed: {what}"
        case ev.Settled(owed=owed, text=text):
            return f"the owed text '{plain(owed)}' reads: {text}"
        case ev.Supplied(name=name, value=value, source=source):
            return f"{plain(name)} is {value}, from {source}"


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


def _car(event: _Car) -> str:
    """What became of the car."""
    match event:
        case ev.Granted(beats=beats, levels=levels):
            debit = f"; debited in advance: {_list(levels)}" if levels else ""
            return f"granted: {beats}{debit}"
        case ev.Beaten():
            return "one more of the grant is over"
        case ev.Returned(used=used):
            return f"the grant is over: {used} used"
        case ev.Looked(level=level, position=position):
            return f"{plain(level)} as seen: {position}"
        case ev.LevelIs(level=level, enclosure=pair, why=why):
            return f"{plain(level)} {'is not known now' if pair is None else 'moved'}{_why(plain(why))}"
        case ev.Became(changes=changes, why=why):
            return f"{_changes(changes)}{_why(plain(why))}"
        case ev.Happened(deeds=deeds):
            return f"happened: {_list(deeds)}"
        case ev.WaitStarted(wait=wait):
            return f"the wait '{plain(wait)}' began"
        case ev.PartUsed(part=part, left=left):
            return f"used: {plain(part)}; {left} left in hand"
        case ev.InHand(part=part, have=have):
            return f"in hand: {have} of {plain(part)}"
        case ev.Expired(conditions=conditions, levels=levels):
            return f"not known any more: {_list((*conditions, *levels))}"
        case ev.Attested(condition=condition, value=value):
            return f"seen on the car: {plain(condition)}: {_VALUES.get(value, value)}"
        case ev.Contradicted(condition=condition, was=was, value=value, breaks=breaks):
            change = f"was {_VALUES.get(was, was)}, is {_VALUES.get(value, value)}"
            gone = f"; no longer holds: {_list(breaks)}" if breaks else ""
            return f"the car is not as the record said: {plain(condition)} {change}{gone}"


def place(path: str) -> str:
    """A path as words: ``corners/RR/bleed`` is ``corners, right rear, bleed``."""
    return ", ".join(_at(part) for part in path.split("/"))


def _at(member: str) -> str:
    return plain(f"@{member}").removeprefix(", ").replace("-", " ")


def _list(names: Iterable[str]) -> str:
    return ", ".join(plain(n) for n in names) or "nothing"


def _why(because: str) -> str:
    return f", because {because}" if because else ""


def _changes(changes: Mapping[str, str]) -> str:
    return "; ".join(f"{plain(c)}: {_VALUES.get(v, v)}" for c, v in changes.items()) or "nothing changed"


def _lost(unknown: Mapping[str, str], levels: Iterable[str]) -> str:
    gone = [*unknown, *levels]
    return f"; to be looked at: {_list(gone)}" if gone else ""
