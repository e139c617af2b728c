"""A finished run signed afterwards: performed, reviewed or approved."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from runner.core import act as ac
from runner.core import event as ev
from runner.core.engine import decide
from runner.core.graph import Procedure
from runner.core.line import Head
from runner.core.picture import Extras, look
from runner.core.record import fingerprint
from runner.core.signature import told
from runner.core.state import State
from runner.core.view import View
from runner.edge.clock import Clock
from runner.edge.disk import NotRecorded
from runner.edge.job import Job
from runner.edge.journal import Held, Journal
from runner.edge.opening import Answer, opened_run, procedure_of, words
from runner.edge.signing import signed
from runner.edge.verifying import judged_otherwise, verified


def audit_sign(folder: Path, run: str, meaning: str, by: str, keys: Path, clock: Clock) -> Answer:
    """The run signed, or why not; without ``by`` the person who acted last is the one who performed it."""
    found = opened_run(folder, run)
    if isinstance(found, str):
        return words(found), 2
    checked = verified(found)
    procedure = procedure_of(found)
    if checked.faults or procedure is None:
        return words(f"{found.path}: not signed: the record is at fault: 'witnessmark audit verify' says where"), 1
    if otherwise := judged_otherwise(checked):
        mend = "sign it with that version: nobody signs here what is judged here otherwise"
        return words(f"{found.path}:{otherwise.line}: not signed: {otherwise.text}: {mend}"), 1
    if not by and meaning != "performed":
        return f"not signed: say who has {meaning} it: --by INITIALS", 2
    by = by or next((one.by for one in reversed(found.entries) if one.by), "")
    try:
        journal = Journal.open(found.path, by=by, since=clock.now().at)
        if isinstance(journal, Held):
            return words(f"not signed: this run is open: {journal.by} since {journal.since}: close it there first"), 2
        with journal:
            job = _job(procedure, journal, clock, by, keys)
            job.take_over(found.entries)
            job.head = journal.record.head
            act = ac.Sign(initials=by, meaning=meaning)
            for event in decide(procedure, job.state, act, clock.now(), by):
                if isinstance(event, ev.Refused):  # asked first: a record is not written to for nothing
                    return words(f"not signed: {event.why}: {event.help}"), 1
            job.do(act)
    except NotRecorded as error:
        return words(f"not signed: {error.why}: {error.mend}"), 2
    if job.notice:
        return words(f"not signed: {job.notice}"), 2
    made = job.state.signed[-1]
    lines = (
        f"{found.path.stem}: signed",
        f"name        {made.initials}",
        f"time        {job.state.stamp.at if job.state.stamp else ''}",
        f"meaning     {made.meaning}",
        f"signature   {told(made.reference)}",
        f"fingerprint {fingerprint(job.head.hash)}",
    )
    return "\n".join(words(line) for line in lines), 0


def _job(procedure: Procedure, journal: Journal, clock: Clock, by: str, keys: Path) -> Job:
    def picture(state: State, head: str, said: str) -> View:
        return look(procedure, state, clock.now(), Extras(head=head, alert=said))

    return Job(
        procedure=procedure,
        journal=journal,
        clock=clock,
        picture=picture,
        admit=lambda _state, _path: (False, "the run is over"),
        sign=partial(signed, keys),
        state=State(by=by),
        head=Head(),
    )
