"""What happened: a closed union. The state of a run is the fold of these, and of nothing else.

Numbers are exact decimals as text in the unit named beside them; condition values are T, F or U.
"""

from __future__ import annotations

import msgspec


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="ev", forbid_unknown_fields=True):
    """Base of all events."""


class Begun(Event, frozen=True, kw_only=True, tag="begun"):
    """The run was started; the car was taken over in this state."""

    procedure: str
    revision: str
    car: str
    demonstration: bool
    rehearsal: bool
    salt: str
    asks: dict[str, dict[str, str]]
    conditions: dict[str, str]
    levels: dict[str, list[str]]
    waits: dict[str, dict[str, str | int]]
    parts: dict[str, int]
    instruments: dict[str, dict[str, str]]
    claims: dict[str, str]


class Assumed(Event, frozen=True, kw_only=True, tag="assumed"):
    """The summary was read and the procedure's opening conditions were confirmed from the car."""


class Arrived(Event, frozen=True, kw_only=True, tag="arrived"):
    """The place of the run moved to a step."""

    path: str
    because: str = ""


class Left(Event, frozen=True, kw_only=True, tag="left"):
    """A step was left by an edge: by which outcome, and why this one (the reading and its limit)."""

    path: str
    outcome: str
    because: str = ""
    late: str = ""


class Passed(Event, frozen=True, kw_only=True, tag="passed"):
    """How a step, call or block came out that another one must come after; not ``done`` where it was left undone."""

    path: str
    outcome: str
    done: bool = True


class OrderSet(Event, frozen=True, kw_only=True, tag="order set"):
    """A block of turns begins: in which order, and from which ask."""

    block: str
    order: list[str]
    source: str


class TurnOver(Event, frozen=True, kw_only=True, tag="turn over"):
    """One turn of a block is over; what was remembered only in it is gone."""

    block: str
    member: str
    forgotten: list[str]


class Confirmed(Event, frozen=True, kw_only=True, tag="confirmed"):
    """Safety messages were confirmed; ``how`` is ``own`` (a key of its own) or ``together``."""

    path: str
    hazards: list[str]
    words: list[str]
    how: str
    key: str
    shown_ms: int
    needed_ms: int
    fast: bool


class Refused(Event, frozen=True, kw_only=True, tag="refused"):
    """The act changed nothing: why, and what is possible instead."""

    why: str
    help: str = ""


class Mistaken(Event, frozen=True, kw_only=True, tag="mistaken"):
    """A check was answered with something that is not so on this car, or not what it must be."""

    path: str
    ask: str
    value: str


class Answered(Event, frozen=True, kw_only=True, tag="answered"):
    """A check, choice, timed hold or look at the fluid was answered."""

    path: str
    ask: str
    value: str
    outcome: str
    name: str = ""


class ReadBack(Event, frozen=True, kw_only=True, tag="read back"):
    """A value was typed and stands to be read back; nothing counts yet."""

    path: str
    typed: list[str]
    unit: str
    instrument: str
    clicks: str
    shown: str


class Retyped(Event, frozen=True, kw_only=True, tag="retyped"):
    """What was read back was not what was meant."""

    path: str


class Taken(Event, frozen=True, kw_only=True, tag="taken"):
    """A reading counts: as typed, its error, the limit, the verdict and its reason.

    ``values`` are [least, most] pairs in coherent SI, one a point; ``twice_u`` the expanded uncertainty.
    """

    path: str
    name: str
    typed: list[str]
    unit: str
    instrument: str
    dimension: str
    values: list[list[str]]
    twice_u: str
    limit: str
    limit_kind: str
    rule: str
    outcome: str
    label: str
    probability: str
    because: str
    clicks: str = ""
    repeat: int = 0


class Named(Event, frozen=True, kw_only=True, tag="named"):
    """An honest result in place of a value."""

    path: str
    name: str
    result: str


class Identified(Event, frozen=True, kw_only=True, tag="identified"):
    """A marking was read or a picture was kept; ``digest`` is the picture's SHA-256."""

    path: str
    name: str
    text: str
    digest: str = ""


class TimerStarted(Event, frozen=True, kw_only=True, tag="timer started"):
    """A timed hold began."""

    path: str


class Granted(Event, frozen=True, kw_only=True, tag="granted"):
    """Beats were granted and the levels debited for all of them in advance.

    ``touched`` are the conditions that are unknown while the grant is out; ``seconds`` its time bound; ``each``
    the least and the most that one beat moves, in coherent SI.
    """

    path: str
    beats: int
    levels: dict[str, list[str]]
    touched: dict[str, str]
    seconds: str
    each: list[str] | None = None


class Beaten(Event, frozen=True, kw_only=True, tag="beaten"):
    """One beat of the grant is over."""

    path: str


class Returned(Event, frozen=True, kw_only=True, tag="returned"):
    """The grant is over: how many beats were used, the levels after credit, the conditions put back."""

    path: str
    used: int
    levels: dict[str, list[str] | None]
    conditions: dict[str, str]
    looks: list[str]


class Looked(Event, frozen=True, kw_only=True, tag="looked"):
    """The level as it was seen; without ``enclosure`` it could not be seen."""

    level: str
    position: str
    enclosure: list[str] | None


class LevelIs(Event, frozen=True, kw_only=True, tag="level is"):
    """A level moved or was set or became unknown (no enclosure); ``look_owed`` asks for a look before work goes on."""

    level: str
    enclosure: list[str] | None
    why: str
    by_look: bool = False
    look_owed: bool = False


