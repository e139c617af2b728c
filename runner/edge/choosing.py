"""Which runs are meant: by car, procedure, person and date, told from the first line of each record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from runner.core.act import Begin
from runner.core.entry import entry
from runner.core.gaterows import on_one_line
from runner.core.line import decode_line
from runner.edge.carfile import Car, read_car

_LONGEST = 1 << 26


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a reader asks for; what is empty asks for everything. Dates are days of UTC, both ends count.

    `unfinished` leaves the runs that are not over, or ended with something open.
    """

    car: str = ""
    procedure: str = ""
    person: str = ""
    since: str = ""
    until: str = ""
    unfinished: bool = False

    def begins(self, begin: Begin) -> bool:
        """Whether the run is on that car and of that procedure."""
        return self.car in ("", begin.car) and self.procedure in ("", begin.procedure)

    def covers(self, first: str, last: str) -> bool:
        """Whether anything from the first time to the last falls on the days that are meant."""
        return (not self.since or last[:10] >= self.since) and (not self.until or first[:10] <= self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A record by its first line: when, by whom, and what began it."""

    path: Path
    at: str
    by: str
    begin: Begin


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The records that are meant, and a line for each that cannot be told."""

    runs: tuple[Started, ...]
    troubles: tuple[str, ...]


def car_reference(named: str) -> str:
    """The reference under which records know a car: of a car's file, else the text itself."""
    car = read_car(Path(named)) if named.endswith((".yaml", ".yml")) else None
    return car.reference if isinstance(car, Car) else named


def choose(folder: Path, wanted: Wanted) -> Chosen:
    """The records of a folder that are on that car and of that procedure; their days are not looked at."""
    runs: list[Started] = []
    troubles: list[str] = []
    for path in sorted(folder.glob("*.jsonl")):
        one = _started(path)
        if isinstance(one, str):
            troubles.append(f"{path}: {one}")
        elif wanted.begins(one.begin):
            runs.append(one)
    return Chosen(runs=tuple(runs), troubles=tuple(troubles))


def _started(path: Path) -> Started | str:
    try:
        with open(path, "rb") as file:
            first = entry(decode_line(file.readline(_LONGEST)))
    except OSError as error:
        return f"cannot be read: {error.strerror or 'unknown trouble'}"
    except (ValueError, RecursionError) as error:
        return on_one_line(f"its first line cannot be told: {error}: 'witnessmark audit verify' says more")
    if not isinstance(first.act, Begin):
        return "a record begins with the start of its run"
    return Started(path=path, at=on_one_line(first.stamp.at), by=on_one_line(first.by), begin=first.act)
