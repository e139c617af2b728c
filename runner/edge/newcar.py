"""The lead-in to a run without a car: question by question into a small file, which keeps every answer at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path

import msgspec

from runner.core.bind import MEASURED, NOT_KNOWN, bind, keys_of, take
from runner.core.finding import Finding, clean, line_of, quote
from runner.core.gauging import instrument
from runner.core.graph import Ask, Procedure, Reading, Step, spoken, walk
from runner.core.quantity import DIMENSIONS, Dimension
from runner.core.units import Unclear, parse_quantity, parse_unit, units_of
from runner.core.vin import check as check_vin
from runner.edge.carfile import UNREADABLE, Car, NotWritten, add_ask, add_instrument, new_car, read_car

Answering = Callable[[str, str, tuple[str, ...]], str]
"""Puts one question: its prompt, what was wrong with the answer before (or a hint), and the answers if it has any."""
Judge = Callable[[str], str | Unclear]

BEGUN = ".begun-car.json"
"""Holds the first answers until they are enough for a file."""
YES, NO = "yes, as on the car", "no, type it again"
_INITIALS = re.compile(r"[A-Z]{2,4}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_LONGEST = 60


def make_car(ask: Answering, folder: Path, procedure: Procedure) -> Path:
    """The file of a car, made by questions: who it is, the person, every ask of the procedure, its instruments.

    Whatever `ask` raises stops it; what was answered stays, and the same call goes on from there as long as the
    first five answers are not complete, `fill` afterwards. Raises NotWritten if the disk refuses.
    """
    path = _identity(ask, folder)
    fill(ask, path, procedure)
    return path


def fill(ask: Answering, path: Path, procedure: Procedure) -> None:
    """Ask for what the car's file does not hold yet of the values and instruments of a procedure.

    An empty answer leaves the value not known yet.
    """
    car = read_car(path)
    if not isinstance(car, Car):
        raise NotWritten(line_of(car[0]))
    owners = (procedure, *procedure.fragments.values())
    known = {name: dict(entry) for name, entry in car.asks.items()}
    for key, one in _asks(owners).items():
        if key not in known:
            _value(ask, path, key, one, owners, known)
    has = {card["what"] for card in car.instruments.values()}
    names = set(car.instruments)
    for kind, dimension in _instruments(owners).items():
        if kind not in has:
            _instrument(ask, path, kind, dimension, names)


def _until(ask: Answering, prompt: str, hint: str, options: tuple[str, ...], judge: Judge) -> str:
    """The first answer that is in order; each other gets its message and the question again."""
    while True:
        typed = " ".join(clean(ask(prompt, hint, options)).split())
        taken = _picked(typed, options) if options else typed
        judged = taken if isinstance(taken, Unclear) else judge(taken)
        if not isinstance(judged, Unclear):
            return judged
        hint = f"{judged.why}: {judged.help}"


def _picked(typed: str, options: tuple[str, ...]) -> str | Unclear:
    if typed in options or not typed:
        return typed
    if typed.isascii() and typed.isdigit() and 1 <= int(typed) <= len(options):
        return options[int(typed) - 1]
    return Unclear(typed, f"{quote(typed)} is not one of the answers", f"type 1 to {len(options)}")


def _needed(text: str) -> str | Unclear:
    return text or Unclear(text, "nothing was typed", "an answer is needed here")


# ── who the car is ───────────────────────────────────────────────────────────────────────────────


def _identity(ask: Answering, folder: Path) -> Path:
    begun = folder / BEGUN
    got = _begun(begun)
    if got and _until(ask, f"go on with {quote(got['name'])}, which was begun", "", ("yes", "no"), _needed) == "no":
        got = {}
    questions: tuple[tuple[str, Callable[[], str]], ...] = (
        ("name", lambda: _until(ask, "what the car is called in the shop", "", (), _name)),
        ("vin", lambda: _vin(ask)),
        ("steering", lambda: _until(ask, "steering wheel, as the driver sits", "", ("left", "right"), _needed)),
        ("odometer", lambda: _until(ask, "odometer, with its unit", "empty: it cannot be read", (), _odometer)),
        ("initials", lambda: _until(ask, "your initials", "they stand in the records", (), _initials)),
    )
    for name, question in questions:
        if name not in got:
            got[name] = question()
            _keep(begun, got)
    path = _free(folder, got["name"])
    new_car(path, **got)
    with suppress(OSError):
        begun.unlink()
    return path


def _begun(path: Path) -> dict[str, str]:
    try:
        got = msgspec.json.decode(path.read_bytes(), type=dict[str, str])
    except (OSError, ValueError):
        return {}
    return got if "name" in got else {}


def _keep(path: Path, got: Mapping[str, str]) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.touch(0o600)
        path.write_bytes(msgspec.json.encode(got))
    except OSError as error:
        raise NotWritten(f"{path}: cannot be written: {error.strerror}") from error


def _vin(ask: Answering) -> str:
    hint = f"17 characters, from the plate; empty: {UNREADABLE}"
    while True:
        typed = _until(ask, "vehicle identification number", hint, (), _readable)
        if not typed:
            return UNREADABLE
        vin = check_vin(typed)
        if _until(ask, f"it reads {vin.groups}: so", vin.warning, (YES, NO), _needed) == YES:
            return vin.normalised
        hint = "compare it with the plate, group by group"


def _readable(text: str) -> str | Unclear:
    problems = check_vin(text).problems
    if not text or not problems:
        return text
    at = f", character {problems[0].position}" if problems[0].position else ""
    return Unclear(text, f"{problems[0].why}{at}", problems[0].help)


def _name(text: str) -> str | Unclear:
    if len(text) > _LONGEST:
        return Unclear(text, "this name is too long", f"type at most {_LONGEST} characters")
    return _needed(text)


def _odometer(text: str) -> str | Unclear:
    if not text:
        return ""
    typed = parse_quantity(text, DIMENSIONS["length"])
    if isinstance(typed, Unclear):
        return typed
    if typed.unit.symbol not in ("km", "mi"):
        return Unclear(text, f"an odometer does not count in {typed.unit.symbol}", "type km or mi behind the number")
    if typed.quantity.lo < 0 or len(text) > _LONGEST // 2:
        return Unclear(text, "no odometer shows this", "type what it shows, for example 182000 km")
    return text


def _initials(text: str) -> str | Unclear:
    capitals = text.upper() if text.isascii() else text
    if _INITIALS.fullmatch(capitals):
        return capitals
    return Unclear(text, f"{quote(text)} are no initials", "type two to four letters, for example AB")


def _free(folder: Path, name: str) -> Path:
    """A name for the file that is not taken."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "car"
    number, path = 1, folder / f"{slug}.yaml"
    while path.exists() or path.is_symlink():
        number += 1
        path = folder / f"{slug}-{number}.yaml"
    return path


