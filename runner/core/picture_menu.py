"""The menu of the moment: the honest ways out, what the car is like, going back, and what else can be said.

The entries keep their numbers at every step; one that is not possible now says why.
"""

from __future__ import annotations

from functools import lru_cache

from runner.core import act as ac
from runner.core import graph
from runner.core.concerns import concerned
from runner.core.gates import OTHER, OWED
from runner.core.graph import MEMBERS, Procedure, spoken
from runner.core.leaving import OVERRIDABLE
from runner.core.panel import numbered
from runner.core.picture_back import confirm_again, corrections, do_again
from runner.core.picture_gate import CORNER_KEYS
from runner.core.picture_value import supply_options, text_field
from runner.core.stage import Stage
from runner.core.state import State
from runner.core.values import named
from runner.core.view import Field, Option
from runner.core.wording import says_there

REASONS = (
    "the part is different",
    "the part is seized or broken",
    "the tool does not fit",
    "a tool or a part is missing",
    "it cannot be reached or seen",
    "no time left today",
)
DEFECTS = ("leaking", "worn", "torn or cracked", "corroded", "loose", "missing", "seized")
SEVERITIES = ("unsafe", "fail", "advisory")
_KEYPAD = {**CORNER_KEYS, "front": "8", "rear": "2", "left": "4", "right": "6", "": "5"}
"""Places of the car by where they lie on the keypad; the whole car is in the middle."""


def menu(
    procedure: Procedure, state: State, owed: Stage, people: tuple[str, ...], *, doable: bool
) -> tuple[Option, ...]:
    """The entries of the menu, nine a page. ``doable`` says that the action of the step could be done now."""
    if state.phase == "new":
        return (Option(key="", text="close", turn="leave"),)
    if state.phase == "ended":
        return _after_the_end(procedure, state, people)
    return (
        _entry("cannot be done as written", _cannot(state, owed), "nothing is to be done here now"),
        _entry("the car is not as you say", _otherwise(procedure, state), "no condition is known of this car"),
        _entry("note a finding", _findings(), ""),
        _entry("confirm again", confirm_again(procedure, state), "no step was passed yet"),
        _entry("do again", do_again(procedure, state), "no earlier step of this part can be done again now"),
        _entry("correct a value", corrections(procedure, state), "no value was typed yet"),
        _late(owed, doable=doable),
        _entry("go on without this gate", _override(owed, people), "the procedure does not allow it here"),
        _entry("who acts", _people(people), ""),
        *_second_page(procedure, state),
        _entry("leave for good, with what is open", _abandon(), ""),
    )


def _entry(text: str, sub: tuple[Option, ...], instead: str) -> Option:
    return Option(key="", text=text, sub=sub, note="" if sub else instead)


def _second_page(procedure: Procedure, state: State) -> tuple[Option, ...]:
    return (
        _entry("a value of this car", _values(procedure, state), "no value is needed"),
        _entry("parts came", _parts(procedure, state), "the procedure counts no parts"),
        _entry("texts that are owed", _owed(state), "no text is owed"),
        Option(key="", text="far view on or off", turn="far"),
        Option(key="", text="close the screen; the run can be taken up again", turn="leave"),
    )


def _after_the_end(procedure: Procedure, state: State, people: tuple[str, ...]) -> tuple[Option, ...]:
    signs = tuple(
        _entry(f"sign: {meaning}", _signed(people, meaning) if not state.owed else (), "texts are owed first")
        for meaning in ("performed", "reviewed", "approved")
    )
    return (
        *signs,
        _entry("note a finding", _findings(), ""),
        _entry("correct a value", corrections(procedure, state), "no value was typed"),
        _entry("the car is not as you say", _otherwise(procedure, state), "no condition is known of this car"),
        *_second_page(procedure, state),
    )


def _listed(reasons: tuple[str, ...], act: ac.AnyAct, typed: Field) -> tuple[Option, ...]:
    """Reasons to choose from; the last are a text that is owed, and one that is typed now."""
    options = [Option(key="", text=reason, act=_with_reason(act, reason)) for reason in (*reasons, OTHER)]
    return numbered([*options, Option(key="", text="type it", field=typed)])


def _with_reason(act: ac.AnyAct, reason: str) -> ac.AnyAct:
    match act:
        case ac.Cannot(way=way):
            return ac.Cannot(reason=reason, way=way)
        case _:
            return ac.Abandon(reason=reason)


# ── honest ways out ──────────────────────────────────────────────────────────────────────────────


def _cannot(state: State, owed: Stage) -> tuple[Option, ...]:
    step = owed.step
    if state.phase != "running" or owed.found is None:
        return ()
    options: list[Option] = []
    if owed.kind == "read" and step is not None and isinstance(step.gate, graph.Reading):
        options += [Option(key="", text=result, act=ac.Instead(result=result)) for result in step.gate.instead]
    if owed.kind in ("identify", "photo"):
        options.append(Option(key="", text=OWED, act=ac.Instead(result=OWED)))
    onward = step is not None and step.cannot is not None and not (state.back_to or state.diverged)
    ways = [("step", "go on as the procedure says for this")] if onward else []
    ways += [("stop", "stop safely"), ("defer", "stop safely; the step is deferred")]
    for way, words in ways:
        act = ac.Cannot(reason="", way=way)
        options.append(Option(key="", text=words, sub=_listed(REASONS, act, text_field("the reason", act))))
    return numbered(options)


