"""A reading or a choice is taken before it is used.

A choice dies at the end of a turn of its block; a reading of a block stays as that of its corner. Inside the block
its plain name means the corner that is here. What a step tells a person to do shows no value that was not taken.
(The definite assignment of programming languages, JLS chapter 16.)

Bad:
    steps:
      ask: {do: Look at the fluid., place: wheel, choose: {ask: Is it worth a look?, options: ["yes", "no"]}, next: {"yes": colour, "no": way}}
      colour: {do: Look at its colour., place: wheel, choose: {ask: Which is it?, options: [clear, dark], as: seen}, next: way}
      way: {do: Wipe the can., place: wheel, next: {ask: seen, clear: end, dark: end}}
      end: {end: done, say: It is done.}

Good:
    steps:
      colour: {do: Look at its colour., place: wheel, choose: {ask: Which is it?, options: [clear, dark], as: seen}, next: way}
      way: {do: Wipe the can., place: wheel, next: {ask: seen, clear: end, dark: end}}
      end: {end: done, say: It is done.}

Source: The Java Language Specification, chapter 16
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import narrow
from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.expressions import names_of, shown_by
from runner.verify.fields import UNSET, Field
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """The choices on which a station branches, and the readings in its formulas."""
    step = station.step
    if step is None or station.kind != "step":
        return
    own = getattr(step.gate, "name", None)
    subject = step.branch.subject
    choice = case.layout.fields.get(f"choice {subject}")
    if choice is not None and subject != own and f"ask {subject}" not in case.layout.fields:
        yield _claim(station, (choice.bits(UNSET),), subject, "choice")
    for name in names_of(station.owner, step):
        fields = _fields(case, station, name)
        if fields and name != own:
            yield _claim(station, tuple(f.bits(UNSET) for f in fields), name, "reading")
    for name in shown_by(station.owner, step):
        kept = case.layout.fields.get(f"choice {name}")
        fields = (kept,) if kept is not None else _fields(case, station, name)
        if fields and name != own:
            yield _claim(station, tuple(f.bits(UNSET) for f in fields), name, "value")


def _fields(case: Case, station: Station, name: str) -> tuple[Field, ...]:
    """The readings that the name may mean; it has a value if one of them was taken."""
    base, _, at = name.partition("@")
    here = at or station.here
    members = (here, narrow(here, "axle"), narrow(here, "side"))
    keys = dict.fromkeys((*(f"reading {base}@{m}" for m in members if m), f"reading {base}"))
    return tuple(case.layout.fields[k] for k in keys if k in case.layout.fields)


def _claim(station: Station, bad: tuple[int, ...], name: str, kind: str) -> Claim:
    assert station.step is not None
    return Claim(
        check="unset",
        edge=ENTRY,
        bad=bad,
        place=station.step.place,
        key=name,
        text=f"the {kind} '{name}' is used here, but a path comes without it",
        help="let every path that leads here take it first; a choice lasts for one turn of its block",
    )
