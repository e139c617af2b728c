"""Where an edge leads, and the outcomes that lead there."""

from collections.abc import Sequence
from typing import get_args

from runner.core.finding import quote
from runner.core.graph import Arm, Branch, Choice, Count, Gate, Index, Target, outcomes
from runner.edge.reader_conditions import refs
from runner.edge.reader_desk import Desk, Scope, meant
from runner.edge.reader_tree import pairs, scalar, under
from runner.edge.text import Map, Node, Scalar

SAFE_STOP = "safe stop"
GATE = "gate"
_TURNS = {f"next {index}": index for index in get_args(Index)}
_ASK, _GO, _QUESTION = "ask", "go", ("ask", "as")


def target(desk: Desk, node: Node | None, scope: Scope) -> Target:
    """Where the words lead; what they name must be in reach from the scope."""
    text = scalar(node)
    if text is None:
        return Target(kind="safe stop", place=node.place if node else desk.start)
    if text.value == SAFE_STOP:
        return Target(kind="safe stop", place=text.place)
    if text.value in _TURNS:
        return _turn(desk, text, scope)
    if text.value.startswith("exit "):
        return _exit(desk, text, scope)
    if text.value not in scope.steps:
        _no_step(desk, text, scope)
    return Target(kind="step", name=text.value, place=text.place)


def _turn(desk: Desk, text: Scalar, scope: Scope) -> Target:
    if scope.block is None:
        desk.say(text.place, "name", f"{quote(text.value)} leads on in a block, and none is here", "name a step")
    elif _TURNS[text.value] != scope.block:
        mend = f"write 'next {scope.block}'"
        desk.say(text.place, "name", f"the block here has one turn for each {scope.block}", mend)
    return Target(kind="next turn", place=text.place)


def _exit(desk: Desk, text: Scalar, scope: Scope) -> Target:
    name = text.value.removeprefix("exit ").strip()
    if scope.block is None:
        mend = "name a step; a fragment is left by a step such as {end: " + (name or "NAME") + "}"
        desk.say(text.place, "name", f"{quote(text.value)} leads out of a block, and none is here", mend)
    else:
        desk.known(text, scope.exits, "an exit of this block", text.value.find(name), name or text.value)
    return Target(kind="exit", name=name, place=text.place)


def _no_step(desk: Desk, text: Scalar, scope: Scope) -> None:
    if text.value in desk.steps:
        related = ((desk.steps[text.value], "it stands here"),)
        mend = "enter a block by its own name; leave it by 'exit NAME' or its last turn"
        desk.say(text.place, "name", f"{quote(text.value)} is a step of another body", mend, related)
        return
    more = {f"next {scope.block}"} if scope.block else set()
    mend = meant(text.value, scope.steps | more | {SAFE_STOP})
    desk.say(text.place, "name", f"there is no step {quote(text.value)}", mend)


def branch(desk: Desk, step: Node, gate: Gate | None, scope: Scope) -> Branch:
    """The edges of a step; every outcome of its gate, or every answer of the ask, has exactly one."""
    node = under(step, "next")
    if isinstance(gate, Count):
        if node is not None:
            why = "a count leads on by its 'exit'"
            desk.say(node.place, "outcome", why, "take 'next' out; write the steps in 'exit'")
        return Branch(subject=GATE, arms=_arms(desk, under(step, "count", "exit"), scope, _QUESTION))
    if node is None:
        if isinstance(step, Map):
            mend = "write 'next: ' and a step, 'safe stop' or a mapping from outcomes to steps"
            desk.say(step.place, "missing-key", "it is not said where this step leads", mend)
        return Branch(subject=GATE, arms=())
    subject = scalar(under(node, _ASK))
    if subject is not None:
        return _by_ask(desk, node, subject, gate, scope)
    if isinstance(node, Map) and gate is None:
        why = "this step has no gate, so it has no outcomes to tell apart"
        desk.say(node.place, "outcome", why, "name one step, add a gate, or write 'ask: ' with a choice")
    elif isinstance(node, Map):
        arms = _arms(desk, node, scope, ())
        _cover(desk, node, arms, outcomes(gate), "an outcome of this step")
        return Branch(subject=GATE, arms=arms)
    else:
        _decided(desk, node, gate)
    return Branch(subject=GATE, arms=(Arm(value=None, target=target(desk, node, scope), place=node.place),))


def _by_ask(desk: Desk, node: Node, subject: Scalar, gate: Gate | None, scope: Scope) -> Branch:
    arms = _arms(desk, node, scope, (_ASK,))
    _decided(desk, node, gate)
    if desk.known(subject, desk.choices, "a choice of this procedure"):
        _cover(desk, node, arms, desk.choices[subject.value], f"an answer of {subject.value}")
        ask = desk.asks.get(subject.value)
        if ask is not None and ask.per is not None:
            why = f"{quote(subject.value)} goes by {ask.per}, so it cannot decide the way"
            desk.say(subject.place, "index", why, "ask it once for the whole car, or choose at the step")
    return Branch(subject=subject.value, arms=arms)


def _decided(desk: Desk, node: Node, gate: Gate | None) -> None:
    """Notes a gate whose outcomes would all be thrown together; a remembered choice may be looked at later."""
    every = outcomes(gate)
    if len(every) > 1 and not (isinstance(gate, Choice) and gate.name):
        why = f"the outcomes {', '.join(map(quote, every))} would all lead the same way"
        desk.say(node.place, "outcome", why, "write a mapping with a step for each of them")


def _arms(desk: Desk, node: Node | None, scope: Scope, beside: Sequence[str]) -> tuple[Arm, ...]:
    return tuple(_arm(desk, key, value, scope) for key, value in pairs(node) if key.value not in beside)


def _arm(desk: Desk, key: Scalar, value: Node, scope: Scope) -> Arm:
    text = scalar(value)
    if text is not None and text.value == "again":
        return Arm(value=key.value, target=Target(kind="again", place=text.place), place=key.place)
    return Arm(
        value=key.value,
        target=target(desk, under(value, _GO) if isinstance(value, Map) else value, scope),
        makes=refs(desk, under(value, "makes"), scope),
        ends=refs(desk, under(value, "ends"), scope),
        place=key.place,
    )


def _cover(desk: Desk, node: Node, arms: Sequence[Arm], every: Sequence[str], what: str) -> None:
    for key in (key for key, _ in pairs(node) if key.value not in (*every, _ASK)):
        desk.say(key.place, "outcome", f"{quote(key.value)} is not {what}", meant(key.value, every))
    given = {arm.value for arm in arms}
    for lacking in (one for one in every if one not in given):
        why = f"the outcome {quote(lacking)} leads nowhere"
        desk.say(node.place, "outcome", why, f"write '{lacking}: ' and a step")
    for arm in (arm for arm in arms if arm.target.kind == "again"):
        desk.say(arm.target.place, "name", "'again' is a way of counts only", "name a step")