class Became(Event, frozen=True, kw_only=True, tag="became"):
    """Conditions changed."""

    changes: dict[str, str]
    why: str


class Happened(Event, frozen=True, kw_only=True, tag="happened"):
    """Physical happenings of a step, with their index: ``pedal_rise@RR``."""

    deeds: list[str]


class WaitStarted(Event, frozen=True, kw_only=True, tag="wait started"):
    """A wait of the car began."""

    wait: str


class PartUsed(Event, frozen=True, kw_only=True, tag="part used"):
    """A part was taken from the stock in hand."""

    part: str
    left: int


class Stopped(Event, frozen=True, kw_only=True, tag="stopped"):
    """Hold: the run stands still, whatever is open."""

    unknown: dict[str, str]
    levels: list[str]


class Resumed(Event, frozen=True, kw_only=True, tag="resumed"):
    """The run goes on: what became unknown is asked first."""

    clean: bool
    torn: bool
    unknown: dict[str, str]
    levels: list[str]


class Expired(Event, frozen=True, kw_only=True, tag="expired"):
    """Facts that do not keep, and levels whose grant ran out of time, are not known any more."""

    conditions: list[str]
    levels: list[str]


class Attested(Event, frozen=True, kw_only=True, tag="attested"):
    """An unknown condition was looked at on the car."""

    condition: str
    value: str


class Contradicted(Event, frozen=True, kw_only=True, tag="contradicted"):
    """The car was not as the record said; ``breaks`` names what no longer holds."""

    condition: str
    was: str
    value: str
    breaks: list[str]
    reason: str


class Restoring(Event, frozen=True, kw_only=True, tag="restoring"):
    """A detour to the step that makes a lost condition true again."""

    condition: str
    back_to: str


class Restored(Event, frozen=True, kw_only=True, tag="restored"):
    """The detour is over."""

    condition: str


class Asked(Event, frozen=True, kw_only=True, tag="asked again"):
    """Earlier steps are confirmed again, without any effect on the car."""

    paths: list[str]


class Jumped(Event, frozen=True, kw_only=True, tag="jumped"):
    """A checked jump to an earlier step; remembered choices after it are void."""

    source: str
    path: str
    void: list[str]


class Corrected(Event, frozen=True, kw_only=True, tag="corrected"):
    """A value was corrected. ``effect``: same path, safeguard broken, or diverged (with where to resume)."""

    line: int
    was: str
    now: str
    reason: str
    effect: str
    offers: list[str]
    broken: list[str]


class Restated(Event, frozen=True, kw_only=True, tag="restated"):
    """A reading after a correction: what it is now."""

    name: str
    nth: int
    values: list[list[str]]
    outcome: str


class Overridden(Event, frozen=True, kw_only=True, tag="overridden"):
    """A gate was not met and the run went on by the edge that the author allows; ``void`` choices are forgotten."""

    path: str
    gate: str
    reason: str
    initials: str
    void: list[str] = []


class CannotDo(Event, frozen=True, kw_only=True, tag="cannot do"):
    """The step could not be done as written."""

    path: str
    reason: str
    way: str


class FindingMade(Event, frozen=True, kw_only=True, tag="finding"):
    """A finding: what, where, how bad, what follows; ``origin`` is ``person`` or ``run``."""

    what: str
    where: str
    severity: str
    follows: str
    origin: str


class Owes(Event, frozen=True, kw_only=True, tag="owes"):
    """A text is owed until sign-off."""

    owed: str
    what: str


class Settled(Event, frozen=True, kw_only=True, tag="settled"):
    """An owed text was given."""

    owed: str
    text: str


class Supplied(Event, frozen=True, kw_only=True, tag="supplied"):
    """A value of the car is known now."""

    name: str
    value: str
    source: str


class PersonSet(Event, frozen=True, kw_only=True, tag="person"):
    """Who acts from now on."""

    initials: str


class InHand(Event, frozen=True, kw_only=True, tag="in hand"):
    """Parts in hand."""

    part: str
    have: int


class Ticked(Event, frozen=True, kw_only=True, tag="ticked"):
    """The clock was looked at and nothing had run out."""


class Ended(Event, frozen=True, kw_only=True, tag="ended"):
    """The run is over: done, stopped or left open; what is open or owed stands with it."""

    kind: str
    open: list[str]
    unmet: list[str]
    do_not_drive: bool


class Signed(Event, frozen=True, kw_only=True, tag="signed"):
    """A signature: initials and meaning."""

    initials: str
    meaning: str
    reference: str


AnyEvent = (
    Begun
    | Assumed
    | Arrived
    | Left
    | Passed
    | OrderSet
    | TurnOver
    | Confirmed
    | Refused
    | Mistaken
    | Answered
    | ReadBack
    | Retyped
    | Taken
    | Named
    | Identified
    | TimerStarted
    | Granted
    | Beaten
    | Returned
    | Looked
    | LevelIs
    | Became
    | Happened
    | WaitStarted
    | PartUsed
    | Stopped
    | Resumed
    | Expired
    | Attested
    | Contradicted
    | Restoring
    | Restored
    | Asked
    | Jumped
    | Corrected
    | Restated
    | Overridden
    | CannotDo
    | FindingMade
    | Owes
    | Settled
    | Supplied
    | PersonSet
    | InHand
    | Ticked
    | Ended
    | Signed
)
