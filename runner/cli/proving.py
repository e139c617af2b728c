"""From files to a procedure that may run on one car: read, proven, its values bound, or what stands against it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from runner.cli.places import cars, cars_folder, home
from runner.core.bind import Bound, bind
from runner.core.finding import Finding, line_of
from runner.core.graph import Procedure
from runner.edge.carfile import Car, NotWritten, ensure_salt, read_car
from runner.edge.kept import keep, kept, key_of
from runner.edge.shelf import Loaded, Shelf
from runner.verify import Checked, bind_levels, verify

DEMO_CAR = "demo/saltmarsh-unit-7.yaml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """What a run needs before its first line: the procedure, the car, and its proof when it is asked for.

    ``checked`` gives None in a rehearsal of a procedure that is not proven.
    """

    procedure: Procedure
    checked: Callable[[], Checked | None]
    car: Car


def complain(findings: tuple[Finding, ...]) -> None:
    """Print findings where errors go."""
    for finding in findings:
        print(line_of(finding), file=sys.stderr)


def say(text: str) -> None:
    """Print a line where errors go."""
    print(text, file=sys.stderr)


def load(named: str) -> Loaded | None:
    """The files of the procedure of that name or path; None after saying what is wrong."""
    loaded = Shelf().load(named)
    if isinstance(loaded, Loaded):
        return loaded
    complain(loaded)
    return None


def understood(loaded: Loaded) -> Procedure | None:
    """The procedure of those files; None after saying what is wrong."""
    from runner.edge.reader import read  # not needed where the proof was kept

    procedure = read(loaded.files, loaded.main)
    if isinstance(procedure, Procedure):
        return procedure
    complain(procedure)
    return None


def proven(loaded: Loaded, car: Car) -> Ready | int:
    """The procedure, proven for every car and for this one; else the exit code, after saying why."""
    folder, key = home() / "kept", key_of(loaded.files, loaded.main, car.asks)
    procedure = kept(folder, key)
    if procedure is not None:
        return Ready(procedure=procedure, checked=_proof_of(procedure), car=car)
    procedure = understood(loaded)
    if procedure is None:
        return 2
    result = verify(procedure)
    if not isinstance(result, Checked):
        complain(result)
        say(f"{procedure.name} is not proven on every path: it does not run; 'witnessmark rehearse' walks through it")
        return 1
    code = fits(procedure, result, car)
    if code:
        return code
    keep(folder, key, procedure)
    return Ready(procedure=procedure, checked=lambda: result, car=car)


def for_rehearsal(options: argparse.Namespace) -> Ready | int:
    """The procedure, proven or not (which is said), and its car; else the exit code, after saying why."""
    loaded = load(options.procedure)
    procedure = understood(loaded) if loaded is not None else None
    car = car_of(options, loaded) if loaded is not None and procedure is not None else None
    if procedure is None or car is None:
        return 2
    result = verify(procedure)
    checked = result if isinstance(result, Checked) else None
    if checked is None and isinstance(result, tuple):
        complain(result)
        say("not proven: this rehearsal may lead where a run never may")
    code = fits(procedure, checked, car)
    return code or Ready(procedure=procedure, checked=lambda: checked, car=car)


def _proof_of(procedure: Procedure) -> Callable[[], Checked | None]:
    @cache
    def proof() -> Checked | None:
        result = verify(procedure)
        return result if isinstance(result, Checked) else None

    return proof


def asked(procedure: Procedure) -> frozenset[str]:
    """The names of all values that the procedure and its fragments ask for."""
    return frozenset(a for p in (procedure, *procedure.fragments.values()) for a in p.asks)


def fits(procedure: Procedure, checked: Checked | None, car: Car) -> int:
    """0 if the values of the car fit and the levels hold with them; else the exit code, after saying why."""
    known = {k: v for k, v in car.asks.items() if k.partition("@")[0] in asked(procedure)}
    for owner in (procedure, *procedure.fragments.values()):
        mine = {k: v for k, v in known.items() if k.partition("@")[0] in owner.asks}
        result = bind(owner, mine, car.places)
        if not isinstance(result, Bound):
            complain(result)
            return 2
    if checked is not None:
        wrong = tuple(f for f in bind_levels(checked, known) if f.severity == "error")
        if wrong:
            complain(wrong)
            say(f"with the values of {car.name} the levels of {procedure.name} are not proven: it does not run")
            return 1
    return 0


def car_of(options: argparse.Namespace, loaded: Loaded) -> Car | None:
    """The car that was named, the only one, the invented one, or one made now; None after saying why."""
    path = _car_path(options, loaded)
    if path is None:
        return None
    car = read_car(path)
    if not isinstance(car, Car):
        complain(car)
        return None
    complain(car.warnings)
    if car.salt:
        return car
    try:
        ensure_salt(path)
    except NotWritten as error:
        say(str(error))
        return None
    again = read_car(path)
    return again if isinstance(again, Car) else None


def _car_path(options: argparse.Namespace, loaded: Loaded) -> Path | None:
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

    procedure = understood(loaded)
    return None if procedure is None else make_here(procedure, cars_folder())
