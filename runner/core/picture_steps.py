"""Where the run stands among the steps: its number and section, what was done, what is ahead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import islice

from runner.core import graph
from runner.core.graph import Arm, Body, Call, Each, End, Procedure, Step, Target, spoken
from runner.core.state import SAFE_STOP, State, Visit, history, kind_of_step
from runner.core.values import named, subject_value
from runner.core.view import Later, Line, Status
from runner.core.wording import fill, title

AHEAD = 10
_PLAIN_OUTCOMES = frozenset({"done", "met", "taken", "skipped"})


@lru_cache(maxsize=32)
def walked(procedure: Procedure) -> tuple[str, ...]:
    """Every step once, in the author's order, each block and call walked once."""
    return tuple(_walked(procedure, procedure.body, ""))


def _walked(procedure: Procedure, body: Body, before: str) -> Iterator[str]:
    for name, node in body.nodes.items():
        if isinstance(node, Call):
            yield from _walked(procedure, procedure.fragments[node.fragment].body, f"{before}{name}/")
        elif isinstance(node, Each):
            yield from _walked(procedure, node.body, f"{before}{name}/")
        elif isinstance(node, Step):
            yield before + name


def number(procedure: Procedure, path: str) -> int:
    """The number of a step in that walk; 0 where the run stands at none."""
    kind = kind_of_step(path)
    return next((n for n, each in enumerate(walked(procedure), 1) if each == kind), 0)


def section(procedure: Procedure, state: State) -> str:
    """The calls and turns that the run stands in, in words."""
    if state.path in ("", SAFE_STOP):
        return state.path
    words: list[str] = []
    above = graph.parent(procedure, state.path)
    while above is not None:
        found = graph.find(procedure, above)
        if isinstance(found.node, Call):
            at = found.here if found.node.at == graph.HERE else found.node.at
            words.append(procedure.fragments[found.node.fragment].title + (f", {spoken(at)}" if at else ""))
        elif isinstance(found.node, Each):
            member = state.path[len(above) + 1 :].partition("/")[0]
            order = state.orders.get(above, ())
            turn = f" ({order.index(member) + 1} of {len(order)})" if member in order else ""
            words.append(f"{spoken(member)}{turn}")
        above = graph.parent(procedure, above)
    return "; ".join(reversed(words))


# ── what was done ────────────────────────────────────────────────────────────────────────────────


def trail(procedure: Procedure, state: State) -> Sequence[Line]:
    """The steps that were left, oldest first, with their results; made as far back as they are looked at."""

    def last(many: int) -> tuple[Line, ...]:
        newest = tuple(islice(history(state.trail), many))
        return tuple(_line_of(procedure, state, v) for v in reversed(newest) if isinstance(v, Visit))

    return Later(lambda: state.trail.count if state.trail is not None else 0, last)


def _line_of(procedure: Procedure, state: State, visit: Visit) -> Line:
    line, has_values = _plain_line(procedure, visit)
    if not has_values:
        return line
    found = graph.find(procedure, visit.path)
    return Line(status=line.status, path=line.path, title=title(found, state), note=line.note)


@lru_cache(maxsize=65_536)
def _plain_line(procedure: Procedure, visit: Visit) -> tuple[Line, bool]:
    """The line of a visit, and whether its title names values: then it has to be filled."""
    found = graph.find(procedure, visit.path)
    words = found.node.do if isinstance(found.node, Step) else ""
    has_values = "{" in words.replace("{here}", "")
    status: Status = "DONE"
    if visit.outcome == "skipped":
        status = "N/A"
    elif visit.outcome == "cannot":
        status = "STOPPED"
    shown = "" if has_values else title(found, State())
    return Line(status=status, path=visit.path, title=shown, note=result(visit)), has_values


def result(visit: Visit) -> str:
    """What came of a step: its outcome and the reason, as far as there is anything to say."""
    before, _, last = visit.because.rpartition(" ")
    because = f"{before} {spoken(last)}" if last in graph.CORNERS else visit.because
    if visit.outcome in _PLAIN_OUTCOMES or visit.outcome in because:
        return because
    return f"{visit.outcome}: {because}" if because else visit.outcome


def group(procedure: Procedure, state: State) -> tuple[Line, ...]:
    """The steps that are done in one posture with this one; () where it is in no group."""
    if state.path in ("", SAFE_STOP):
        return ()
    found = graph.find(procedure, state.path)
    if not isinstance(found.node, Step) or found.node.group is None:
        return ()
    before = graph.prefix(procedure, state.path)
    lines: list[Line] = []
    passed = False
    for name, node in found.body.nodes.items():
        if not isinstance(node, Step) or node.group != found.node.group:
            continue
        path, status = before + name, "N/A"
        if path == state.path:
            status, passed = "NOW", True
        elif passed:
            status = "NEXT"
        elif state.entries.get(path, 0) > 0:
            status = "DONE"
        words = fill(node.do, found.procedure, state, found.here)
        lines.append(Line(status=status, path=path, title=words))  # type: ignore[arg-type]
    return tuple(lines) if len(lines) > 1 else ()


# ── what is ahead ────────────────────────────────────────────────────────────────────────────────