def _override(owed: Stage, people: tuple[str, ...]) -> tuple[Option, ...]:
    step = owed.step
    if step is None or step.override is None:
        return ()
    waiting = owed.kind == "needs" and all(isinstance(u.need, graph.WaitNeed) for u in owed.unmet)
    if owed.kind not in OVERRIDABLE and not waiting:
        return ()
    options: list[Option] = []
    for reason in (*REASONS, OTHER):
        signed = [Option(key="", text=who, act=ac.Override(reason=reason, initials=who)) for who in people]
        typed = text_field("initials", ac.Override(reason=reason, initials=""))
        options.append(
            Option(key="", text=reason, sub=numbered([*signed, Option(key="", text="type it", field=typed)]))
        )
    return numbered(options)


@lru_cache(maxsize=1)
def _abandon() -> tuple[Option, ...]:
    act = ac.Abandon(reason="")
    reasons = ("the owner takes the car", "the car goes to another shop", "the work is given up")
    return _listed(reasons, act, text_field("the reason", act))


def _late(owed: Stage, *, doable: bool) -> Option:
    text = "done before, entered now"
    if owed.kind != "do" or not doable:
        return Option(key="", text=text, note="only an action that is owed now can be entered late")
    field = Field(what="the time at which it was done, hh:mm", kind="time of day", base=ac.Done())
    return Option(key="", text=text, field=field)


# ── the car ──────────────────────────────────────────────────────────────────────────────────────


def _otherwise(procedure: Procedure, state: State) -> tuple[Option, ...]:
    """Every condition that can be contradicted, by its place on the car: what is known first, as it is believed.

    Of what is not known, what this work has to do with comes before the rest of the shared vocabulary.
    """
    places: list[Option] = []
    ours = concerned(procedure)
    for member, key in _KEYPAD.items():
        known: list[Option] = []
        unknown: dict[bool, list[Option]] = {True: [], False: []}
        for name, condition in procedure.conditions.items():
            if member not in (MEMBERS[condition.index] if condition.index else ("",)):
                continue
            instance = f"{name}@{member}" if member else name
            value = state.value(instance)
            if value == "U":
                unknown[name in ours or instance in state.conditions].append(_unknown(procedure, instance))
                continue
            believed = says_there(procedure, instance, holds=value == "T")
            known.append(
                Option(key="", text=f"not so: {believed}", act=ac.Contradict(condition=instance, holds=value != "T"))
            )
        for here, title in ((True, "what is not known"), (False, "what this work does not touch")):
            known += [Option(key="", text=title, sub=numbered(unknown[here]))] if unknown[here] else []
        if known:
            places.append(Option(key=key, text=spoken(member) or "the whole car", sub=numbered(known)))
    return tuple(places)


def _unknown(procedure: Procedure, instance: str) -> Option:
    """A condition of which nothing is known, with its two sides behind it."""
    sides = [
        Option(
            key="",
            text=says_there(procedure, instance, holds=holds),
            act=ac.Contradict(condition=instance, holds=holds),
        )
        for holds in (True, False)
    ]
    return Option(key="", text=f"{says_there(procedure, instance, holds=True)}?", sub=numbered(sides))


@lru_cache(maxsize=1)
def _findings() -> tuple[Option, ...]:
    """What, where and how bad: three digits."""

    def how_bad(what: str, where: str) -> tuple[Option, ...]:
        return numbered([Option(key="", text=s, act=ac.Note(what=what, where=where, severity=s)) for s in SEVERITIES])

    def where(what: str) -> tuple[Option, ...]:
        return tuple(
            Option(key=key, text=spoken(member) or "the whole car", sub=how_bad(what, member))
            for member, key in _KEYPAD.items()
        )

    options = [Option(key="", text=what, sub=where(what)) for what in (*DEFECTS, OTHER)]
    typed = [
        Option(key="", text=s, field=text_field("what was found, and where", ac.Note(what="", where="", severity=s)))
        for s in SEVERITIES
    ]
    return numbered([*options, Option(key="", text="type it", sub=numbered(typed))])


# ── persons, values, parts, texts ────────────────────────────────────────────────────────────────


def _people(people: tuple[str, ...]) -> tuple[Option, ...]:
    known = [Option(key="", text=who, act=ac.Person(initials=who)) for who in people]
    return numbered([*known, Option(key="", text="type it", field=text_field("initials", ac.Person(initials="")))])


def _signed(people: tuple[str, ...], meaning: str) -> tuple[Option, ...]:
    known = [Option(key="", text=who, act=ac.Sign(initials=who, meaning=meaning)) for who in people]
    typed = text_field("initials", ac.Sign(initials="", meaning=meaning))
    return numbered([*known, Option(key="", text="type it", field=typed)])


def _values(procedure: Procedure, state: State) -> tuple[Option, ...]:
    if state.phase == "ended":
        return ()
    options: list[Option] = []
    for owner in (procedure, *procedure.fragments.values()):
        for name, ask in owner.asks.items():
            for member in MEMBERS[ask.per] if ask.per is not None else ("",):
                key = f"{name}@{member}" if member else name
                if named(owner, state, key, None) is None:
                    words = f"{ask.what}, {spoken(member)}" if member else ask.what
                    options.append(Option(key="", text=words, sub=supply_options(ask, key)))
    return numbered(list({option.text: option for option in options}.values()))


def _parts(procedure: Procedure, state: State) -> tuple[Option, ...]:
    return numbered(
        [
            Option(
                key="",
                text=part.what,
                note=f"{state.parts.get(name, part.have)} in hand",
                field=Field(what="how many are in hand now", kind="whole number", base=ac.PartsCame(part=name, have=0)),
            )
            for name, part in procedure.parts.items()
        ]
    )


def _owed(state: State) -> tuple[Option, ...]:
    return numbered(
        [
            Option(key="", text=what, field=text_field(what, ac.Settle(owed=owed, text="")))
            for owed, what in state.owed.items()
        ]
    )
