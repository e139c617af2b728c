"""Faults to put into a procedure, one at a time, each at one place of the author's text.

Rules of this module
1. A site is what the author wrote, not what it becomes at each corner.
2. Every site of every operator is given; whether a fault can be read at all is the reader's business.
3. Each fault brings the words that would find it, as they would stand in the YAML.
"""

from collections.abc import Iterator

from runner.core.graph import MEMBERS, Procedure, narrow
from runner.edge.mutants_ways import moved_ways
from runner.edge.reader_tree import flag, items, pairs, scalar, under, whole, words
from runner.edge.site import Site, site
from runner.edge.text import Map, Node
from runner.edge.tree_edit import Edit, Path, Standing, at, main_way, standing, text
from runner.verify.mutation import Mutant

_LISTS = {"needs": "drop need", "makes": "drop make", "ends": "drop end", "cautions": "drop caution"}
_GATES = ("check", "reading", "identify", "photo")
_SLIDES = {"slides_on": "drop make", "slides_off": "drop end", "cut_off": "drop end"}


def sites(procedure: Procedure, root: Map, shared: Map) -> Iterator[Site]:
    """Every fault that can be put into the procedure's own text and into what it uses of the vocabulary."""
    every = tuple(standing(root))
    yield from _of_lists(root, ("assumes",), "drop need", "the whole procedure")
    for nth, need in enumerate(items(under(root, "contract", "needs"))):
        yield _drop(("contract", "needs", nth), "drop need", need, "the contract")
    for name, _ in pairs(under(root, "contract", "exits")):
        for key in ("makes", "ends"):
            path: Path = ("contract", "exits", name.value, key)
            yield from _of_lists(root, path, _LISTS[key], f"the exit '{name.value}'")
    for one in every:
        yield from _of_step(procedure, root, one)
    yield from _of_ways(every, root)
    yield from _parts(root)
    yield from _of_vocabulary(procedure, every, shared)


def _of_ways(every: tuple[Standing, ...], root: Map) -> Iterator[Site]:
    """The faults that lead edges elsewhere: dropped and swapped steps, skipped ones, swapped arms."""
    for operator, where, what, mend, edits in moved_ways(every, root):
        yield Site(Mutant(operator=operator, kind="safeguard", place=where.place, what=what, mend=mend), edits)


def _said(node: Node) -> str:
    """A need as it was written."""
    if not isinstance(node, Map):
        return words(node)
    return ", ".join(f"{k.value}: {words(v)}" for k, v in node.entries)


def _of_lists(root: Node, path: Path, operator: str, where: str) -> Iterator[Site]:
    for nth, node in enumerate(items(at(root, path))):
        yield _drop((*path, nth), operator, node, where)


def _drop(path: Path, operator: str, node: Node, where: str) -> Site:
    said = _said(node)
    if operator == "drop need" and isinstance(node, Map) and node.get("wait") is not None:
        operator = "drop wait"
    return site(operator, node, f"'{said}' dropped at {where}", _mend(operator, said, where), ((path, None),))


def _mend(operator: str, said: str, where: str) -> str:
    """What would find it, in the words of the file."""
    name = said.rpartition(" ")[2].partition("@")[0]
    match operator:
        case "drop need" if where == "the contract":
            return f"needs: ['{said}'] at a step of the fragment that no duty asks it of"
        case "drop need":
            return f"duties: - {{on: {{place: ..}}, needs: ['{said}']}} in the vocabulary, on what {where} does"
        case "drop make":
            return f"needs: [{name}] at a step after {where}, or rules: - {{at_end: [{name}]}}"
        case "drop end":
            return f"needs: [not {name}] at a step after {where}, or rules: - {{at_end: [not {name}]}}"
        case "drop caution":
            return f"duties: - {{on: {{deed: ..}}, cautions: [{said}]}} in the vocabulary, on what {where} does"
        case _:
            return f"needs: [{{wait: {name}}}] at the step that must not come too early"


