"""``run`` and ``rehearse``: from the files to a job, and the job to a surface."""

from __future__ import annotations

import argparse
import secrets
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from runner.cli.places import cars, cars_folder, home, records_folder
from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.bind import Bound, bind
from runner.core.finding import Finding, line_of
from runner.core.graph import Photo, Procedure, Step, find, instances
from runner.core.line import Head
from runner.core.picture import Extras, look
from runner.core.sheet_text import status_sheet
from runner.core.state import SAFE_STOP, State
from runner.core.view import View
from runner.edge import VERSION
from runner.edge.carfile import Car, NotWritten, add_ask, read_car
from runner.edge.clock import Clock, SteppedClock, SystemClock
from runner.edge.disk import NotRecorded
from runner.edge.garage import Run, Taken, runs, take_over
from runner.edge.job import Job, Nowhere
from runner.edge.journal import Held, Journal
from runner.edge.pictures import Pictures
from runner.edge.reader import read
from runner.edge.sheet import write_sheet
from runner.edge.shelf import Loaded, Shelf
from runner.edge.voice import voice
from runner.verify import Checked, admissible, bind_levels, verify

DEMO_CAR = "demo/saltmarsh-unit-7.yaml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """What a run needs before its first line: the checked procedure, the car, its values."""

    procedure: Procedure
    checked: Checked | None
    car: Car
    bound: Bound


def complain(findings: tuple[Finding, ...]) -> None:
    """Print findings where errors go."""
    for finding in findings:
        print(line_of(finding), file=sys.stderr)


def say(text: str) -> None:
    """Print a line where errors go."""
    print(text, file=sys.stderr)


def load_procedure(named: str) -> Procedure | None:
    """The procedure of that name or file; None after saying what is wrong."""
    loaded = Shelf().load(named)
    if not isinstance(loaded, Loaded):
        complain(loaded)
        return None
    procedure = read(loaded.files, loaded.main)
    if isinstance(procedure, Procedure):
        return procedure
    complain(procedure)
    return None


def run(options: argparse.Namespace) -> int:
    """Follow a procedure: begin a run, or go on with the unfinished one."""
    procedure = load_procedure(options.procedure)
    if procedure is None:
        return 2
    result = verify(procedure)
    if not isinstance(result, Checked):
        complain(result)
        say(f"{procedure.name} is not proven on every path: it does not run; 'witnessmark rehearse' walks through it")
        return 1
    ready = _ready(options, procedure, result)
    if ready is None:
        return 2
    demonstration = ready.car.demonstration or options.answers is not None
    folder = records_folder(options.records, demo=demonstration)
    try:
        if options.answers is not None:
            return _by_answers(options, ready, folder)
        return _on_screen(options, ready, folder, demonstration=demonstration)
    except NotRecorded as error:
        say(str(error))
        return 2


def rehearse(options: argparse.Namespace) -> int:
    """Walk through a procedure on the screen, without a record; said on every screen."""
    procedure = load_procedure(options.procedure)
    if procedure is None:
        return 2
    result = verify(procedure)
    checked = result if isinstance(result, Checked) else None
    if checked is None and isinstance(result, tuple):
        complain(result)
        say("not proven: this rehearsal may lead where a run never may")
    ready = _ready(options, procedure, checked)
    if ready is None:
        return 2
    clock = SystemClock()
    nothing = Taken(conditions={}, levels={}, waits={}, parts={}, claims={}, heads={}, unfinished=(), warnings=())
    job = _job(ready, Nowhere(), clock, record=None, by=ready.car.people[0], notice="")
    job.do(_begin(ready, nothing, demonstration=True, rehearsal=True))
    return _surface(options, job, clock)


def _ready(options: argparse.Namespace, procedure: Procedure, checked: Checked | None) -> Ready | None:
    path = _car_path(options, procedure)
    if path is None:
        return None
    car = read_car(path)
    if not isinstance(car, Car):
        complain(car)
        return None
    complain(car.warnings)
    known = {k: v for k, v in car.asks.items() if k.partition("@")[0] in _asked(procedure)}
    bound: Bound | None = None
    for owner in (procedure, *procedure.fragments.values()):
        mine = {k: v for k, v in known.items() if k.partition("@")[0] in owner.asks}
        result = bind(owner, mine, car.places)
        if not isinstance(result, Bound):
            complain(result)
            return None
        bound = bound or result
    if bound is None:
        return None
    if checked is not None:
        wrong = tuple(f for f in bind_levels(checked, known) if f.severity == "error")
        if wrong:
            complain(wrong)
            say(f"with the values of {car.name} the levels of {procedure.name} are not proven: it does not run")
            return None
    return Ready(procedure=procedure, checked=checked, car=car, bound=bound)


def _asked(procedure: Procedure) -> frozenset[str]:
    return frozenset(a for p in (procedure, *procedure.fragments.values()) for a in p.asks)


def _car_path(options: argparse.Namespace, procedure: Procedure) -> Path | None:
    if options.demo:
        return Shelf().demo(DEMO_CAR)
    if options.car is not None:
        chosen: Path = options.car
        return chosen
    known = cars()
    if len(known) == 1:
        return known[0]
    if known:
        say("there are several cars: name one with --car")
        for path in known:
            say(f"  {path}")
        return None
    if not sys.stdin.isatty():
        say("there is no car's file yet: name one with --car, or --demo for the invented car")
        return None
    from runner.cli.cars import make_here

    return make_here(procedure, cars_folder())


def _begin(ready: Ready, taken: Taken, *, demonstration: bool, rehearsal: bool = False, salt: str = "") -> ac.Begin:
    procedure, car = ready.procedure, ready.car
    asked = _asked(procedure)
    return ac.Begin(
        procedure=procedure.name,
        revision=procedure.revision,
        version=VERSION,
        texts=dict(procedure.texts),
        hashes=_hashes(procedure.texts),
        car=car.reference,
        demonstration=demonstration,
        rehearsal=rehearsal,
        salt=salt or secrets.token_hex(8),
        asks={k: dict(v) for k, v in car.asks.items() if k.partition("@")[0] in asked and v.get("value")},
        conditions=dict(car.conditions) | {k: v for k, v in taken.conditions.items() if k in _instances(procedure)},
        levels=dict(taken.levels),
        waits=dict(taken.waits),
        parts=dict(car.parts) | dict(taken.parts),
        instruments={k: dict(v) for k, v in car.instruments.items()},
        claims=dict(taken.claims),
        heads=dict(taken.heads),
    )


def _instances(procedure: Procedure) -> frozenset[str]:
    return frozenset(instances(procedure.conditions))


def _hashes(texts: Mapping[str, str]) -> dict[str, str]:
    from hashlib import sha256

    return {name: sha256(text.encode()).hexdigest() for name, text in texts.items()}


def _job(ready: Ready, journal: Journal | Nowhere, clock: Clock, *, record: Path | None, by: str, notice: str) -> Job:
    procedure, car, checked = ready.procedure, ready.car, ready.checked
    sheet = record.with_suffix(".status.txt") if record is not None else None
    pictures = Pictures(home() / "pictures", record.with_suffix(".pictures")) if record is not None else None

    def picture(state: State, head: str, said: str) -> View:
        extras = Extras(people=car.people, car=car.name, steering=car.steering, head=head, alert=said or notice)
        if pictures is not None and _wants_picture(procedure, state):
            extras = replace(extras, pictures=pictures.newest())
        return look(procedure, state, clock.now(), extras)

    def admit(state: State, path: str) -> tuple[bool, str]:
        if checked is None:
            return (True, "")
        verdict = admissible(checked, path, state.conditions, state.levels, remaining=_to_come(state, path))
        return (verdict.ok, verdict.because)

    def after(view: View) -> None:
        if sheet is not None:
            write_sheet(sheet, status_sheet(view, clock.now().at))

    return Job(
        procedure=procedure,
        journal=journal,
        clock=clock,
        picture=picture,
        admit=admit,
        after=after,
        state=State(by=by),
        head=Head(),
        take_picture=pictures.take if pictures is not None else lambda _named: None,
    )


def _wants_picture(procedure: Procedure, state: State) -> bool:
    node = find(procedure, state.path).node if state.path not in ("", SAFE_STOP) else None
    return isinstance(node, Step) and isinstance(node.gate, Photo)


def _to_come(state: State, path: str) -> dict[str, tuple[str, ...]]:
    """For each block around a path the members whose turn comes after that of the path."""
    left: dict[str, tuple[str, ...]] = {}
    for block, order in state.orders.items():
        if path.startswith(f"{block}/"):
            member = path[len(block) + 1 :].partition("/")[0]
            over = state.over.get(block, ())
            left[block] = tuple(m for m in order if m != member and m not in over)
    return left


def _on_screen(options: argparse.Namespace, ready: Ready, folder: Path, *, demonstration: bool) -> int:
    clock = SystemClock()
    all_runs, troubles = runs(folder)
    for trouble in troubles:
        say(trouble)
    car = ready.car.reference
    taken = take_over(all_runs, car)
    for warning in taken.warnings:
        say(warning)
    by = options.by or ready.car.people[0]
    if by not in ready.car.people:
        say(f"'{by}' is not in the car's file: its people are {', '.join(ready.car.people)}")
        return 2
    going_on = next((r for r in taken.unfinished if r.begin.procedure == ready.procedure.name), None)
    if going_on is not None and not options.new:
        return _resume(options, ready, going_on, all_runs, clock, by)
    now = clock.now()
    name = f"{ready.procedure.name}-{now.at[:10].replace('-', '')}-{secrets.token_hex(3)}"
    journal = Journal.create(folder, name, by=by, since=now.at)
    if isinstance(journal, Held):
        return _held(journal)
    with journal:
        job = _job(ready, journal, clock, record=journal.path, by=by, notice="")
        job.do(_begin(ready, taken, demonstration=demonstration))
        if job.notice:
            say(job.notice)
            return 2
        code = _surface(options, job, clock)
    return _goodbye(job, folder / f"{name}.jsonl", ready, code)


def _resume(
    options: argparse.Namespace, ready: Ready, old: Run, all_runs: tuple[Run, ...], clock: Clock, by: str
) -> int:
    embedded = read({name: text.encode() for name, text in old.begin.texts.items()}, _main_of(old, ready))
    if not isinstance(embedded, Procedure):
        complain(embedded)
        return 2
    checked = verify(embedded)
    if not isinstance(checked, Checked):
        complain(checked)
        return 1
    ready = Ready(procedure=embedded, checked=checked, car=ready.car, bound=ready.bound)
    journal = Journal.open(old.path, by=by, since=clock.now().at)
    if isinstance(journal, Held):
        return _held(journal)
    with journal:
        torn = journal.torn
        notice = f"torn: crash or cut; {torn.size} bytes set aside in {torn.kept.name}" if torn else ""
        job = _job(ready, journal, clock, record=old.path, by=by, notice=notice)
        job.take_over(old.entries)
        job.head = journal.record.head
        taken = take_over(all_runs, ready.car.reference, leaving_out=old.name)
        clean = job.state.phase == "held"
        job.do(ac.Resume(clean=clean, torn=torn is not None, by=by, heads=dict(taken.heads)))
        code = _surface(options, job, clock)
    return _goodbye(job, old.path, ready, code)


def _main_of(old: Run, ready: Ready) -> str:
    wanted = f"{old.begin.procedure}.yaml"
    return next((n for n in old.begin.texts if Path(n).name == wanted), ready.procedure.file)


def _held(held: Held) -> int:
    say(f"this run is open already: {held.by} since {held.since}, process {held.pid} on {held.host}")
    say("close it there first; a second writer is never let in")
    return 2


def _goodbye(job: Job, path: Path, ready: Ready, code: int) -> int:
    """What stays: values that were supplied go to the car's file, the record is named."""
    if not ready.car.demonstration:
        known = {name for name, _, _ in job.state.asks}
        for name, value, source in job.state.asks:
            if name in known and name not in ready.car.asks:
                with suppress(NotWritten):
                    add_ask(ready.car.path, name, value, source)
    state = job.state
    if state.ended is not None:
        print(f"{state.procedure}: {state.ended.kind}")
        for text in state.ended.open:
            print(f"  open: {text}")
        if state.ended.do_not_drive:
            print("  NOT TO BE DRIVEN until this is settled")
    else:
        print(f"{state.procedure}: not finished; the same command goes on with it")
    from runner.core.record import fingerprint

    print(f"record: {path}\nfingerprint: {fingerprint(job.head.hash)}")
    if state.demonstration:
        print("DEMONSTRATION: this is not work done on a car")
    return code


