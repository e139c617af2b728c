"""A folder of procedures at a glance: its README's table and a picture of each, made from the procedures themselves.

What stands in the README around the marks is its author's own and stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from runner.core.graph import Procedure, Reading, Step, walk
from runner.core.hazard import ORDER, Caution

BEGIN, END = "<!-- made by witnessmark catalogue -->", "<!-- end of what is made -->"
REVIEW = "nobody with a licence has walked it through"
PICTURES = "pictures"


def readme(text: str, procedures: Iterable[Procedure]) -> str | None:
    """The README with its table made anew between the two marks; None where it does not have them."""
    before, begun, rest = text.partition(BEGIN)
    _, ended, after = rest.partition(END)
    if not (begun and ended):
        return None
    return f"{before}{BEGIN}\n\n{table(procedures)}\n{END}{after}"


def table(procedures: Iterable[Procedure]) -> str:
    """Procedures that are run, then those that are called, as tables of Markdown."""
    ordered = sorted(procedures, key=lambda one: one.name)
    run = [p for p in ordered if not p.is_fragment]
    called = [p for p in ordered if p.is_fragment]
    lines = [
        "| procedure | when it is over | hazards | time | asks | review |",
        "| --- | --- | --- | --- | --- | --- |",
        *(f"| {_link(p)} | {cell(p.purpose)} | {_hazards(p)} | {_time(p)} | {_asks(p)} | {REVIEW} |" for p in run),
        "",
        "Fragments, which procedures call:",
        "",
        "| fragment | when it is over | hazards of its own |",
        "| --- | --- | --- |",
        *(f"| {_link(p)} | {cell(p.purpose)} | {_listed(_cautions(p))} |" for p in called),
        "",
    ]
    return "\n".join(lines)


def _link(procedure: Procedure) -> str:
    name = procedure.name
    return f"[{name}]({name}.yaml)<br>[picture]({PICTURES}/{name}.svg)"


def _steps(procedure: Procedure) -> Iterable[Step]:
    return (node for node in walk(procedure.body) if isinstance(node, Step))


def _cautions(procedure: Procedure) -> Mapping[str, Caution]:
    return {caution.name: caution for step in _steps(procedure) for caution in step.cautions}


def _hazards(procedure: Procedure) -> str:
    found = dict(_cautions(procedure))
    for fragment in procedure.fragments.values():
        found.update(_cautions(fragment))
    return _listed(found)


def _listed(cautions: Mapping[str, Caution]) -> str:
    rows = []
    for word in ORDER:
        names = sorted(name.replace("_", " ") for name, caution in cautions.items() if caution.word == word)
        if names:
            rows.append(f"**{word}** {cell(', '.join(names))}")
    return "<br>".join(rows) or "none"


def _time(procedure: Procedure) -> str:
    """What the author set aside in all and at commit points, and the least that waits take."""
    everything = (procedure, *procedure.fragments.values())
    takes = dict.fromkeys(step.commit.takes for one in everything for step in _steps(one) if step.commit is not None)
    waits = sum((wait.at_least for one in everything for wait in one.waits.values()), Fraction(0))
    parts = [f"{cell(procedure.takes)} in all"] if procedure.takes else []
    parts += [f"{cell(' or '.join(takes))} from the commit point"] if takes else []
    if waits:
        parts.append(f"waits: {_span(waits)} at least")
    return "<br>".join(parts) or "not given"


def _span(seconds: Fraction) -> str:
    minutes = -(-seconds // 60)
    return f"{minutes} min" if minutes < 180 else f"{float(Fraction(minutes, 60)):.3g} h"


def _asks(procedure: Procedure) -> str:
    everything = (procedure, *procedure.fragments.values())
    asked = {name for one in everything for name in one.asks}
    read = sum(isinstance(step.gate, Reading) for one in everything for step in _steps(one))
    return f"{len(asked)} of the car" + (f"<br>{read} reading{'s' if read != 1 else ''}" if read else "")


def cell(text: str) -> str:
    """A text as one cell of a table: nothing in it is a sign of Markdown or HTML."""
    out = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return "".join(f"\\{sign}" if sign in "\\`*_[]|#" else sign for sign in out)
