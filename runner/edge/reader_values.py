"""What a procedure declares beside its steps: asks, computed values, levels, parts, stacks and waits."""

from fractions import Fraction

from runner.core.bind import compute_order
from runner.core.expr import Expr, parse
from runner.core.finding import quote
from runner.core.formula import FUNCTIONS
from runner.core.graph import CORNERS, MEMBERS, Ask, Compute, Condition, Index, Level, Part, Stack, Wait
from runner.core.quantity import PLAIN, Quantity, Unit
from runner.core.units import Unclear, parse_unit, show
from runner.edge.reader_desk import CAR, Desk, Named, Scope
from runner.edge.reader_formula import NOTHING, amount, formula, index_of, measures, seconds, unit_of
from runner.edge.reader_tree import flag, index, items, pairs, scalar, under, whole, words
from runner.edge.reader_vocabulary import FITTED
from runner.edge.text import Node, Scalar

KIND_OF_ASK = {"quantity": "an ask", "choice": "a choice", "order": "an order", "text": "a text"}
"""An ask in the words of a message."""

# Two diagonally opposite wheels are one brake circuit.
_CIRCUITS = (frozenset({"LF", "RR"}), frozenset({"RF", "LR"}))
_IN_FORMULAS = frozenset({*FUNCTIONS, "pi", "total", "of"})


def name_it(desk: Desk, name: Scalar, named: Named) -> None:
    """Lays a value's name on the desk; notes it if the name already means something else."""
    if name.value in _IN_FORMULAS:
        desk.say(name.place, "twice", f"{quote(name.value)} is a word of formulas", "take another name")
    first = desk.named.setdefault(name.value, named)
    if first.place.file != named.place.file and first.kind == named.kind:
        # A fragment declares it too; whether both agree is seen when all is read.
        desk.named[name.value] = named
    elif first.place != named.place:
        why = f"{quote(name.value)} is {first.kind} already"
        related = ((first.place, "it is named here"),)
        desk.say(name.place, "twice", why, "take another name", related)


def asks(desk: Desk, node: Node | None) -> None:
    """Lays the asks on the desk."""
    for name, entry in pairs(node):
        ask = _ask(desk, name, entry)
        name_it(desk, name, Named(KIND_OF_ASK[ask.kind], ask.dimension, ask.per, name.place))
        desk.asks[name.value] = ask
        if ask.kind == "choice":
            desk.choices[name.value] = ask.options
    for name, entry in pairs(node):
        _above(desk, desk.asks[name.value], scalar(under(entry, "above")))


def _ask(desk: Desk, name: Scalar, entry: Node) -> Ask:
    quantity = scalar(under(entry, "quantity"))
    unit = unit_of(desk, under(entry, "unit"), quantity) if quantity else None
    low, high = (_end(desk, entry, unit, keys) for keys in (("floor", "at_least"), ("at_most",)))
    if low is not None and high is not None and unit is not None and low.lo > high.hi:
        text = f"the least value, {show(low, unit)}, is more than the greatest, {show(high, unit)}"
        desk.say(name.place, "value", text, "exchange or correct them")
    options = tuple(words(one) for one in items(under(entry, "choice")))
    orders = {key.value: _order(desk, key, order, CORNERS) for key, order in pairs(under(entry, "orders"))}
    return Ask(
        name=name.value,
        what=desk.said(under(entry, "what"), None),
        kind="quantity" if quantity else "choice" if options else "order" if orders else "text",
        dimension=unit.dimension if unit else None,
        unit=unit,
        options=options,
        orders=orders or None,
        per=index(under(entry, "per")),
        sources=desk.all_said(under(entry, "sources"), None),
        measured=flag(under(entry, "measured")),
        unknown=flag(under(entry, "unknown")),
        low=low,
        high=high,
        below=words(under(entry, "above")) or None,
        floor_source=desk.said(under(entry, "floor_source"), None),
        place=name.place,
    )


def _end(desk: Desk, entry: Node, unit: Unit | None, keys: tuple[str, ...]) -> Quantity | None:
    """The bound of an ask; of a published floor and the author's own, the published one."""
    nodes = [node for key in keys if (node := under(entry, key)) is not None]
    if len(nodes) > 1:
        desk.say(nodes[1].place, "value", "a published floor stands here already", "keep 'floor' alone")
    return amount(desk, nodes[0], unit) if nodes and unit is not None else None


def _above(desk: Desk, ask: Ask, text: Scalar | None) -> None:
    if text is None or not desk.known(text, desk.asks, "an ask"):
        return
    other = desk.asks[text.value]
    if other is ask or other.dimension != ask.dimension:
        why = f"{quote(ask.name)} and {quote(text.value)} cannot be compared"
        desk.say(text.place, "unit", why, "name another ask of the same quantity")
    elif not Scope(index=ask.per).settles(other.per):
        why = f"{quote(text.value)} goes by {other.per}, and {quote(ask.name)} does not"
        desk.say(text.place, "index", why, f"ask it per {other.per}")


def _order(desk: Desk, name: Scalar | None, node: Node, members: tuple[str, ...]) -> tuple[str, ...]:
    texts = [text for text in map(scalar, items(node)) if text is not None]
    order = tuple(text.value for text in texts)
    for text in texts:
        desk.known(text, members, f"one of {', '.join(members)}")
    if set(order) <= set(members) and sorted(order) != sorted(members):
        lacking = [member for member in members if member not in order]
        twice = sorted({member for member in order if order.count(member) > 1})
        wrong = f"{', '.join(lacking)} is missing" if lacking else f"{', '.join(twice)} stands twice"
        desk.say(node.place, "order", f"this is no order of {', '.join(members)}: {wrong}", "name each once")
    elif name is not None and "diagonal" in name.value and sorted(order) == sorted(members):
        if frozenset(order[:2]) not in _CIRCUITS:
            why = f"{' and '.join(order[:2])} are not one circuit of a diagonal split"
            desk.say(node.place, "order", why, "let LF and RR stand together, and RF and LR")
    return order


