"""Questions across runs, answered from the record files themselves: there is no second store to keep in step.

The engine is DuckDB over JSON Lines with the columns given; each question names the event that it is about, the
fields of it that it needs, and in words what a hit says. What cannot be read is told, never passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from runner.core.act import Begin
from runner.core.entry import folded
from runner.core.gaterows import on_one_line, with_what
from runner.core.graph import Procedure
from runner.core.names import Names, place
from runner.core.picture_car import open_words
from runner.core.replay import UNHEARD_OF
from runner.core.stamp import at_ms
from runner.core.story import as_typed
from runner.core.wording import plain
from runner.edge.auditing import none_yet
from runner.edge.choosing import Chosen, Wanted, choose
from runner.edge.opening import Answer, Opened, in_json, opened, procedure_of, rebuild, words
from runner.edge.revisions import changed_gates

Event = Mapping[str, Any]

BATCH = 3
BATCH_MS = 10 * 60 * 1000
"""So many steps or more, each entered afterwards within this time of the one before, are a batch (own choice)."""
_LONGEST_LINE = 1 << 26
_TEXT, _TEXTS = "VARCHAR", "VARCHAR[]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: its event, the fields that it needs with their types, the condition, what a hit says."""

    help: str
    event: str
    fields: Mapping[str, str] = field(default_factory=dict)
    where: str = "true"
    told: Callable[[Event], str] = lambda _event: ""


def _reading(e: Event) -> str:
    limit = f"; limit {e['limit']}" if e["limit"] else ""
    value = as_typed(e["typed"] or (), e["unit"])
    return f"{plain(e['name'])}: {value}{limit}; {e['label'] or e['outcome']}; {with_what(e['instrument'])}"


_READING = dict.fromkeys(("name", "unit", "limit", "label", "outcome", "instrument"), _TEXT) | {"typed": _TEXTS}

_OPEN = "; open: "