def _of_step(procedure: Procedure, root: Map, one: Standing) -> Iterator[Site]:
    where = f"'{one.name.value}'"
    for holder, path in _holders(one):
        for key, operator in _LISTS.items():
            for nth, node in enumerate(items(under(holder, key))):
                yield _drop((*path, key, nth), operator, node, where)
                yield from _fixed(procedure, one, (*path, key, nth), node)
    for key, operator in _SLIDES.items():
        if (part := scalar(one.node.get(key))) is not None:
            mend = _mend(operator, f"fitted_{part.value}", where)
            what = f"'{key}: {part.value}' dropped at {where}"
            yield site(operator, part, what, mend, (((*one.path, key), None),))
    if (wait := scalar(one.node.get("starts"))) is not None:
        mend = _mend("drop wait", wait.value, where)
        what = f"'starts: {wait.value}' dropped at {where}"
        yield site("drop wait", wait, what, mend, (((*one.path, "starts"), None),))
    yield from _here(one)
    yield from _guards(one, where)
    yield from _fills(one, where)
    yield from _override(one, where)
    yield from _facts(procedure, one, where)


def _holders(one: Standing) -> Iterator[tuple[Node, Path]]:
    """The mappings of a node that hold needs and effects: itself, the phases of a beat, the arms."""
    yield one.node, one.path
    for nth, phase in enumerate(items(under(one.node, "count", "beat"))):
        yield phase, (*one.path, "count", "beat", nth)
    for inner in (("next",), ("count", "exit")):
        for key, arm in pairs(at(one.node, inner)):
            if isinstance(arm, Map):
                yield arm, (*one.path, *inner, key.value)


def _fixed(procedure: Procedure, one: Standing, path: Path, node: Node) -> Iterator[Site]:
    """A condition that goes by what is here is fixed to one member."""
    said = words(node)
    how, _, name = said.rpartition(" ")
    condition = procedure.conditions.get(name)
    if "@" in said or how in ("all", "none") or condition is None or condition.index is None or one.index is None:
        return
    member = narrow(MEMBERS["corner"][0], condition.index) or ""
    fixed = f"{said}@{member}"
    what = f"'{said}' fixed to '{fixed}' at '{one.name.value}'"
    mend = f"rules: - {{at_end: [all {name}]}}, or needs of every corner where the block is over"
    yield site("fix index", node, what, mend, ((path, text(fixed, node.place)),))


def _here(one: Standing) -> Iterator[Site]:
    corner = under(one.node, "check", "corner")
    if corner is not None and words(corner) == "here":
        what = f"'corner: here' fixed to one corner at '{one.name.value}'"
        edit = ((*one.path, "check", "corner"), text(MEMBERS["corner"][0], corner.place))
        yield site("fix index", corner, what, "a check of the corner that is the same at no two turns", (edit,))
    if one.node.get("call") is not None and one.node.get("at") is None and one.index in MEMBERS:
        member = next(m for i, m in (("corner", "LF"), ("axle", "front"), ("side", "left")) if i == one.index)
        what = f"the call '{one.name.value}' fixed to {member}"
        mend = "needs of what the call makes, at a later step of the same turn"
        yield site("fix index", one.name, what, mend, (((*one.path, "at"), text(member, one.name.place)),))


def _guards(one: Standing, where: str) -> Iterator[Site]:
    """A count or draw loses what stops it; a count without a stop goes on longer."""
    count = one.node.get("count")
    paths: list[Path] = [("count", "moves")] if under(count, "moves") is not None else []
    paths += [("moves", nth) for nth in range(len(items(one.node.get("moves"))))]
    for path in paths:
        for key in ("if_short", "if_full", "low_mark"):
            node = at(one.node, (*path, key))
            if node is not None:
                level = words(at(one.node, (*path, "to" if key == "if_full" else "from")))
                mend = f"needs: [{{level: {level}, at_least: ..}}] at {where}, or a look just before it"
                yield site("unguard", node, f"'{key}' dropped at {where}", mend, (((*one.path, *path, key), None),))
    strokes = under(count, "at_most", "strokes")
    if strokes is not None and under(count, "moves", "if_short") is None:
        longer = text(str(10 * whole(strokes, 1)), strokes.place)
        mend = f"count: {{moves: {{.., low_mark: .., if_short: STEP}}}} at {where}"
        what = f"at most {words(strokes)} became at most {longer.value} at {where}"
        yield site("unguard", strokes, what, mend, (((*one.path, "count", "at_most", "strokes"), longer),))


