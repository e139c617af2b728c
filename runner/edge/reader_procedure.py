"""One procedure from its tree: what it declares first, then its steps, then what only the whole shows."""

from collections.abc import Iterator, Mapping

from runner.core.finding import quote
from runner.core.graph import MEMBERS, Body, Call, Compute, Contract, Each, Index, Procedure, Vocabulary, walk
from runner.edge.reader_cars import bind_cars, example_cars
from runner.edge.reader_conditions import needs, refs
from runner.edge.reader_desk import CAR, Desk, Scope, meant
from runner.edge.reader_formula import seconds
from runner.edge.reader_merge import agree, kept_apart, take_over
from runner.edge.reader_rules import rules, seen
from runner.edge.reader_scan import scan
from runner.edge.reader_steps import body
from runner.edge.reader_tree import flag, index, items, pairs, scalar, under, words
from runner.edge.reader_values import asks, computes, level_looks, levels, parts, stacks, waits
from runner.edge.text import Map, Node

MOST_STEPS = 200_000
"""The most steps of a procedure with all its calls and turns written out."""


def procedure(desk: Desk, root: Map, shared: Vocabulary, texts: Mapping[str, str]) -> Procedure:
    """The procedure of the tree; the desk holds the vocabulary and the fragments that it calls."""
    here = index(under(root, "here"))
    computed = _declared(desk, root, here)
    contract = _contract(desk, under(root, "contract"), here)
    if contract is not None:
        desk.ends = tuple(contract.exits)
    inner = {key: one for made in desk.fragments.values() for key, one in made.fragments.items()}
    name = scalar(under(root, "procedure"))
    made = Procedure(
        name=words(name),
        title=desk.said(under(root, "title"), None),
        revision=desk.said(under(root, "revision"), None),
        file=desk.file,
        purpose=desk.said(under(root, "purpose"), None),
        not_for=desk.all_said(under(root, "not_for"), None),
        is_fragment=flag(under(root, "fragment")),
        here=here,
        contract=contract,
        tools=desk.all_said(under(root, "before", "tools"), None),
        consumables=desk.all_said(under(root, "before", "consumables"), None),
        safety=desk.all_said(under(root, "before", "safety"), None),
        takes=_takes(desk, under(root, "before", "takes")),
        asks=dict(desk.asks),
        computes=computed,
        levels=dict(desk.levels),
        parts=dict(desk.parts),
        stacks=dict(desk.stacks),
        waits=dict(desk.waits),
        rules=tuple(rule for one in items(under(root, "rules")) for rule in rules(desk, one)),
        assumes=needs(desk, under(root, "assumes"), CAR),
        carries=_carries(desk, under(root, "carries")),
        example_cars=example_cars(under(root, "example_cars")),
        conditions=dict(desk.conditions),
        vocabulary=shared,
        body=body(desk, under(root, "steps"), Scope(index=here), under(root, "start")),
        fragments={**inner, **desk.fragments},
        texts=texts,
        place=name.place if name else root.place,
    )
    _afterwards(desk, made, root)
    return made


def _takes(desk: Desk, node: Node | None) -> str:
    seconds(desk, node)
    return words(node)


def _declared(desk: Desk, root: Map, here: Index | None) -> dict[str, Compute]:
    """Lays all that the procedure declares on the desk, each after what it is made of; its computed values."""
    taken = take_over(desk)
    asks(desk, under(root, "asks"))
    level_looks(desk, under(root, "levels"))
    scan(desk, under(root, "steps"), here)
    computed = {**taken.kind("computes"), **computes(desk, under(root, "computes"))}
    levels(desk, under(root, "levels"))
    parts(desk, under(root, "parts"))
    stacks(desk, under(root, "stack"))
    waits(desk, under(root, "waits"))
    agree(desk, taken, computed)
    return computed


def _contract(desk: Desk, node: Node | None, here: Index | None) -> Contract | None:
    if node is None:
        return None
    scope = Scope(index=here)
    exits = {
        name.value: (refs(desk, under(effects, "makes"), scope), refs(desk, under(effects, "ends"), scope))
        for name, effects in pairs(under(node, "exits"))
    }
    return Contract(needs=needs(desk, under(node, "needs"), scope), exits=exits, place=node.place)


def _carries(desk: Desk, node: Node | None) -> tuple[str, ...]:
    names = desk.each_known(node, desk.conditions, "a condition")
    for text in (one for one in map(scalar, items(node)) if one is not None and one.value in names):
        if desk.conditions[text.value].kind != "opening":
            why = f"{quote(text.value)} is a fact, not an opening"
            desk.say(text.place, "value", why, "name openings only: a fact may be true at the end anyway")
    return names


def _afterwards(desk: Desk, made: Procedure, root: Map) -> None:
    """What can only be seen when the whole is there."""
    if made.contract is not None:
        kinds = {getattr(node, "kind", "") for node in made.body.nodes.values()}
        for key in (key for key, _ in pairs(under(root, "contract", "exits")) if key.value not in kinds):
            text = f"no step ends with {quote(key.value)}"
            desk.say(key.place, "outcome", text, "write a step such as {end: " + key.value + "}, or take it out")
    seen(desk, walk(made.body), made.rules)
    kept_apart(desk, made)
    for duty in made.vocabulary.duties:
        unless = duty.unless
        if unless is not None and unless.value not in desk.choices.get(unless.subject, (unless.value,)):
            text = f"{quote(unless.value)} is no answer of {unless.subject} in {made.name}"
            desk.say(duty.place, "outcome", text, meant(unless.value, desk.choices[unless.subject]))
    if not desk.found:
        bind_cars(desk, made, under(root, "example_cars"))
    size = steps_of(made)
    if size > MOST_STEPS:
        text = f"with all calls and turns written out there are {size:,} steps; at most {MOST_STEPS:,} are read"
        desk.say(made.place, "size", text, "split the procedure")


def steps_of(whole: Procedure) -> int:
    """How many steps there are with all calls and turns written out."""
    return _size(whole.body, whole.fragments, {})


def _size(body_of: Body, fragments: Mapping[str, Procedure], known: dict[str, int]) -> int:
    return sum(_sizes(body_of, fragments, known))


def _sizes(body_of: Body, fragments: Mapping[str, Procedure], known: dict[str, int]) -> Iterator[int]:
    for node in body_of.nodes.values():
        if isinstance(node, Each):
            yield len(MEMBERS[node.index]) * _size(node.body, fragments, known)
        elif isinstance(node, Call) and node.fragment in fragments:
            if node.fragment not in known:
                # A fragment that calls itself has been noted; it must not be counted for ever.
                known[node.fragment] = 1
                known[node.fragment] = _size(fragments[node.fragment].body, fragments, known)
            yield known[node.fragment]
        else:
            yield 1
