"""A rehearsed run as a file of answers: `run --answers` goes the same way with it."""

from collections.abc import Iterable, Mapping

from runner.core.graph import Procedure
from runner.edge.trials import Given


def answers_text(procedure: Procedure, given: Iterable[Given], note: str) -> str:
    """The run as a file of answers, in YAML."""
    every = tuple(given)
    lines = [f"answers: {procedure.name}", f"note: {_quoted(note)}"]
    for table in ("looks", "supply", "steps"):
        rows: dict[str, list[str]] = {}
        for one in every:
            if one.table == table:
                rows.setdefault(one.name, []).append(_one(one.said))
        if table == "supply":
            rows = {name: items[:1] for name, items in rows.items()}
        if not rows and table != "steps":
            continue
        lines.append(f"{table}:" if rows else f"{table}: {{}}")
        lines += [f"  {_quoted(name)}: {_listed(items, table)}" for name, items in rows.items()]
    return "\n".join(lines) + "\n"


def _listed(items: Iterable[str], table: str) -> str:
    every = list(items)
    return every[0] if table == "supply" else "[" + ", ".join(every) + "]"


def _one(said: Mapping[str, str | tuple[str, ...]]) -> str:
    if set(said) == {"value"} and isinstance(said["value"], str):
        return _quoted(said["value"])
    parts = (
        f"{key}: {_quoted(value) if isinstance(value, str) else '[' + ', '.join(map(_quoted, value)) + ']'}"
        for key, value in said.items()
    )
    return "{" + ", ".join(parts) + "}"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
