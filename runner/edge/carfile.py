"""The file of one car: read with places, written back without losing a comment or another program's change."""

from __future__ import annotations

import fcntl
import io
import os
import secrets
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec

from runner.core.finding import Finding, Place
from runner.core.vin import check as check_vin
from runner.edge.shape import check_shape
from runner.edge.text import Map, Node, Scalar, Seq, load

LARGEST = 2_000_000


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


def schema() -> Mapping[str, object]:
    """The schema of a car's file."""
    loaded: Mapping[str, object] = msgspec.json.decode(schema_text("car.schema.json"))
    return loaded


def schema_text(name: str) -> bytes:
    """A shipped schema: beside the package in a source tree, in the package when installed."""
    beside = Path(__file__).parents[2] / "schemas" / name
    if beside.is_file():
        return beside.read_bytes()
    return (resources.files("runner._schemas") / name).read_bytes()


def read_car(path: Path) -> Car | tuple[Finding, ...]:
    """The car of a file, or what is wrong with it."""
    here = Place(str(path), 1, 1)
    try:
        if path.stat().st_size > LARGEST:
            return (_finding(here, f"larger than {LARGEST} bytes", "a car's file is a few kilobytes of text"),)
        data = path.read_bytes()
    except OSError as error:
        why = error.strerror or "unknown trouble"
        return (_finding(here, f"cannot be read: {why}", "check the name and the permissions"),)
    root = load(data, str(path))
    if isinstance(root, tuple):
        return root
    wrong = check_shape(root, schema())
    if wrong:
        return wrong
    return _car(path, root)


def _car(path: Path, root: Node) -> Car | tuple[Finding, ...]:
    plain = _plain(root)
    car = plain["car"]
    vin = check_vin(car["vin"])
    places: dict[str, Place] = {}
    asks = _asks(root, places)
    at = root.get("car") if isinstance(root, Map) else None
    vin_node = at.get("vin") if isinstance(at, Map) else None
    vin_place = vin_node.place if vin_node is not None else Place(str(path), 1, 1)
    if vin.problems:
        return tuple(Finding(place=vin_place, check="vin", text=p.why, help=p.help) for p in vin.problems)
    doubt = Finding(place=vin_place, check="vin", text=vin.warning, help="read it once more", severity="warning")
    return Car(
        path=path,
        name=car["name"],
        vin=vin.normalised,
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
        warnings=(doubt,) if vin.warning else (),
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


def _asks(root: Node, places: dict[str, Place]) -> dict[str, dict[str, str]]:
    asks: dict[str, dict[str, str]] = {}
    table = root.get("asks") if isinstance(root, Map) else None
    for key, ask in table.entries if isinstance(table, Map) else ():
        if not isinstance(ask, Map):
            continue
        source, value = ask.get("source"), ask.get("value")
        said = source.value if isinstance(source, Scalar) else ""
        if isinstance(value, Scalar):
            asks[key.value] = {"value": value.value, "source": said}
            places[key.value] = value.place
        elif isinstance(value, Map):
            for member, one in value.entries:
                if isinstance(one, Scalar):
                    asks[f"{key.value}@{member.value}"] = {"value": one.value, "source": said}
                    places[f"{key.value}@{member.value}"] = one.place
    return asks


# ── writing ──────────────────────────────────────────────────────────────────────────────────────


class NotWritten(Exception):
    """The car's file could not be written; it is as it was."""


def add_ask(path: Path, name: str, value: str, source: str) -> None:
    """Put a value with its source into the file, whatever others have put there since it was read."""
    plain, _, member = name.partition("@")

    def change(document: Any) -> None:
        asks = document.setdefault("asks", {})
        if member:
            entry = asks.setdefault(plain, {"value": {}, "source": source})
            if not isinstance(entry.get("value"), dict):
                entry["value"] = {}
            entry["value"][member] = value
            entry["source"] = source
        else:
            asks[plain] = {"value": value, "source": source}

    amend(path, change)


def amend(path: Path, change: Callable[[Any], None]) -> None:
    """Read, change and write back under a lock: comments, order and quoting of the rest stay."""
    from ruamel.yaml import YAML  # the round trip is slow to set up and only needed where a file is written

    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = 120
    lock = path.with_name(f".{path.name}.lock")
    try:
        descriptor = os.open(lock, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise NotWritten(f"{path}: cannot be written: {error.strerror}") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        document = yaml.load(path.read_text("utf-8"))
        change(document)
        text = io.StringIO()
        yaml.dump(document, text)
        _replace(path, text.getvalue())
    except OSError as error:
        raise NotWritten(f"{path}: cannot be written: {error.strerror}") from error
    finally:
        os.close(descriptor)


def _replace(path: Path, text: str) -> None:
    """All of the new text or all of the old, also after a power cut."""
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise


def new_car(path: Path, *, name: str, vin: str, steering: str, odometer: str, initials: str) -> None:
    """Write the smallest file a car can have; NotWritten if there is one already or the disk refuses."""
    text = (
        "# The file of one car. Names, phone and plate stay here and reach no record.\n"
        f"car:\n  name: {_quoted(name)}\n  vin: {_quoted(vin)}\n  steering: {steering}\n  odometer: {_quoted(odometer)}\n"
        f"salt: {secrets.token_hex(16)}\n"
        f"people:\n  - initials: {initials}\n"
        "asks: {}\n"
        "# instruments:\n"
        "#   small torque wrench: {what: torque wrench, unit: N m, error: 4 %, due: 2027-01-31}\n"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with open(path, "x", encoding="utf-8") as file:
            os.fchmod(file.fileno(), 0o600)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise NotWritten(f"{path}: cannot be written: {error.strerror}") from error


def _quoted(text: str) -> str:
    return msgspec.json.encode(text).decode()
