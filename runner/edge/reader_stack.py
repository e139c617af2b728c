"""Parts that slide on one shaft: what a step may do with a part follows from where it lies. Parts that are used up."""

from typing import Literal

from runner.core.finding import quote
from runner.core.graph import Holds, Ref
from runner.edge.reader_desk import Desk
from runner.edge.reader_tree import items, scalar, under
from runner.edge.reader_vocabulary import FITTED
from runner.edge.text import Node, Scalar

How = Literal["on", "off", "cut"]
_KEYS: tuple[tuple[str, How], ...] = (("slides_on", "on"), ("slides_off", "off"), ("cut_off", "cut"))


def slides(desk: Desk, step: Node) -> tuple[tuple[tuple[How, str], ...], tuple[Holds, ...]]:
    """What the step slides or cuts, and the needs that follow.

    On: all inner parts are fitted and no outer one. Off: it is fitted and no outer one is. Cut off: it is
    fitted, whatever lies outside of it.
    """
    made: list[tuple[How, str]] = []
    needs: list[Holds] = []
    for key, how in _KEYS:
        text = scalar(under(step, key))
        if text is None or not desk.known(text, desk.parts, "a part"):
            continue
        stack = next((stack for stack in desk.stacks.values() if text.value in stack.parts), None)
        if stack is None:
            desk.say(text.place, "name", f"{quote(text.value)} is in no stack", "add it to 'stack', inner to outer")
            continue
        if made:
            desk.say(text.place, "gate", "a second part slides at this step", "make a step of its own for it")
        at = stack.parts.index(text.value)
        inner, outer = stack.parts[:at], stack.parts[at + 1 :]
        must = inner if how == "on" else (text.value,)
        needs += [_fitted(text, part, wanted=True) for part in must]
        needs += [_fitted(text, part, wanted=False) for part in outer if how != "cut"]
        made.append((how, text.value))
    return tuple(made), tuple(needs)


def used(desk: Desk, node: Node | None) -> tuple[str, ...]:
    """The parts of no stack that the step uses up; each is for single use."""
    names = desk.each_known(node, desk.parts, "a part")
    stacked = {part for stack in desk.stacks.values() for part in stack.parts}
    for text in (one for one in map(scalar, items(node)) if one is not None and one.value in names):
        if text.value in stacked:
            desk.say(text.place, "name", f"{quote(text.value)} is in a stack", f"write 'slides_on: {text.value}'")
        elif not desk.parts[text.value].single_use:
            why = f"{quote(text.value)} is not for single use, so it is not used up"
            desk.say(text.place, "value", why, "write 'single_use: true' at the part, or leave it out here")
    return names


def _fitted(text: Scalar, part: str, *, wanted: bool) -> Holds:
    name = f"{FITTED}{part}"
    said = name if wanted else f"not {name}"
    return Holds(ref=Ref(name=name, at=None, place=text.place), wanted=wanted, said=said, place=text.place)
