"""Sound procedures of any size, invented, for measuring: 64 conditions, 4 levels, loops, counts, remembered answers.

Ten steps make a section; 32 sections use every condition and every level. A section is written once, as YAML, and read
by the reader; larger procedures repeat its steps under other names, since a file holds no 100,000 steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from runner.core.finding import Place
from runner.core.graph import Body, Count, End, Node, Procedure, Step, Target
from runner.edge.reader import read

FACTS = 56
OPENINGS = 8
LEVELS = 4
SECTION = 10
PERIOD = 32
"""So many sections use everything; the next ones are alike."""

GATE, GUARDED = "base-0", "h"
"""The step that every way passes, and the kind of step, in every section, for which that is asked."""


def vocabulary() -> bytes:
    """The shared names: 56 facts, 8 openings, duties on a place, a deed and on making each opening."""
    lines = ["vocabulary: bench", "places: {car: at the car}", "deeds:"]
    lines += [f"  on_{name}: work goes on at {name}" for name in (*_facts(), *_openings())]
    lines += ["hazards:"]
    lines += ["  slip:", "    hazard: The bolt slips.", "    consequence: It can crush a hand."]
    lines += ["    avoid: Hold the tool with both hands.", "    harm: death or serious injury", "    outcome: could"]
    lines += ["conditions:"]
    lines += [f"  f{n}: {{kind: fact, says: point {n} holds, says_not: point {n} is open}}" for n in range(FACTS)]
    for n in range(OPENINGS):
        lines += [f"  o{n}:", f"    {{kind: opening, says: cap {n} is off, says_not: cap {n} is on, normally: false,"]
        lines += [f"     leave_rank: {n + 1}, restore: e-{n}, if_left: {{close: Put cap {n} on.}}}}"]
    lines += ["duties:", "  - {on: {deed: on_f55}, needs: [f55], cautions: [slip]}"]
    lines += [f"  - {{on: {{deed: on_{name}}}, needs: [{name}]}}" for name in (*_facts()[:-1], *_openings())]
    lines += [f"  - {{on: {{make: o{n}}}, needs: [f{48 + n % 4}, not o{n}]}}" for n in range(OPENINGS)]
    lines += [f"  - {{on: {{end: o{n}}}, needs: [o{n}]}}" for n in range(OPENINGS)]
    return "\n".join(lines).encode() + b"\n"


def _facts() -> list[str]:
    return [f"f{n}" for n in range(FACTS)]


def _openings() -> list[str]:
    return [f"o{n}" for n in range(OPENINGS)]


def text(sections: int) -> bytes:
    """A procedure of so many sections, ten steps each."""
    lines = ["procedure: bench", "title: Turn many bolts", 'revision: "1"', "purpose: All bolts are turned."]
    lines += ["assumes: [" + ", ".join(f"not o{n}" for n in range(OPENINGS)) + "]", "asks:"]
    for n in range(LEVELS):
        lines += [
            f"  {word}{n}: {{what: Mark {word} of can {n}, quantity: volume, unit: mL, sources: [handbook]}}"
            for word in ("low", "full")
        ]
    lines += ["levels:"]
    for n in range(LEVELS):
        marks = f"{{MIN: low{n}, MAX: full{n}}}"
        lines += [
            f"  l{n}: {{what: oil in can {n}, unit: mL, floor: 0 mL, brim: 900 mL, marks: {marks}}}",
        ]
    lines += ["example_cars:"]
    for name, low, full in (("small", 100, 300), ("large", 150, 500)):
        values = ", ".join(f"low{n}: {low + n} mL, full{n}: {full + n} mL" for n in range(LEVELS))
        lines += [f"  {name}: {{{values}}}"]
    lines += ["steps:"]
    base = ", ".join(f"f{n}" for n in range(48, FACTS))
    lines += [f"  {GATE}: {{do: Make the place ready., short: READY, place: car, makes: [{base}], next: a-0}}"]
    for s in range(sections):
        lines += _section(s, f"a-{s + 1}" if s + 1 < sections else "end")
    lines += ["  end: {end: done, say: All bolts are turned.}"]
    return "\n".join(lines).encode() + b"\n"


def _section(s: int, after: str) -> Iterator[str]:
    f, o, level = [f"f{(3 * s + n) % 48}" for n in range(3)], f"o{s % OPENINGS}", s % LEVELS
    kind = f"kind{s % 4}"
    yield f"  a-{s}: {{do: Look at point {s}., short: LOOK, place: car, makes: [{f[0]}, {f[1]}], next: b-{s}}}"
    yield f"  b-{s}:"
    yield f"    {{do: Look at the side of point {s}., short: SIDE, place: car, next: {{left: c-{s}, right: d-{s}}},"
    yield "     choose: {ask: Which side is it?, options: [left, right]}}"
    yield f"  c-{s}:"
    yield f"    {{do: Turn the left bolt {s}., short: LEFT, place: car, needs: [{f[0]}, f55], cautions: [slip],"
    yield f"     deeds: [on_{f[0]}, on_f55], makes: [{f[2]}], next: e-{s}}}"
    yield f"  d-{s}: {{do: Free the right bolt {s}., short: RIGHT, place: car, needs: [{f[1]}], deeds: [on_{f[1]}],"
    yield f"        makes: [{f[2]}], next: e-{s}}}"
    yield f"  e-{s}:"
    yield f"    {{do: Take the cap {s} off., short: CAP OFF, place: car, needs: [{f[2]}, f{48 + s % 4}, not {o}],"
    yield f"     deeds: [on_{f[2]}], makes: [{o}], next: f-{s}}}"
    bound = f"at_most: {{times: 3, then: j-{s}}}, " if s % 4 == 0 else ""
    yield f"  f-{s}:"
    yield f"    {{do: Fill can {level} up to MAX., short: FILL, place: car, needs: [{o}], {bound}deeds: [on_{o}],"
    yield f"     sets: {{l{level}: MAX, by: look, within: 5 mL}}, next: g-{s}}}"
    yield f"  g-{s}:"
    yield f"    do: Draw oil out of can {level}."
    yield "    short: DRAW"
    yield "    place: car"
    yield f"    needs: [{o}, {f[2]}]"
    yield f"    deeds: [on_{o}, on_{f[2]}]"
    if s % 4 == 0:
        yield f"    moves: [{{from: l{level}, each: [0 mL, 20 mL], low_mark: low{level}, if_short: f-{s}}}]"
        yield "    choose: {ask: Is it enough?, options: [enough, more]}"
        yield f"    next: {{enough: h-{s}, more: g-again-{s}}}"
        yield f"  g-again-{s}:"
        yield f"    {{do: Wipe the hose {s}., short: WIPE, place: car, needs: [{o}], deeds: [on_{o}], next: f-{s}}}"
    elif s % 4 == 2:
        yield "    count:"
        yield "      what: strokes"
        yield "      beat: [{do: Press the lever down.}, {do: Let the lever rise slowly.}]"
        yield f"      moves: {{from: l{level}, each: [0 mL, 9 mL], low_mark: low{level}, if_short: j-{s}}}"
        yield f"      at_most: {{strokes: 60, then: j-{s}}}"
        yield f"      exit: {{ask: How is the oil now?, clear: h-{s}, dark: again}}"
    else:
        yield f"    moves: [{{from: l{level}, each: [0 mL, 20 mL], low_mark: low{level}}}]"
        yield f"    next: h-{s}"
    yield f"  h-{s}:"
    yield f"    {{do: Look at the seal {s}., short: SEAL, place: car, needs: [{o}], deeds: [on_{o}], next: i-{s},"
    yield f"     choose: {{ask: Which seal is it?, options: [flat, round], as: {kind}}}}}"
    yield f"  i-{s}: {{do: Wipe the seal {s}., short: WIPE, place: car, needs: [{o}, {f[0]}],"
    yield f"        deeds: [on_{o}, on_{f[0]}],"
    yield f"        next: {{ask: {kind}, flat: j-{s}, round: j-{s}}}}}"
    yield f"  j-{s}: {{do: Put the cap {s} on., short: CAP ON, place: car, needs: [{o}], ends: [{o}], next: {after}}}"


def procedure(steps: int) -> Procedure:
    """The procedure of about so many steps as values of the core."""
    sections = max(OPENINGS, round(steps / SECTION))
    written = min(PERIOD, sections)
    made = read({"bench.yaml": text(written), "vocabulary.yaml": vocabulary()}, "bench.yaml")
    if not isinstance(made, Procedure):
        raise ValueError("\n".join(map(str, made)))
    nodes = dict(made.body.nodes)
    last = nodes.pop("end")
    for period in range(1, -(-sections // written)):
        for name, node in list(made.body.nodes.items())[1:-1]:
            letter, _, number = name.rpartition("-")
            at = int(number) + period * written
            if at < sections and isinstance(node, Step):
                nodes[f"{letter}-{at}"] = _moved(node, period * written)
    return replace(made, body=Body(nodes=_closed({**nodes, "end": last}, sections), first=made.body.first))


def _moved(step: Step, by: int) -> Step:
    """The step so many sections on, with a place of its own."""

    def name(one: str) -> str:
        letter, _, number = one.rpartition("-")
        return f"{letter}-{int(number) + by}" if letter else one

    def to(target: Target | None) -> Target | None:
        return None if target is None else replace(target, name=name(target.name), place=at(target.place))

    def at(place: Place) -> Place:
        return Place(place.file, place.line + 100 * by, place.column)

    gate = step.gate
    if isinstance(gate, Count):
        move = gate.move
        if move is not None:
            move = replace(move, if_short=to(move.if_short), place=at(move.place))
        gate = replace(gate, bound=to(gate.bound) or gate.bound, move=move, place=at(gate.place))
    return replace(
        step,
        id=name(step.id),
        gate=gate,
        moves=tuple(replace(m, if_short=to(m.if_short), place=at(m.place)) for m in step.moves),
        branch=replace(
            step.branch,
            arms=tuple(replace(a, target=to(a.target) or a.target, place=at(a.place)) for a in step.branch.arms),
        ),
        bound=replace(step.bound, then=to(step.bound.then) or step.bound.then) if step.bound else None,
        place=at(step.place),
    )


def _closed(nodes: dict[str, Node], sections: int) -> dict[str, Node]:
    """Each section leads to the next, the last to the end."""
    for s in range(sections):
        step = nodes[f"j-{s}"]
        if isinstance(step, Step):
            following = f"a-{s + 1}" if s + 1 < sections else "end"
            arm = step.branch.arms[0]
            led = replace(arm, target=replace(arm.target, name=following))
            nodes[step.id] = replace(step, branch=replace(step.branch, arms=(led,)))
    if not isinstance(nodes["end"], End):
        raise ValueError("the last node is no end")
    return nodes