QUESTIONS: Mapping[str, Question] = {
    "fast": Question(
        help="messages confirmed faster than they can be read",
        event="confirmed",
        fields={"path": _TEXT, "hazards": _TEXTS, "shown_ms": "BIGINT", "needed_ms": "BIGINT", "fast": "BOOLEAN"},
        where="e.fast",
        told=lambda e: (
            f"{place(e['path'])}: {', '.join(plain(h) for h in e['hazards'] or ())}; "
            f"{e['shown_ms'] / 1000:.1f} s of {e['needed_ms'] / 1000:.1f} s to read"
        ),
    ),
    "late": Question(
        help="steps entered afterwards, and whether in a batch",
        event="left",
        fields={"path": _TEXT, "late": _TEXT},
        where="e.late <> ''",
        told=lambda e: f"{place(e['path'])}: done at about {e['late']}",
    ),
    "overrides": Question(
        help="gates that were not met, with reason and initials",
        event="overridden",
        fields=dict.fromkeys(("path", "gate", "reason", "initials"), _TEXT),
        told=lambda e: f"{place(e['path'])}: {e['gate']}; {e['reason']}; {e['initials']}",
    ),
    "corrections": Question(
        help="values that were corrected",
        event="corrected",
        fields={"line": "BIGINT"} | dict.fromkeys(("was", "now", "reason", "effect"), _TEXT),
        told=lambda e: f"line {e['line'] + 1} from '{e['was']}' to '{e['now']}': {e['reason']}; {e['effect']}",
    ),
    "close": Question(
        help="readings too close to their limit to call",
        event="taken",
        fields=_READING,
        where="(e.outcome = 'cannot tell' or starts_with(e.label, 'conditional'))",
        told=_reading,
    ),
    "instrument": Question(
        help="readings taken with an instrument, by its name",
        event="taken",
        fields=_READING,
        where="e.instrument = $named",
        told=_reading,
    ),
    "unfinished": Question(
        help="runs that are not finished, or ended with something open",
        event="ended",
        fields={"open": _TEXTS, "kind": _TEXT},
        told=lambda e: f"{e['kind']}{_OPEN}{', '.join(e['open'])}" if e["open"] else "",
    ),
    "changed-gate": Question(help="revisions of a procedure in which a gate changed", event=""),
}
NAMED = frozenset({"instrument", "changed-gate"})
"""The questions that need a name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """One answer to a question: the run, the line (from 1), when, who, and in words what."""

    run: str
    line: int
    at: str
    by: str
    text: str


def audit_ask(folder: Path, question: str, named: str, wanted: Wanted, as_json: bool) -> Answer:
    """The hits of a question over the runs meant, in the order of their lines; code 1 if some are unreadable."""
    if question in NAMED and not named:
        what = "the instrument" if question == "instrument" else "the procedure"
        return f"'{question}' needs the name of {what} behind it", 2
    if not folder.is_dir():
        return words(none_yet(folder)), 2
    found = ask(folder, question, named, wanted)
    if isinstance(found, str):
        return found, 2
    hits, troubles = found
    if as_json:
        told = [{name: getattr(hit, name) for name in Hit.__slots__} for hit in hits]
        return in_json({"question": question, "hits": told, "troubles": troubles}), 1 if troubles else 0
    lines = [f"{hit.run}:{hit.line}  {hit.at}  {hit.by}  {hit.text}" for hit in hits]
    return "\n".join(words(line) for line in (*lines, *troubles)) or "none", 1 if troubles else 0


def ask(folder: Path, question: str, named: str, wanted: Wanted) -> tuple[list[Hit], list[str]] | str:
    """The hits and a line for each record that cannot be asked; in words why nothing can be asked at all."""
    if question == "changed-gate":
        wanted = replace(wanted, procedure=named)
    chosen = choose(folder, wanted)
    if question == "changed-gate":
        changed = [
            Hit(run=one.path.stem, line=1, at=one.at, by=one.by, text=on_one_line(text))
            for one, text in changed_gates(chosen.runs)
            if wanted.covers(one.at, one.at) and wanted.person in ("", one.by)
        ]
        return changed, list(chosen.troubles)
    # A run is over whoever ended it and whenever that was.
    narrowed = Wanted() if question == "unfinished" else wanted
    found = _found(chosen, QUESTIONS[question], named, narrowed)
    if isinstance(found, str):
        return found
    hits, bad = found
    if question == "late":
        hits = _batches(hits)
    if question == "unfinished":
        hits = _unfinished(chosen, hits, wanted)
    return hits, [*chosen.troubles, *bad]


def names_for(folder: Path, question: str, wanted: Wanted) -> tuple[str, ...]:
    """What a question can be asked about: the instruments or the procedures of the runs meant; of others nothing."""
    begun = [one.begin for one in choose(folder, wanted).runs] if question in NAMED else []
    if question == "changed-gate":
        return tuple(sorted({one.procedure for one in begun}))
    return tuple(sorted({name for one in begun for name in one.instruments}))


def _found(chosen: Chosen, question: Question, named: str, wanted: Wanted) -> tuple[list[Hit], list[str]] | str:
    try:
        import duckdb
    except ImportError:
        return "questions need the query engine: pip install 'witnessmark[audit]'"
    files = [str(one.path) for one in chosen.runs]
    odd = [file for file in files if any(sign in file for sign in "*?[")]
    if odd:
        return words(f"{odd[0]}: no question can be asked of a name with * ? or [ in it: rename the file or its folder")
    if not files:
        return [], []
    fields = ", ".join(f'"{name}" {kind}' for name, kind in {"ev": _TEXT, **question.fields}.items())
    typed = f"""{{n: 'BIGINT', "at": 'VARCHAR', "by": 'VARCHAR', events: 'STRUCT({fields})[]'}}"""
    parts = [f"e.ev = '{question.event}'", question.where]
    lines = ["len(hits) > 0"]
    given: dict[str, object] = {"files": files}
    for value, name, part in (
        (named if "$named" in question.where else "", "named", ""),
        (wanted.person, "person", '"by" = $person'),
        (wanted.since, "since", '"at"[:10] >= $since'),
        (wanted.until, "until", '"at"[:10] <= $until'),
    ):
        if value:
            given[name] = value
            lines += [part] if part else []
    asked = f"""
        select filename, n, "at", "by", hits from (
            select filename, n, "at", "by", list_filter(events, lambda e: {" and ".join(parts)}) as hits
            from read_json($files, format = 'newline_delimited', columns = {typed}, filename = true,
                           ignore_errors = true, maximum_object_size = {_LONGEST_LINE}))
        where n is null or ({" and ".join(lines)})
        order by filename, n"""
    with duckdb.connect(":memory:", config={"autoinstall_known_extensions": "false"}) as engine:
        try:
            rows = engine.execute(asked, given).fetchall()
        except duckdb.Error as error:
            return words(f"the records cannot be asked: {error}: 'witnessmark audit verify' names what is wrong")
    hits = [
        Hit(run=Path(file).stem, line=n + 1, at=on_one_line(at), by=on_one_line(by), text=_told(question, event))
        for file, n, at, by, events in rows
        if n is not None
        for event in events
    ]
    broken = dict.fromkeys(file for file, n, *_ in rows if n is None)
    return hits, [f"{file}: some of its lines cannot be read: 'witnessmark audit verify' names them" for file in broken]


def _told(question: Question, event: Event) -> str:
    try:
        return on_one_line(question.told(event))
    except UNHEARD_OF:
        return "an event that cannot be told"


def _batches(hits: Sequence[Hit]) -> list[Hit]:
    """Late entries of one run that follow each other closely are said to be a batch."""
    groups: list[list[Hit]] = []
    for hit in hits:
        before = groups[-1][-1] if groups else None
        if before is not None and before.run == hit.run and at_ms(hit.at) - at_ms(before.at) <= BATCH_MS:
            groups[-1].append(hit)
        else:
            groups.append([hit])
    return [
        replace(hit, text=f"{hit.text}; in a batch of {len(group)}") if len(group) >= BATCH else hit
        for group in groups
        for hit in group
    ]


def _unfinished(chosen: Chosen, ended: Sequence[Hit], wanted: Wanted) -> list[Hit]:
    """The runs that have not ended, or have with something open, and what that is; only the former are folded."""
    begins = {one.path.stem: one.begin for one in chosen.runs}
    hits = [replace(hit, text=_in_words(hit.text, begins[hit.run])) for hit in ended if hit.text]
    over = {hit.run for hit in ended}
    for started in chosen.runs:
        one = opened(started.path) if started.path.stem not in over else None
        if isinstance(one, Opened) and one.entries:
            last = one.entries[-1]
            at, by = on_one_line(last.stamp.at), on_one_line(last.by)
            hits.append(Hit(run=started.path.stem, line=last.line + 1, at=at, by=by, text=_open(one)))
    begun = {one.path.stem: one.at for one in chosen.runs}
    return [hit for hit in hits if wanted.covers(begun[hit.run], hit.at) and wanted.person in ("", hit.by)]


def _in_words(text: str, begin: Begin) -> str:
    """How a run ended and what was open then, from the names in its end, in the words of its own procedure."""
    kind, _, names = text.partition(_OPEN)
    made = rebuild(begin)
    opened_then = Names(made if isinstance(made, Procedure) else None).open(names.split(", "))
    return on_one_line(f"{kind}{_OPEN}{'; '.join(opened_then)}")


def _open(one: Opened) -> str:
    try:
        state = folded(one.entries)
        procedure = procedure_of(one)
        opened_now = open_words(procedure, state) if procedure is not None else ()
    except UNHEARD_OF:
        return "not finished; what is open cannot be told"
    return f"not finished; open: {'; '.join(opened_now) or 'nothing that is known'}"
