"""The file of one car: read with places, written back without losing a comment or another program's change."""

from __future__ import annotations

import codecs
import os
import secrets
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import msgspec

from runner.core.finding import Finding, Place, clean, line_of
from runner.core.vin import check as check_vin
from runner.edge.disk import NotRecorded, content, in_words, sync_folder
from runner.edge.encoding import LARGEST
from runner.edge.schema import schema
from runner.edge.shape import check_shape
from runner.edge.splice import Unchangeable, splice
from runner.edge.swap import locked, replace
from runner.edge.text import Map, Node, Scalar, Seq, load

UNREADABLE = "cannot be read"
"""Stands in the place of a vehicle's number that nobody can read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """A car's file, understood. ``asks`` map ``name`` or ``name@RR`` to value and source as typed."""

    path: Path
    name: str
    vin: str
    steering: str
    odometer: str
    demonstration: bool
    salt: str
    asks: Mapping[str, Mapping[str, str]]
    places: Mapping[str, Place]
    instruments: Mapping[str, Mapping[str, str]]
    people: tuple[str, ...]
    parts: Mapping[str, int]
    conditions: Mapping[str, str]
    warnings: tuple[Finding, ...]

    @property
    def reference(self) -> str:
        """How records name the car: a salted hash, so that they hold no number plate and no VIN."""
        return sha256(f"{self.salt}|{self.vin}".encode()).hexdigest()[:16]


def read_car(path: Path) -> Car | tuple[Finding, ...]:
    """The car of a file, or what is wrong with it."""
    here = Place(str(path), 1, 1)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            return (_finding(here, "is not a plain file", "name the .yaml file of a car"),)
        if status.st_size > LARGEST:
            return (_finding(here, f"larger than {LARGEST} bytes", "a car's file is a few kilobytes of text"),)
        data = path.read_bytes()
    except OSError as error:
        why = error.strerror or "unknown trouble"
        return (_finding(here, f"cannot be read: {why}", "check the name and the permissions"),)
    root = _sound(data, path)
    return root if isinstance(root, tuple) else _car(path, root)


def _sound(data: bytes, path: Path) -> Node | tuple[Finding, ...]:
    """The tree of a car's file that has the right shape, or what is wrong with it."""
    root = load(data, str(path))
    return root if isinstance(root, tuple) else check_shape(root, schema("car")) or root


def _car(path: Path, root: Node) -> Car | tuple[Finding, ...]:
    plain = _plain(root)
    car = plain["car"]
    vin = check_vin(car["vin"])
    unread = car["vin"] == UNREADABLE
    places: dict[str, Place] = {}
    asks, twice = _asks(root, places)
    at = root.get("car") if isinstance(root, Map) else None
    vin_node = at.get("vin") if isinstance(at, Map) else None
    vin_place = vin_node.place if vin_node is not None else Place(str(path), 1, 1)
    if vin.problems and not unread:
        return tuple(Finding(place=vin_place, check="vin", text=p.why, help=p.help) for p in vin.problems)
    doubt = Finding(place=vin_place, check="vin", text=vin.warning, help="read it once more", severity="warning")
    if unread:
        doubt = Finding(
            place=vin_place,
            check="vin",
            text="the vehicle's number could not be read: records tell this car by this file alone",
            help="write the number here once it can be read, before a run begins",
            severity="warning",
        )
    doubts = ((doubt,) if vin.warning or unread else ()) + twice
    return Car(
        path=path,
        name=car["name"],
        vin="" if unread else vin.normalised,
        steering=car["steering"],
        odometer=car.get("odometer", ""),
        demonstration=plain.get("demonstration") == "true",
        salt=plain.get("salt", ""),
        asks=asks,
        places=places,
        instruments=plain.get("instruments") or {},
        people=tuple(p["initials"] for p in plain["people"]),
        parts={k: int(v) for k, v in (plain.get("parts") or {}).items()},
        conditions={
            k: "T" if v == "true" else "F" for k, v in ((plain.get("state") or {}).get("conditions") or {}).items()
        },
        warnings=doubts,
    )


def _finding(place: Place, text: str, mend: str) -> Finding:
    return Finding(place=place, check="file", text=text, help=mend)


def _plain(node: Node) -> Any:
    match node:
        case Scalar(value=value):
            return value
        case Seq(items=items):
            return [_plain(i) for i in items]
        case Map(entries=entries):
            return {key.value: _plain(value) for key, value in entries}