def ahead(procedure: Procedure, state: State) -> tuple[Line, ...]:
    """The next ten steps if all goes as it usually does, with their hazards; an end is the last of them."""
    if state.path == SAFE_STOP or state.phase == "ended":
        return ()
    over = {block: tuple(done) for block, done in state.over.items()}
    lines: list[Line] = []
    seen = {state.path}
    if state.path:
        at = _after(procedure, state, state.path, over)
    else:
        at = _entered(procedure, state, procedure.body.first, over)
    while at is not None and at not in seen and len(lines) < AHEAD:
        seen.add(at)
        found = graph.find(procedure, at)
        hazards: tuple[str, ...] = ()
        if isinstance(found.node, Step):
            hazards = tuple(
                f"{c.word}: {fill(c.avoid, found.procedure, state, found.here)}" for c in found.node.cautions
            )
        lines.append(Line(status="NEXT", path=at, title=title(found, state), hazards=hazards))
        at = _after(procedure, state, at, over) if isinstance(found.node, Step) else None
    return tuple(lines)


def _after(procedure: Procedure, state: State, path: str, over: dict[str, tuple[str, ...]]) -> str | None:
    found = graph.find(procedure, path)
    if isinstance(found.node, Each):
        return _entered(procedure, state, path, over, waits=False)
    if not isinstance(found.node, Step):
        return None
    arm = usual_arm(procedure, state, path)
    return None if arm is None else _led(procedure, state, path, arm.target, over)


def usual_arm(procedure: Procedure, state: State, path: str) -> Arm | None:
    """The arm that is taken if all goes as it usually does; of a branch on a known value, the one it takes."""
    found = graph.find(procedure, path)
    step = found.node
    if not isinstance(step, Step):
        return None
    arms = step.branch.arms
    if step.branch.subject != "gate":
        value = subject_value(found.procedure, state, step.branch.subject, found.here)
        return next((a for a in arms if value is not None and a.value in (None, value)), arms[0] if arms else None)
    good = [o for o in graph.outcomes(step.gate) if o in ("pass", "met", "closes", "taken")]
    if isinstance(step.gate, graph.Count):
        good = [o for o in step.gate.exits if o not in step.gate.again]
    wanted = [a for a in arms if a.value in (None, *good[:1])]
    return next(iter((*wanted, *arms)), None)


def _led(procedure: Procedure, state: State, path: str, target: Target, over: dict[str, tuple[str, ...]]) -> str | None:
    """Where an edge that starts at a path leads to; None for the safe stop."""
    match target.kind:
        case "step":
            return _entered(procedure, state, graph.prefix(procedure, path) + target.name, over)
        case "next turn":
            block = _block_of(procedure, path)
            if block is None:
                return None
            member = path[len(block) + 1 :].partition("/")[0]
            over[block] = (*over.get(block, ()), member)
            return _entered(procedure, state, block, over)
        case "exit":
            return _left(procedure, state, path, target.name, over)
        case _:
            return None


def _left(procedure: Procedure, state: State, path: str, name: str, over: dict[str, tuple[str, ...]]) -> str | None:
    above = graph.parent(procedure, path)
    if above is None:
        return None
    node = graph.find(procedure, above).node
    if not isinstance(node, Call | Each) or name not in node.exits:
        return None
    return _led(procedure, state, above, node.exits[name], over)


def _block_of(procedure: Procedure, path: str) -> str | None:
    above = graph.parent(procedure, path)
    while above is not None and not isinstance(graph.find(procedure, above).node, Each):
        above = graph.parent(procedure, above)
    return above


def _entered(
    procedure: Procedure, state: State, path: str, over: dict[str, tuple[str, ...]], *, waits: bool = True
) -> str | None:
    """The step or the end at which a path lets the run stand."""
    found = graph.find(procedure, path)
    node = found.node
    if isinstance(node, Call):
        ref = node.ensure or node.give_back
        if ref is not None and node.skip is not None and _skipped(procedure, state, node, found.here):
            return _led(procedure, state, path, node.skip, over)
        return _entered(procedure, state, f"{path}/{procedure.fragments[node.fragment].body.first}", over)
    if isinstance(node, Each):
        order = _order(found.procedure, state, path, node, found.here)
        left = [m for m in order if m not in over.get(path, ())]
        if left:
            return _entered(procedure, state, f"{path}/{left[0]}/{node.body.first}", over)
        if not order:
            return path if waits else None
        return _led(procedure, state, path, node.then, over)
    if isinstance(node, End):
        above = graph.parent(procedure, path)
        if above is not None and isinstance(graph.find(procedure, above).node, Call):
            return _left(procedure, state, path, node.kind, over)
    return path


def _skipped(procedure: Procedure, state: State, node: Call, here: str | None) -> bool:
    if node.ensure is not None:
        return state.value(graph.instance(procedure.conditions, node.ensure, here)) == "T"
    if node.give_back is None:
        return False
    return bool(state.claims.get(graph.instance(procedure.conditions, node.give_back, here)))


def _order(owner: Procedure, state: State, path: str, node: Each, here: str | None) -> tuple[str, ...]:
    if path in state.orders:
        return state.orders[path]
    if isinstance(node.order, tuple):
        return node.order
    value = named(owner, state, node.order, here)
    return value if isinstance(value, tuple) else ()