# ── what the procedure asks ──────────────────────────────────────────────────────────────────────


def _asks(owners: tuple[Procedure, ...]) -> dict[str, Ask]:
    """Every key that is asked for, in the order of the author."""
    found: dict[str, Ask] = {}
    for owner in owners:
        for one in owner.asks.values():
            for key in keys_of(one):
                found.setdefault(key, one)
    return found


def _value(
    ask: Answering, path: Path, key: str, one: Ask, owners: tuple[Procedure, ...], known: dict[str, dict[str, str]]
) -> None:
    member = key.partition("@")[2]
    prompt = clean(one.what).strip().rstrip(".") + (f", {spoken(member)}" if member else "")
    hint = "empty: not known yet"
    if one.kind == "quantity" and one.unit is not None:
        prompt += f", in {one.unit.symbol}"
        hint = f"another unit may be typed behind the number; {hint}"
    options = one.options if one.kind == "choice" else tuple(one.orders or ())
    if options and one.unknown:
        options = (*options, NOT_KNOWN)
    sources = (*one.sources, *((MEASURED,) if one.measured else ()))
    while True:
        typed = _until(ask, prompt, hint, options, lambda text: _taken(one, text))
        if typed in ("", NOT_KNOWN):
            return
        source = _until(ask, "where it was read", "", sources, _needed)
        entry = {"value": typed, "source": source}
        wrong = _misfit(owners, known, key, entry)
        if wrong is None:
            break
        hint = f"{wrong.text}: {wrong.help}"
    add_ask(path, key, typed, source)
    known[key] = entry


