"""``run``: from the files to a job, and the job to a surface."""

from __future__ import annotations

import argparse
import secrets
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from runner.cli.beginning import begin
from runner.cli.places import home, keys_folder, records_folder
from runner.cli.proving import Ready, car_of, complain, load, proven, say
from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.graph import Photo, Procedure, Step, find
from runner.core.line import Head
from runner.core.names import Names
from runner.core.panel import Panel
from runner.core.picture import Extras, look
from runner.core.record import fingerprint
from runner.core.sheet_text import status_sheet
from runner.core.state import SAFE_STOP, State
from runner.core.view import View
from runner.edge import VERSION
from runner.edge.carfile import NotWritten, add_ask
from runner.edge.clock import Clock, SteppedClock, SystemClock
from runner.edge.disk import NotRecorded
from runner.edge.garage import Run, runs, take_over
from runner.edge.job import Job, Nowhere
from runner.edge.journal import Held, Journal
from runner.edge.pictures import Pictures
from runner.edge.sheet import write_sheet
from runner.edge.shelf import Loaded, Shelf
from runner.edge.voice import voice
from runner.verify import admissible

NEAR_M = 0.7
FAR_M = 2.5
"""Reading distances: at arm's length, and where the far view is sized for unless told otherwise."""


def run(options: argparse.Namespace) -> int:
    """Follow a procedure: begin a run, or go on with the unfinished one."""
    loaded = load(options.procedure)
    car = car_of(options, loaded) if loaded is not None else None
    if loaded is None or car is None:
        return 2
    ready = proven(loaded, car)
    if isinstance(ready, int):
        return ready
    if ready.procedure.is_fragment and options.answers is None:
        # What its contract takes for granted, such as stands under the car, nobody confirmed.
        name = ready.procedure.name
        say(f"{name} is a part of other procedures: run one that calls it")
        say(f"'witnessmark rehearse {name}' walks through it")
        return 2
    demonstration = car.demonstration or options.answers is not None
    folder = records_folder(options.records, demo=demonstration)
    try:
        if options.answers is not None:
            return _by_answers(options, ready, folder)
        return _on_screen(options, ready, folder, demonstration=demonstration)
    except NotRecorded as error:
        say(str(error))
        return 2


def job_of(ready: Ready, journal: Journal | Nowhere, clock: Clock, *, record: Path | None, by: str, notice: str) -> Job:
    """A run in progress; its status sheet, pictures and signatures go with its record, if it has one."""
    procedure, car = ready.procedure, ready.car
    sheet = record.with_suffix(".status.txt") if record is not None else None
    pictures = Pictures(home() / "pictures", record.with_suffix(".pictures")) if record is not None else None

    def picture(state: State, head: str, said: str) -> View:
        extras = Extras(people=car.people, car=car.name, steering=car.steering, head=head, alert=said or notice)
        if pictures is not None and _wants_picture(procedure, state):
            extras = replace(extras, pictures=pictures.newest())
        return look(procedure, state, clock.now(), extras)

    def admit(state: State, path: str) -> tuple[bool, str]:
        checked = ready.checked()
        if checked is None:
            return (True, "")
        verdict = admissible(
            checked,
            path,
            state.conditions,
            state.levels,
            remaining=_to_come(state, path),
            happened=state.happened,
            turned=state.turned,
            passed=state.passed,
            values={name: {"value": value, "source": source} for name, value, source in state.asks},
            choices=state.choices,
        )
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
        sign=_sign if record is not None else lambda _head, _at, _initials, _meaning: "",
    )


def _sign(head: str, at: str, initials: str, meaning: str) -> str:
    from runner.edge.signing import signed

    return signed(keys_folder(), head, at, initials, meaning)


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
    taken = take_over(all_runs, car, demonstration=demonstration)
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
        job = job_of(ready, journal, clock, record=journal.path, by=by, notice="")
        job.do(begin(ready, taken, demonstration=demonstration))
        if job.notice:
            say(job.notice)
            return 2
        code = on_surface(options, job, clock)
    return _goodbye(job, folder / f"{name}.jsonl", ready, code)