def _surface(options: argparse.Namespace, job: Job, clock: Clock) -> int:
    do: Callable[[AnyAct], View] = job.do
    if options.plain:
        from runner.plain import run as run_plain

        return run_plain(sys.stdin, sys.stdout, do, job.peek, clock.now)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        say("this is no terminal: use --plain for the line mode, or --answers FILE")
        return 2
    from runner.screen.app import Runner, show

    speak = voice() if getattr(options, "speak", False) else None
    distance, height = getattr(options, "distance", 0.7), getattr(options, "screen", 194.0)
    return show(Runner(job.peek(), do, job.peek, clock.now, distance_m=distance, screen_mm=height, speak=speak))


def _by_answers(options: argparse.Namespace, ready: Ready, folder: Path) -> int:
    from runner.edge.answers import Answers, drive, read_answers

    shipped = Shelf().demo(f"demo/{ready.procedure.name}.answers.yaml")
    answers = read_answers(Path(options.answers) if options.answers else shipped)
    if not isinstance(answers, Answers):
        complain(answers)
        return 2
    clock = SteppedClock()
    taken = take_over(runs(folder)[0], ready.car.reference)
    by = options.by or ready.car.people[0]
    name = f"{ready.procedure.name}-demonstration-{len(taken.heads) + 1}"
    journal = Journal.create(folder, name, by=by, since=clock.now().at)
    if isinstance(journal, Held):
        return _held(journal)
    with journal:
        job = _job(ready, journal, clock, record=journal.path, by=by, notice="")
        job.do(_begin(ready, taken, demonstration=True, salt="demonstration"))
        trouble = drive(job, ready.procedure, answers, clock)
        if trouble:
            complain(trouble)
    code = 1 if trouble else 0
    return _goodbye(job, folder / f"{name}.jsonl", ready, code)
