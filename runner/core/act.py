"""What a person or the clock asks of the engine: a closed union, one record line each.

Texts that a person typed stay as typed; the engine judges them. Corners are ``LF RF LR RR``.
"""

from __future__ import annotations

import msgspec


class Act(msgspec.Struct, frozen=True, kw_only=True, tag_field="do", forbid_unknown_fields=True):
    """Base of all acts."""


class Begin(Act, frozen=True, kw_only=True, tag="begin"):
    """Start a run: what is run, on which car, in which state the car was taken over.

    ``texts`` are the procedure, its fragments and the vocabulary by file name; ``asks`` map a name (or
    ``name@RR``) to ``{"value": typed, "source": source}``; ``heads`` are the head digests of the car's
    other records. ``salt`` makes the keys of warnings differ from run to run.
    """

    procedure: str
    revision: str
    version: str
    texts: dict[str, str]
    hashes: dict[str, str]
    car: str
    demonstration: bool
    rehearsal: bool = False
    salt: str
    asks: dict[str, dict[str, str]]
    conditions: dict[str, str]
    levels: dict[str, list[str]]
    waits: dict[str, dict[str, str | int]]
    parts: dict[str, int]
    instruments: dict[str, dict[str, str]]
    claims: dict[str, str]
    heads: dict[str, str]
    start: str = ""
    new_person: bool = False


class Assume(Act, frozen=True, kw_only=True, tag="assume"):
    """The openings shown at the start are as the procedure assumes."""


class Confirm(Act, frozen=True, kw_only=True, tag="confirm"):
    """One warning or danger was read: ``key`` is the digit printed in its text."""

    hazard: str
    key: str


class ConfirmRest(Act, frozen=True, kw_only=True, tag="confirm rest"):
    """All notices and cautions of the step were read, and warnings still in effect from earlier."""


class Done(Act, frozen=True, kw_only=True, tag="done"):
    """The step's action was done (or a grant is taken, or a timed hold is started or over).

    ``late`` is the time of day at which it was in truth done, for "done before, entered now".
    """

    late: str = ""


class Answer(Act, frozen=True, kw_only=True, tag="answer"):
    """The answer to a check, a choice, a timed hold or a count's look at the fluid."""

    value: str


class Enter(Act, frozen=True, kw_only=True, tag="enter"):
    """A typed value (points separated by spaces as typed one by one) that is to be read back.

    For readings, numbers of a check, identification, and a photo (then ``typed`` is its SHA-256).
    """

    typed: list[str]
    unit: str = ""
    instrument: str = ""
    clicks: str = ""


class Accept(Act, frozen=True, kw_only=True, tag="accept"):
    """The value that was read back is the one that was meant."""


class Retype(Act, frozen=True, kw_only=True, tag="retype"):
    """The value that was read back is not the one that was meant."""


class Instead(Act, frozen=True, kw_only=True, tag="instead"):
    """A named honest result in place of a value: ``by feel, no wrench fits``."""

    result: str


class Beat(Act, frozen=True, kw_only=True, tag="beat"):
    """One beat of the grant is over (pedal or keypad)."""


class Report(Act, frozen=True, kw_only=True, tag="report"):
    """How many beats of the grant were used in all."""

    used: str


class Look(Act, frozen=True, kw_only=True, tag="look"):
    """The level as it is seen: one of the positions of the gauge, or ``cannot see``."""

    level: str
    position: str


class Hold(Act, frozen=True, kw_only=True, tag="hold"):
    """Stop at once; always accepted."""


class MadeSafe(Act, frozen=True, kw_only=True, tag="made safe"):
    """One line of the order of making safe was done: the instance is closed."""

    condition: str


class Resume(Act, frozen=True, kw_only=True, tag="resume"):
    """Come back. ``clean`` is False after a crash or a cut; ``torn`` says that a tail was cut off.

    ``version`` is the program that judges from here on; empty where it is the same as before.
    """

    clean: bool
    torn: bool = False
    by: str = ""
    heads: dict[str, str] = {}
    version: str = ""


class Attest(Act, frozen=True, kw_only=True, tag="attest"):
    """A condition that had become unknown, as a fact from the car."""

    condition: str
    holds: bool


class AttestAll(Act, frozen=True, kw_only=True, tag="attest all"):
    """Conditions of one place on the car that had become unknown, looked at together: each with whether it holds."""

    conditions: dict[str, bool]


class Contradict(Act, frozen=True, kw_only=True, tag="contradict"):
    """The car is not as you say: what the technician sees."""

    condition: str
    holds: bool
    reason: str = ""


class Restore(Act, frozen=True, kw_only=True, tag="restore"):
    """Go to the step that makes a lost condition true again, and come back."""

    condition: str


class ConfirmAgain(Act, frozen=True, kw_only=True, tag="confirm again"):
    """Ask the gates of the present step, or of the steps from ``path`` on, again; nothing is undone."""

    path: str


class DoAgain(Act, frozen=True, kw_only=True, tag="do again"):
    """A checked jump to an earlier step. ``admissible`` is the checker's verdict, injected."""

    path: str
    admissible: bool
    because: str = ""


class Correct(Act, frozen=True, kw_only=True, tag="correct"):
    """A value of record line ``line`` was wrong; the old one stays.

    ``name`` says which value of the car, where the line is the begin line.
    """

    line: int
    typed: list[str]
    unit: str = ""
    reason: str
    name: str = ""


class Override(Act, frozen=True, kw_only=True, tag="override"):
    """The gate is not met; go on by the edge that the procedure allows."""

    reason: str
    initials: str


class Cannot(Act, frozen=True, kw_only=True, tag="cannot"):
    """The step cannot be done as written. ``way``: ``step`` (the author's edge), ``stop`` or ``defer``."""

    reason: str
    way: str


class Abandon(Act, frozen=True, kw_only=True, tag="abandon"):
    """Leave the run for good with whatever is open; never refused, marks the car not to be driven."""

    reason: str


class Note(Act, frozen=True, kw_only=True, tag="note"):
    """A finding: what, where, how bad (unsafe, fail, advisory) and what follows."""

    what: str
    where: str
    severity: str
    follows: str = ""


class Settle(Act, frozen=True, kw_only=True, tag="settle"):
    """A text that was owed, now given."""

    owed: str
    text: str


class Supply(Act, frozen=True, kw_only=True, tag="supply"):
    """A value of this car that was not known yet, with its source."""

    name: str
    typed: str
    source: str


class Person(Act, frozen=True, kw_only=True, tag="person"):
    """The person acting from now on, by initials."""

    initials: str


class PartsCame(Act, frozen=True, kw_only=True, tag="parts came"):
    """Parts arrived: how many of which are in hand now."""

    part: str
    have: int


class Tick(Act, frozen=True, kw_only=True, tag="tick"):
    """The clock: a wait may be over, a perishable may have expired, a grant may have run out of time."""


class Sign(Act, frozen=True, kw_only=True, tag="sign"):
    """The sign-off: who (initials), in which meaning (performed, reviewed, approved)."""

    initials: str
    meaning: str
    reference: str = ""


AnyAct = (
    Begin
    | Assume
    | Confirm
    | ConfirmRest
    | Done
    | Answer
    | Enter
    | Accept
    | Retype
    | Instead
    | Beat
    | Report
    | Look
    | Hold
    | MadeSafe
    | Resume
    | Attest
    | AttestAll
    | Contradict
    | Restore
    | ConfirmAgain
    | DoAgain
    | Correct
    | Override
    | Cannot
    | Abandon
    | Note
    | Settle
    | Supply
    | Person
    | PartsCame
    | Tick
    | Sign
)