def _resume(
    options: argparse.Namespace, ready: Ready, old: Run, all_runs: tuple[Run, ...], clock: Clock, by: str
) -> int:
    main = _main_of(old, ready)
    again = proven(Loaded({name: text.encode() for name, text in old.begin.texts.items()}, main), ready.car)
    if isinstance(again, int):
        begun_by = f"version {old.begin.version}" if old.begin.version != VERSION else "another state of this version"
        say(f"the run was begun with {begun_by}, and its own procedure is held against the proofs of this one")
        say(f"go on with that one, or on paper: {old.path.with_suffix('.status.txt')}; --new begins another run")
        return again
    ready = again
    journal = Journal.open(old.path, by=by, since=clock.now().at)
    if isinstance(journal, Held):
        return _held(journal)
    with journal:
        torn = journal.torn
        notice = f"torn: crash or cut; {torn.size} bytes set aside in {torn.kept.name}" if torn else ""
        job = job_of(ready, journal, clock, record=old.path, by=by, notice=notice)
        if journal.record.head != old.record.head:
            say("another program went on with this run just now: start again")
            return 2
        job.state, job.head = old.state, journal.record.head
        taken = take_over(all_runs, ready.car.reference, old.name, demonstration=old.begin.demonstration)
        clean = job.state.phase == "held"
        job.do(ac.Resume(clean=clean, torn=torn is not None, by=by, heads=dict(taken.heads), version=VERSION))
        code = on_surface(options, job, clock)
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
        names = Names(ready.procedure, state)
        for text in names.open(state.ended.open):
            print(f"  open: {text}")
        for text in names.all_amiss(name for name in state.ended.unmet if name not in state.ended.open):
            print(f"  {text}")
        if state.ended.do_not_drive:
            print("  NOT TO BE DRIVEN until this is settled")
    else:
        print(f"{state.procedure}: not finished; the same command goes on with it")
    print(f"record: {path}\nfingerprint: {fingerprint(job.head.hash)}")
    if state.demonstration:
        print("DEMONSTRATION: this is not work done on a car")
    return code


def on_surface(options: argparse.Namespace, job: Job, clock: Clock) -> int:
    """Show a job in line mode or on the terminal, until it is left; the exit code."""
    do: Callable[[AnyAct], View] = job.do
    if options.plain:
        from runner.plain import run as run_plain

        return run_plain(sys.stdin, sys.stdout, do, job.peek, clock.now)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        say("this is no terminal: use --plain for the line mode, or --answers FILE")
        return 2
    from runner.screen.app import Runner
    from runner.screen.surface import show

    speak = voice() if getattr(options, "speak", False) else None
    distance, height = getattr(options, "distance", NEAR_M), getattr(options, "screen", 194.0)
    far = distance > NEAR_M
    app = Runner(
        job.peek(),
        do,
        job.peek,
        clock.now,
        panel=Panel(far=far),
        distance_m=distance if far else FAR_M,
        screen_mm=height,
        speak=speak,
    )
    return show(app)


def _by_answers(options: argparse.Namespace, ready: Ready, folder: Path) -> int:
    from runner.edge.answers import Answers, drive, read_answers

    shipped = Shelf().demo(f"demo/{ready.procedure.name}.answers.yaml")
    answers = read_answers(Path(options.answers) if options.answers else shipped)
    if not isinstance(answers, Answers):
        complain(answers)
        return 2
    clock = SteppedClock()
    taken = take_over(runs(folder)[0], ready.car.reference, demonstration=True)
    by = options.by or ready.car.people[0]
    name = f"{ready.procedure.name}-demonstration-{len(taken.heads) + 1}"
    journal = Journal.create(folder, name, by=by, since=clock.now().at)
    if isinstance(journal, Held):
        return _held(journal)
    with journal:
        job = job_of(ready, journal, clock, record=journal.path, by=by, notice="")
        job.do(begin(ready, taken, demonstration=True, salt="demonstration"))
        trouble = drive(job, ready.procedure, answers, clock)
        if trouble:
            complain(trouble)
    code = 1 if trouble else 0
    return _goodbye(job, folder / f"{name}.jsonl", ready, code)
