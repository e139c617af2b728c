"""What would find a fault of the way, as an author writes it: what a node states under `after`, if that can be proven.

Only what holds on every path of the sound procedure is proposed; where nothing of the kind does, an effect that a
later step needs is.
"""

import re
from collections.abc import Iterable, Iterator

from runner.core.finding import quote
from runner.edge.reader_tree import under
from runner.edge.tree_edit import Path, Standing, Way, branches, ways

_PLAIN = re.compile(r"(?!(?:yes|no|on|off|true|false|null)$)[a-z][a-z0-9 _-]*")
Edge = tuple[str, str]
"""The outcome that leads along an edge (empty where it is none of the node's own) and the name of its target."""


class Witness:
    """The edges of every body, by the path of the body."""

    def __init__(self, every: Iterable[Standing]) -> None:
        self.by = {(one.body, one.name.value): one for one in every}
        self.first = {one.body: one.name.value for one in self.by.values() if one.first}
        self.edges = {key: tuple(_edges(one)) for key, one in self.by.items()}

    def of_node(self, body: Path, passed: str, then: str) -> str:
        """That ``passed`` always comes before ``then``."""
        if self._begun(body, then) and not self._reached(body, (self.first.get(body, ""),), passed, then):
            return f"after: [{passed}] at {quote(then)}"
        return _made(passed, then)

    def of_order(self, body: Path, passed: str, then: str) -> str:
        """That the one comes before the other, or by which outcome the one is come to."""
        found = self.of_node(body, passed, then)
        before = (name for of, name in self.by if of == body and any(to == passed for _, to in self.edges[of, name]))
        ways_in = (self._of_target(body, name, passed) for name in before if "after:" not in found)
        return next((said for said in ways_in if said), found)

    def of_outcomes(self, body: Path, name: str, swapped: tuple[str, str]) -> str:
        """By which outcomes of the node one of the two targets is come to."""
        aims = [to for key in swapped for outcome, to in self.edges[body, name] if outcome == key]
        said = next((said for to in aims if (said := self._of_target(body, name, to))), "")
        return said or f"{swapped[0]}: {{go: .., makes: [CONDITION]}} and needs: [CONDITION] at a step on that way"

    def _of_target(self, body: Path, name: str, then: str) -> str:
        edges = self.edges[body, name]
        outcomes = [outcome for outcome, to in edges if to == then and outcome]
        others = (self.first.get(body, ""), *(to for outcome, to in edges if outcome not in outcomes))
        if not outcomes or then == name or not self._begun(body, then) or self._reached(body, others, name, then):
            return ""
        return f"after: [{{{name}: {_listed(outcomes)}}}] at {quote(then)}"

    def _begun(self, body: Path, name: str) -> bool:
        """Whether it is a node that can state what comes before it: an end cannot."""
        one = self.by.get((body, name))
        return one is not None and under(one.node, "end") is None

    def _reached(self, body: Path, starts: Iterable[str], without: str, goal: str) -> bool:
        """Whether a way leads from one of the starts to the goal and never on from the one node."""
        seen, todo = set[str](), list(starts)
        while todo:
            name = todo.pop()
            if name == goal:
                return True
            if name not in seen and name != without:
                seen.add(name)
                todo += [to for _, to in self.edges.get((body, name), ())]
        return False


def _edges(one: Standing) -> Iterator[Edge]:
    for way in ways(one):
        yield _outcome(one, way), way.to.value


def _outcome(one: Standing, way: Way) -> str:
    inner = way.path[len(one.path) :]
    for path, keys in branches(one.node):
        by_ask = path == ("next",) and under(one.node, "next", "ask") is not None
        if not by_ask and inner[: len(path)] == path:
            return next((key for key in keys if key == inner[len(path)]), "")
    return "override" if inner == ("override",) else ""


def _made(passed: str, then: str) -> str:
    return f"makes: [CONDITION] at {quote(passed)} and needs: [CONDITION] at {quote(then)} or after it"


def _listed(outcomes: list[str]) -> str:
    """One outcome, or a list of them, as they are written."""
    said = [one if _PLAIN.fullmatch(one) else f'"{one}"' for one in outcomes]
    return said[0] if len(said) == 1 else f"[{', '.join(said)}]"