def _taken(one: Ask, text: str) -> str | Unclear:
    """The text as it is kept, with its unit, or what is wrong with it."""
    taken = take(one, text)
    if isinstance(taken, Unclear):
        return taken
    if taken is None or one.kind != "quantity" or one.dimension is None or one.unit is None:
        return text
    return text if not isinstance(parse_quantity(text, one.dimension), Unclear) else f"{text} {one.unit.symbol}"


def _misfit(
    owners: tuple[Procedure, ...], known: Mapping[str, Mapping[str, str]], key: str, entry: Mapping[str, str]
) -> Finding | None:
    """What comes to be wrong with the values of the car through this one."""
    for owner in owners:
        before = {name: each for name, each in known.items() if name.partition("@")[0] in owner.asks}
        was, now = bind(owner, before), bind(owner, before | {key: entry})
        if isinstance(now, tuple) and key.partition("@")[0] in owner.asks:
            standing = was if isinstance(was, tuple) else ()
            return next((finding for finding in now if finding not in standing), None)
    return None


# ── instruments ──────────────────────────────────────────────────────────────────────────────────


def _instruments(owners: tuple[Procedure, ...]) -> dict[str, Dimension]:
    """The kinds of instruments that readings are taken with."""
    return {kind: reading.dimension for owner in owners for reading in _readings(owner) for kind in reading.instruments}


def _readings(owner: Procedure) -> Iterator[Reading]:
    for node in walk(owner.body):
        if isinstance(node, Step) and isinstance(node.gate, Reading):
            yield node.gate


def _instrument(ask: Answering, path: Path, kind: str, dimension: Dimension, names: set[str]) -> None:
    def unused(text: str) -> str | Unclear:
        return Unclear(text, f"{quote(text)} is taken", "give each instrument its own name") if text in names else text

    def in_unit(text: str) -> str | Unclear:
        unit = parse_unit(text, dimension)
        return unit if isinstance(unit, Unclear) else unit.symbol

    def erring(text: str) -> str | Unclear:
        made = instrument(name, {"what": kind, "unit": unit, "error": text}, dimension)
        if isinstance(made, Unclear):
            return made
        amounts = [e for e in (made.mpe.lo if made.mpe else None, made.mpe_relative) if e is not None]
        if not amounts or min(amounts) < 0:
            return Unclear(text, "no error is stated", f"type an amount or a share, for example 1 {unit} or 4 %")
        return text

    def day(text: str) -> str | Unclear:
        if not text or _DAY.fullmatch(text):
            return text
        return Unclear(text, f"{quote(text)} is not a day", "type it as 2027-01-31")

    name = _until(ask, f"{kind}: its name in the shop", "empty: there is none at hand", (), unused)
    if not name:
        return
    usual = " or ".join(unit.symbol for unit in units_of(dimension)[:3])
    unit = _until(ask, f"{name}: unit of its scale", usual, (), in_unit)
    error = _until(ask, f"{name}: permissible error", f"for example 1 {unit} or 4 %", (), erring)
    due = _until(ask, f"{name}: calibration due", "as 2027-01-31; empty: not calibrated", (), day)
    add_instrument(path, name, {"what": kind, "unit": unit, "error": error} | ({"due": due} if due else {}))
    names.add(name)
