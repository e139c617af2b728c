"""The rules of a procedure hold on every path.

`only_after`: the first never happens before the second, in the same run and on the same member; if both stand in
one block, in the same turn. `must_follow`: after the first comes the second before `done`. `at_most_one` and
`never_together`: when one is made, the others are known not to be. `at_end`: true (or false) at `done`.
What an override leaves undone has not happened.

Bad:
    rules:
      - {only_after: {deed: pours, after: {deed: shakes}}, why: The sediment must be mixed in.}
    steps:
      ask: {do: Look at the can., place: wheel, choose: {ask: Is it mixed?, options: ["yes", "no"]}, next: {"yes": pour, "no": shake}}
      shake: {do: Shake the can., place: wheel, deeds: [shakes], next: pour}
      pour: {do: Pour the can out., place: wheel, deeds: [pours], next: end}
      end: {end: done, say: It is done.}

Good:
    rules:
      - {only_after: {deed: pours, after: {deed: shakes}}, why: The sediment must be mixed in.}
    steps:
      shake: {do: Shake the can., place: wheel, deeds: [shakes], next: pour}
      pour: {do: Pour the can out., place: wheel, deeds: [pours], next: end}
      end: {end: done, say: It is done.}

Source: dominance on a flow graph (Kildall 1973 for the method)
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.core.graph import HERE, MEMBERS, End, Ref, Rule
from runner.verify.claim import ENTRY, Case, Claim, back
from runner.verify.fields import alike, meant, member_of
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """What the rules forbid on the edges of a station, and what they owe at an end."""
    done = isinstance(station.node, End) and station.node.kind == "done"
    for at, rule in enumerate(case.procedure.rules):
        match rule.kind:
            case "only_after":
                yield from _only_after(case, station, at, rule)
            case "must_follow" if done or station.kind == "exit":
                yield from _owed(case, at, rule)
            case "at_end" if done or station.kind == "exit":
                yield from _at_end(case, rule)
            case "at_most_one" | "never_together":
                yield from _together(case, station, rule)
            case _:
                pass


def _only_after(case: Case, station: Station, at: int, rule: Rule) -> Iterator[Claim]:
    assert rule.what is not None
    for nth, edge in enumerate(station.edges):
        for op in edge.ops:
            if op.verb != rule.what.on or not meant(rule.what, op.told):
                continue
            field = case.layout.monitors[at, member_of(op.told)]
            yield Claim(
                check="rule",
                edge=ENTRY if op.verb == "step" else nth,
                bad=(field.bits("not yet"),),
                place=station.step.place if station.step is not None else station.place,
                key=f"rule {at}",
                text=f"this may come too early for the rule '{rule.said}'",
                help=_why(rule, "let every path that leads here pass that first"),
                related=((rule.place, "the rule"),),
            )


def _why(rule: Rule, mend: str) -> str:
    return f"{mend} ({rule.why})" if rule.why else mend


def _owed(case: Case, at: int, rule: Rule) -> Iterator[Claim]:
    for (nth, member), field in case.layout.monitors.items():
        if nth == at:
            yield Claim(
                check="rule",
                edge=ENTRY,
                bad=(field.bits("owed"),),
                place=rule.place,
                key=f"rule {at}",
                text=f"the rule '{rule.said}' may still be owed at the end{_on(member)}",
                help=_why(rule, "let it follow on every path before the end"),
            )


def _on(member: str) -> str:
    return f" for {member}" if member else ""


def _at_end(case: Case, rule: Rule) -> Iterator[Claim]:
    for ref in rule.refs:
        for name in _spread(case, ref):
            field = case.layout.fields.get(name)
            if field is not None:
                yield Claim(
                    check="rule",
                    edge=ENTRY,
                    bad=(field.but("T" if rule.wanted else "F"),),
                    place=rule.place,
                    key=f"{rule.said} {ref.name}",
                    text=f"'{name}' may not be as the rule '{rule.said}' wants at the end",
                    help=_why(rule, "bring it about on every path before the end"),
                )


def _spread(case: Case, ref: Ref) -> tuple[str, ...]:
    index = case.procedure.conditions[ref.name].index
    if index is None:
        return (ref.name,)
    return tuple(f"{ref.name}@{m}" for m in (MEMBERS[index] if ref.at in (None, HERE) else (ref.at,)))


def _together(case: Case, station: Station, rule: Rule) -> Iterator[Claim]:
    bases = {ref.name for ref in rule.refs}
    for nth, edge in enumerate(station.edges):
        for op in edge.ops:
            if op.verb != "make" or op.name.partition("@")[0] not in bases:
                continue
            names = [(ref.name, n) for ref in rule.refs for n in _spread(case, ref)]
            if op.name not in {n for _, n in names}:
                continue
            for base, name in names:
                if name == op.name or not _against(rule, op.name, base, name):
                    continue
                field = case.field(name)
                at = edge.ops.index(op)
                bad = back(((field.mask, field.but("F")),), case.layout.run(edge.ops[:at]))
                if bad is not None:
                    yield Claim(
                        check="rule",
                        edge=nth,
                        bad=bad,
                        place=op.place,
                        key=f"{rule.said} {base}",
                        text=f"'{op.name}' is made while '{name}' may be true: the rule '{rule.said}'",
                        help=_why(rule, "end the one on every path before the other is made"),
                        related=((rule.place, "the rule"),),
                    )


def _against(rule: Rule, made: str, base: str, name: str) -> bool:
    """Different conditions clash on the same member; the members of one condition only under ``at_most_one``."""
    if rule.kind == "at_most_one":
        return True
    return made.partition("@")[0] != base and alike(member_of(made), member_of(name))