def _asks(root: Node, places: dict[str, Place]) -> tuple[dict[str, dict[str, str]], tuple[Finding, ...]]:
    """Values by name or ``name@RR``; one that has a key of its own counts before one in the list of its ask."""
    own: dict[str, dict[str, str]] = {}
    listed: dict[str, dict[str, str]] = {}
    listed_places: dict[str, Place] = {}
    table = root.get("asks") if isinstance(root, Map) else None
    for key, ask in table.entries if isinstance(table, Map) else ():
        if not isinstance(ask, Map):
            continue
        source, value = ask.get("source"), ask.get("value")
        said = source.value if isinstance(source, Scalar) else ""
        if isinstance(value, Scalar):
            own[key.value] = {"value": value.value, "source": said}
            places[key.value] = value.place
        elif isinstance(value, Map):
            for member, one in value.entries:
                if isinstance(one, Scalar):
                    listed[f"{key.value}@{member.value}"] = {"value": one.value, "source": said}
                    listed_places[f"{key.value}@{member.value}"] = one.place
    twice = tuple(
        Finding(
            place=listed_places[name],
            check="twice",
            text=f"'{name}' has a value here and one under a key of its own, which counts",
            help="take this one out",
            severity="warning",
            related=((places[name], "the one that counts"),),
        )
        for name in listed
        if name in own
    )
    places |= {name: place for name, place in listed_places.items() if name not in own}
    return listed | own, twice


# ── writing ──────────────────────────────────────────────────────────────────────────────────────


class NotWritten(Exception):
    """The car's file could not be written; it is as it was."""


def add_ask(path: Path, name: str, value: str, source: str) -> None:
    """Put a value with its source into the file, whatever others have put there since it was read."""
    value, source = clean(value).strip(), clean(source).strip()
    base, _, member = name.partition("@")

    def change(document: dict[str, Any]) -> None:
        asks = document.setdefault("asks", {})
        listed = asks.get(base, {})
        if member and name not in asks and listed.get("source") == source and isinstance(listed.get("value"), dict):
            listed["value"][member] = value
        else:
            # A source of its own: the other corners were not read there.
            asks[name] = {"value": value, "source": source}

    amend(path, change)


def add_instrument(path: Path, name: str, card: Mapping[str, str]) -> None:
    """Put a measuring instrument into the file: its kind, unit and permissible error."""

    def change(document: dict[str, Any]) -> None:
        document.setdefault("instruments", {})[clean(name)] = {key: clean(value) for key, value in card.items()}

    amend(path, change)


def ensure_salt(path: Path) -> str:
    """The secret of the file; one is made and written where there is none yet."""
    salts: list[str] = []

    def change(document: dict[str, Any]) -> None:
        salts.append(document.setdefault("salt", secrets.token_hex(16)))

    amend(path, change)
    return salts[-1]


def amend(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Read, change and write back under a lock; where nothing is changed every byte stays.

    The content is given as plain mappings, lists and texts; values may be replaced and entries added. Raises
    NotWritten with what is wrong, and the file is as it was.
    """
    try:
        with in_words(path):
            real = Path(os.path.realpath(path, strict=True))
            while not _amended(path, real, change):
                pass
    except NotRecorded as error:
        raise NotWritten(f"{error.why}: {error.mend}") from error


def _amended(path: Path, real: Path, change: Callable[[dict[str, Any]], None]) -> bool:
    """Whether the change is in the file; if not, a program that keeps no lock wrote to it meanwhile."""
    with locked(real) as descriptor:
        before = content(descriptor)
        wanted = _plain(_right(before, path))
        old = _plain(_right(before, path))
        change(wanted)
        if wanted == old:
            return True
        mark = codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b""
        try:
            data = mark + splice(before.decode("utf-8-sig"), wanted).encode()
        except Unchangeable as error:
            raise NotWritten(f"{path}: {error}: change the file by hand") from error
        if _plain(_right(data, path)) != wanted:
            raise NotWritten(f"{path}: the change cannot be made without touching the rest: change the file by hand")
        if real.read_bytes() != before:
            return False
        replace(real, data, os.fstat(descriptor))
        return True


def _right(data: bytes, path: Path) -> Node:
    root = _sound(data, path)
    if isinstance(root, tuple):
        raise NotWritten(line_of(root[0]))
    return root


def new_car(path: Path, *, name: str, vin: str, steering: str, odometer: str, initials: str) -> None:
    """Write the smallest file a car can have; NotWritten if there is one already or the disk refuses."""
    text = (
        "# The file of one car. Names, phone and plate stay here and reach no record.\n"
        f"car:\n  name: {_quoted(name)}\n  vin: {_quoted(vin)}\n  steering: {_quoted(steering)}\n"
        + (f"  odometer: {_quoted(odometer)}\n" if odometer else "")
        + f"salt: {secrets.token_hex(16)}\n"
        f"people:\n  - initials: {_quoted(initials)}\n"
        "asks: {}\n"
        "# instruments:\n"
        "#   small torque wrench: {what: torque wrench, unit: N m, error: 4 %, due: 2027-01-31}\n"
    ).encode()
    _right(text, path)
    try:
        with in_words(path):
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            try:
                descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            except FileExistsError as error:
                raise NotWritten(f"{path}: there is a file of that name already: choose another name") from error
            try:
                with os.fdopen(descriptor, "wb") as file:
                    file.write(text)
                    file.flush()
                    os.fsync(descriptor)
                sync_folder(path.parent)
            except BaseException:
                path.unlink(missing_ok=True)
                raise
    except NotRecorded as error:
        raise NotWritten(f"{error.why}: {error.mend}") from error


def _quoted(text: str) -> str:
    return msgspec.json.encode(clean(text)).decode()