def listed_order(desk: Desk, node: Node, members: Index) -> tuple[str, ...]:
    """An order that a block lists itself."""
    return _order(desk, None, node, MEMBERS[members])


def computes(desk: Desk, node: Node | None) -> dict[str, Compute]:
    """The computed values by name, each checked after those that it uses."""
    written = {name.value: (name, entry, _parsed(entry)) for name, entry in pairs(node)}
    order = compute_order({name: one[2].names for name, one in written.items()})
    if isinstance(order, Unclear):
        name = written[order.text][0]
        desk.say(name.place, "formula", f"{quote(name.value)} has no end: {order.why}", order.help)
        for name, entry, _ in written.values():
            unit = unit_of(desk, under(entry, "unit"))
            name_it(desk, name, Named("a computed value", unit.dimension, None, name.place))
        return {}
    made = {name: _compute(desk, *written[name]) for name in order}
    return {name: made[name] for name in written}


def _parsed(entry: Node) -> Expr:
    """The formula with nothing noted yet: the order of reading follows from it."""
    expr = parse(words(under(entry, "is")))
    return NOTHING if isinstance(expr, Unclear) else expr


def _compute(desk: Desk, name: Scalar, entry: Node, expr: Expr) -> Compute:
    written = under(entry, "unit")
    unit = unit_of(desk, written) if written else None
    per = index_of(desk, expr)
    lack = "check the formula, or write its unit under 'unit'"
    formula(desk, under(entry, "is"), unit.dimension if unit else PLAIN, Scope(index=per), lack)
    dimension = unit.dimension if unit else measures(desk, expr)
    name_it(desk, name, Named("a computed value", dimension, per, name.place))
    what = desk.said(under(entry, "what"), None)
    return Compute(name=name.value, what=what, expr=expr, unit=unit, per=per, place=name.place)


def levels(desk: Desk, node: Node | None) -> None:
    """Lays the levels on the desk, with the names of their looks."""
    for name, entry in pairs(node):
        unit = unit_of(desk, under(entry, "unit"))
        marks = {key.value: value for key, value in pairs(under(entry, "marks"))}
        desk.levels[name.value] = Level(
            name=name.value,
            what=desk.said(under(entry, "what"), None),
            unit=unit,
            floor=formula(desk, under(entry, "floor"), unit.dimension, CAR),
            brim=formula(desk, under(entry, "brim"), unit.dimension, CAR),
            marks={key: formula(desk, value, unit.dimension, CAR) for key, value in marks.items()},
            place=name.place,
        )


def level_looks(desk: Desk, node: Node | None) -> None:
    """Lays the looks at the levels on the desk: how they were at the first look of the run, and how now."""
    for name, entry in pairs(node):
        unit = parse_unit(words(under(entry, "unit")))
        dimension = PLAIN if isinstance(unit, Unclear) else unit.dimension
        for look in ("start", "now"):
            named = Named("a look at a level", dimension, None, name.place)
            name_it(desk, Scalar(f"{name.value}_{look}", name.place, plain=True), named)


def parts(desk: Desk, node: Node | None) -> None:
    """Lays the parts on the desk."""
    for name, entry in pairs(node):
        desk.parts[name.value] = Part(
            name=name.value,
            what=desk.said(under(entry, "what"), None),
            have=whole(under(entry, "have"), 1),
            single_use=flag(under(entry, "single_use")),
            trace=flag(under(entry, "trace")),
            place=name.place,
        )


def stacks(desk: Desk, node: Node | None) -> None:
    """Lays the stacks on the desk, and a condition for each part of them: whether it is fitted."""
    owner = {part: stack for stack in desk.stacks.values() for part in stack.parts}
    for name, entry in pairs(node):
        known = desk.each_known(entry, desk.parts, "a part")
        stack = Stack(name=name.value, parts=known, place=name.place)
        for text in filter(None, map(scalar, items(entry))):
            if (other := owner.get(text.value)) is not None:
                why = f"{quote(text.value)} is on the shaft {quote(other.name)} already"
                desk.say(text.place, "twice", why, "let a part be in one stack")
            owner.setdefault(text.value, stack)
        desk.stacks[name.value] = stack
        for part in known:
            _fitted(desk, desk.parts[part])


def _fitted(desk: Desk, part: Part) -> None:
    name = f"{FITTED}{part.name}"
    made = Condition(
        name=name,
        index=None,
        kind="fact",
        says=f"{part.what} is fitted",
        says_not=f"{part.what} is not fitted",
        place=part.place,
    )
    desk.conditions[name] = made


def waits(desk: Desk, node: Node | None) -> None:
    """Lays the waits on the desk."""
    for name, entry in pairs(node):
        least, keeps = seconds(desk, under(entry, "at_least")), seconds(desk, under(entry, "keeps"))
        what = desk.said(under(entry, "what"), None)
        desk.waits[name.value] = Wait(
            name=name.value,
            what=what,
            at_least=least or Fraction(1),
            keeps=keeps,
            before=desk.each_known(under(entry, "before"), desk.steps, "a step"),
            started_by=desk.each_known(under(entry, "started_by"), desk.steps, "a step"),
            place=name.place,
        )