def _fills(one: Standing, where: str) -> Iterator[Site]:
    look = one.node.get("sets")
    if look is not None:
        level = next((k.value for k, _ in pairs(look) if k.value not in ("by", "within")), "")
        mend = f"needs: [{{level: {level}, at_least: ..}}] at the step that draws from it"
        what = f"the look at '{level}' dropped at {where}"
        yield site("drop fill", look, what, mend, (((*one.path, "sets"), None),))
    for nth, move in enumerate(items(one.node.get("moves"))):
        into, source = words(under(move, "to")), words(under(move, "from"))
        edits: tuple[Edit, ...] = (((*one.path, "moves", nth), None),)
        if into:
            mend = f"needs: [{{level: {into}, at_least: ..}}] at the step that draws from it"
            yield site("drop fill", move, f"the fill of '{into}' dropped at {where}", mend, edits)
        else:
            mend = f"the sentence of {where} names the draw; nothing else can see it"
            yield site("drop fact", move, f"the draw from '{source}' dropped at {where}", mend, edits, "fact")


def _override(one: Standing, where: str) -> Iterator[Site]:
    gated = any(one.node.get(gate) is not None for gate in _GATES)
    waits = any(under(need, "wait") is not None for need in items(one.node.get("needs")))
    planned = under(one.node, "count", "planned") is not None
    way = main_way(one)
    if not (gated or waits or planned) or one.node.get("override") is not None or way is None:
        return
    mend = f"makes: [CONDITION] at {where} and needs: [CONDITION] at a step that rests on its gate"
    what = f"'override: {way.to.value}' granted at {where}"
    granted = text(way.to.value, one.name.place)
    yield site("grant override", one.name, what, mend, (((*one.path, "override"), granted),))


def _facts(procedure: Procedure, one: Standing, where: str) -> Iterator[Site]:
    vocabulary = procedure.vocabulary
    mend = f"the sentence of {where} says it; nothing else can see it"
    place = scalar(one.node.get("place"))
    if place is not None and vocabulary.duties_on("place", place.value):
        other = next((p for p in vocabulary.places if not vocabulary.duties_on("place", p)), None)
        if other is not None:
            what = f"'place: {place.value}' became '{other}' at {where}"
            yield site("drop fact", place, what, mend, (((*one.path, "place"), text(other, place.place)),), "fact")
    if (used := items(one.node.get("uses"))) != ():
        what = f"'uses: {', '.join(map(words, used))}' dropped at {where}"
        yield site("drop fact", one.name, what, mend, (((*one.path, "uses"), None),), "fact")
    for holder, path in _holders(one):
        for nth, deed in enumerate(items(under(holder, "deeds"))):
            what = f"the deed '{words(deed)}' dropped at {where}"
            yield site("drop fact", deed, what, mend, (((*path, "deeds", nth), None),), "fact")
    if flag(one.node.get("cannot_be_undone")):
        what = f"'cannot_be_undone' dropped at {where}"
        edits: tuple[Edit, ...] = (((*one.path, "commit"), None), ((*one.path, "cannot_be_undone"), None))
        yield site("drop fact", one.name, what, mend, edits, "fact")


def _parts(root: Map) -> Iterator[Site]:
    """One new part fewer is in hand, so that an old one would go on again; and a part is not for single use."""
    for name, part in pairs(root.get("parts")):
        have, single = under(part, "have"), under(part, "single_use")
        if not flag(single):
            continue
        fewer = text(str(whole(have, 1) - 1), name.place)
        what = f"the part '{name.value}' is used again: one fewer is in hand"
        mend = f"a step with 'slides_on: {name.value}' or 'uses: [{name.value}]', so that it is counted"
        yield site("reuse part", name, what, mend, ((("parts", name.value, "have"), fewer),))
        what = f"the part '{name.value}' is no longer for single use"
        edits = ((("parts", name.value, "single_use"), None),)
        yield site("drop fact", name, what, "the literature says it; nothing else can see it", edits, "fact")


def _of_vocabulary(procedure: Procedure, every: tuple[Standing, ...], shared: Map) -> Iterator[Site]:
    """What is done on leaving and on return is dropped for each condition that the steps change."""
    used = {
        words(node).rpartition(" ")[2].partition("@")[0]
        for one in every
        for holder, _ in _holders(one)
        for key in ("makes", "ends")
        for node in items(under(holder, key))
    }
    for name, condition in pairs(under(shared, "conditions")):
        for key in ("if_left", "restore"):
            node = under(condition, key)
            if name.value in used and node is not None:
                what = f"'{key}' of '{name.value}' dropped in the vocabulary"
                mend = f"{key}: .. at '{name.value}' in the vocabulary"
                edits: tuple[Edit, ...] = ((("conditions", name.value, key), None),)
                mutant = Mutant(operator="drop return", kind="safeguard", place=node.place, what=what, mend=mend)
                yield Site(mutant, edits, shared=True)
