"""The near page: which blocks stand where at the size of the terminal.

The step stays in sight whatever else is open; nothing is laid over it. What does not fit is paged with ``+``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from runner.core.panel import Panel, lines, opened
from runner.core.view import View
from runner.screen import caution, gate, head, side
from runner.screen.ink import EMPTY, Row, Rows, beside, cut, fit, wrapped

_MIDDLE = (66, 20)
_TALL = 30
_SIDE, _WIDE = 26, 42
"""Cells of what stands beside the step, at least and where the step has all that it can use."""
_SIGNS = 92
"""Cells of a step whose large signs stand well: fifteen in a line."""
_TIGHT, _COMPACT, _ROOMY = range(3)
_LEAST = 3
"""Rows of a page that are left for what is leafed through."""
_AT_ONCE = ("read back", "look", "fluid")
"""Asked about what was read and done just before: the question stands on the first page."""
_LINE = 76
"""Cells of the longest line of text (WCAG 1.4.8: at most 80)."""


def near(view: View, panel: Panel, width: int, height: int) -> Rows:
    """The whole page, exactly so many rows."""
    top, main, say, count = _laid(view, panel, width, height)
    more = f"+ page {panel.page % count + 1}/{count}" if count > 1 else ""
    filler = (EMPTY,) * (max(height - len(top) - len(say) - 1, 1) - len(main))
    rows = (*top, *main, *filler, *say, gate.keys(view, panel, width, more))
    return tuple(cut(row, width) for row in rows[-height:])


def pages(view: View, panel: Panel, width: int, height: int) -> int:
    """How many pages the near page has at this size."""
    return _laid(view, panel, width, height)[3]


def _laid(view: View, panel: Panel, width: int, height: int) -> tuple[Rows, Rows, Rows, int]:
    """The head, the rows between, the note of the desk, and how many pages there are."""
    small = width < _MIDDLE[0] or height < _MIDDLE[1]
    top = head.header(view, width) + (() if small else head.mark_line(view, width))
    say = wrapped(panel.say, width, "strong")
    main, count = _columns(view, panel, width, max(height - len(top) - len(say) - 1, 1), small=small)
    return top, main, say, count


def _columns(view: View, panel: Panel, width: int, room: int, *, small: bool) -> tuple[Rows, int]:
    if small:
        strips = [side.strip(gauge, width) for gauge in view.gauges]
        return _body(view, panel, width, room, extras=(side.timers(view.timers, width), *strips))
    beyond = min(max(width - _SIGNS - 2, _SIDE), _WIDE)
    main, count = _body(view, panel, width - beyond - 2, room, extras=())
    around = _stack(_around(view, beyond, room), room)
    return beside(main, around, width - beyond)[:room], count


def _around(view: View, width: int, room: int) -> Sequence[tuple[Rows, ...]]:
    """What stands round the step, the most needed first, each as it is best and as it takes least."""
    gauges = [side.vessel(gauge, width) for gauge in view.gauges]
    owed = tuple(row for _, text in view.owed for row in wrapped(f"owed: {text}", width, "quiet"))
    before, after = (2, 3) if room < _TALL else (6, 7)
    trail = side.trail(view, width, before, after)
    lists = (("open on the car", view.open_now), ("read last", view.readings))
    opened_now, read = (
        tuple(side.listed(title, names, width, one_row=short) for short in (False, True)) for title, names in lists
    )
    whole = (side.timers(view.timers, width), side.plan(view.plan, width), *gauges, trail)
    return (*((block,) for block in whole), opened_now, read, (owed,))


def _stack(blocks: Sequence[tuple[Rows, ...]], room: int) -> Rows:
    """As many of the blocks as have room, in their order, a blank row between."""
    rows: Rows = ()
    for ways in blocks:
        for block in ways:
            gap = (EMPTY,) if rows and block else ()
            if len(rows) + len(gap) + len(block) <= room:
                rows = (*rows, *gap, *block)
                break
    return rows


def _body(view: View, panel: Panel, width: int, room: int, *, extras: Sequence[Rows]) -> tuple[Rows, int]:
    """The rows of the step or of what is open over its lower half, and how many pages there are."""
    if panel.mode == "look":
        return _look(view, panel, min(width, _LINE), room), 1
    if panel.mode == "menu":
        return _menu(view, panel, min(width, _LINE), room), 1
    wanted = [block for block in extras if block]
    for large, density, count in _attempts(len(wanted)):
        blocks = [*_step(view, panel, width, density=density, large=large), *wanted[:count]]
        if sum(map(len, blocks)) + large * len(blocks) <= room:
            return _spaced(blocks, room), 1
    return _paged(view, panel, width, room)


def _attempts(extras: int) -> Iterator[tuple[bool, int, int]]:
    """Large signs, density and how many of the extras, from the most comfortable page to the tightest."""
    yield True, _ROOMY, extras
    for count in range(extras, -1, -1):
        yield False, _ROOMY, count
        yield False, _COMPACT, count
    yield False, _TIGHT, 0


def _step(view: View, panel: Panel, width: int, *, density: int, large: bool = False) -> list[Rows]:
    line = min(width, _LINE)
    above, below, late = _around_gate(view, line, density=density)
    shown = (
        *above,
        gate.large_action(view, width) if large else (),
        gate.instruction(view, line) + below,
        *gate.gate(view, panel, line, roomy=density == _ROOMY, tight=density == _TIGHT),
        late,
    )
    return [block for block in shown if block]


def _around_gate(view: View, line: int, *, density: int) -> tuple[Sequence[Rows], Rows, Rows]:
    """What stands above the instruction, what under it, and what only informs, which stands last if room is short."""
    tight = density == _TIGHT
    alert, why = head.alert(view, line), head.because(view, line)
    late = (alert + why if view.alert_kind == "note" else why) if tight else ()
    above = (
        () if tight and view.alert_kind == "note" else alert,
        () if tight else why,
        caution.cautions(view.cautions, line, roomy=density == _ROOMY, later=not tight),
    )
    return above, gate.details(view, line, group=not tight), late


def _spaced(blocks: Sequence[Rows], room: int) -> Rows:
    """The blocks under each other, with air between them where there is room for it."""
    air = sum(map(len, blocks)) + len(blocks) - 1 <= room
    rows: list[Row] = []
    for block in blocks:
        if rows and air:
            rows.append(EMPTY)
        rows += block
    return tuple(rows)


def _paged(view: View, panel: Panel, width: int, room: int) -> tuple[Rows, int]:
    """A step too long for the terminal: its headline and what is typed stay, the rest turns page by page."""
    line = min(width, _LINE)
    pinned = gate.instruction(view, line, most=max(room // 3, 1))
    above, below, late = _around_gate(view, line, density=_TIGHT)
    asked = gate.gate(view, panel, line, roomy=False, tight=True)
    foot = _typed(view, panel, line, room - len(pinned) - _LEAST)
    running = side.timers(view.timers, line)
    if foot:
        rest = [*above, below, late, gate.other_way(view.field)]
    elif view.kind in _AT_ONCE:
        rest = [*asked, *above, running, below, late]
    else:
        rest = [*above, running, below, *asked, late]
    each = max(room - len(pinned) - len(foot), 1)
    pages: list[Rows] = [()]
    for block in rest:
        if len(pages[-1]) + len(block) > each and pages[-1] and len(block) <= each:
            pages.append(())
        for row in block:
            if len(pages[-1]) >= each:
                pages.append(())
            pages[-1] = (*pages[-1], row)
    shown = pages[panel.page % len(pages)]
    owed = any(c.state in ("owed", "together") for c in view.cautions)
    return ((shown + pinned if owed else pinned + shown) + foot), len(pages)


def _typed(view: View, panel: Panel, width: int, most: int) -> Rows:
    """The question and its field, which stay in sight while the rest is leafed through: nobody types unseen."""
    if view.field is None or any(c.state in ("owed", "together") for c in view.cautions):
        return ()
    timers = side.timers(view.timers, width)
    asked, typed, on = gate.gate(view, panel, width, roomy=False, tight=True, ways=False)
    tries = (timers + asked + typed + on, asked + typed + on, typed + on, typed)
    return next((rows for rows in tries if len(rows) <= most), ())


def _menu(view: View, panel: Panel, width: int, room: int) -> Rows:
    """The open list under the headline of the step; each entry keeps one row if they are many."""
    title, options, asked = opened(panel, view)
    name: Row = ((f"── {fit(title, width - 6)} ".ljust(width, "─"), "rule"),)
    rows = gate.answers(options, panel.page, width)
    if len(rows) + 3 > room:
        rows = gate.answers(options, panel.page, width, one_row=True)
    if asked is not None:
        rows += gate.field(asked, panel, width, big=room > 14) + gate.other_way(asked)
    headline = gate.instruction(view, width, most=max(room - 1 - len(rows), 1))
    blocks = [head.alert(view, width), headline, (name, *rows)]
    if sum(map(len, blocks)) > room:
        blocks = blocks[1:]
    return _spaced(blocks, room)[:room]


def _look(view: View, panel: Panel, width: int, room: int) -> Rows:
    """Steps before and after, the one under the cursor whole; the step of now stays above."""
    steps = lines(view)
    at = min(panel.cursor, len(steps) - 1)
    chosen = steps[at]
    detail = [
        *wrapped(chosen.note, width - 4),
        *(row for text in chosen.hazards for row in wrapped(text, width - 4)),
    ]
    whole: list[Row] = [
        (("▸ ", "mark"), *row) for row in ((side.status(chosen),), *wrapped(chosen.title, width - 4, "strong"))
    ]
    whole += [(("  ", "plain"), *row) for row in detail]
    headline = gate.instruction(view, width, most=2)
    name: Row = ((f"── step {at + 1} of {len(steps)}, looking changes nothing ".ljust(width, "─")[:width], "rule"),)
    spare = max(room - len(headline) - 1 - len(whole), 0)
    before = min(at, spare // 2)
    after = min(len(steps) - 1 - at, spare - before)
    listed = [
        *((("  ", "plain"), *side.status_row(line, width - 2)) for line in steps[at - before : at]),
        *whole,
        *((("  ", "plain"), *side.status_row(line, width - 2)) for line in steps[at + 1 : at + 1 + after]),
    ]
    return (*headline, name, *listed)[:room]
