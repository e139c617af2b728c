"""Going back, as menu entries: confirm again, do again where it may be possible, correct a value that was typed."""

from __future__ import annotations

from runner.core import act as ac
from runner.core import graph
from runner.core.graph import Procedure, Step
from runner.core.mending import may_do_again
from runner.core.panel import numbered
from runner.core.picture_gate import OTHER
from runner.core.state import SAFE_STOP, State, Visit, history
from runner.core.view import Field, Option
from runner.core.wording import plain, title

MISTAKES = ("mistyped", "misread", "wrong place measured", "wrong unit", "wrong instrument")
_MOST = 45


def confirm_again(procedure: Procedure, state: State) -> tuple[Option, ...]:
    """The steps that were passed, newest first: from each the gates may be asked again up to now."""
    if state.path in ("", SAFE_STOP) or state.phase != "running" or state.out is not None:
        return ()
    passed: dict[str, bool] = {}
    for visit in history(state.trail):
        path = visit.path if isinstance(visit, Visit) else ""
        if path not in passed:
            passed[path] = isinstance(graph.find(procedure, path).node, Step)
        if len(passed) >= _MOST:
            break
    steps = [path for path, is_step in passed.items() if is_step]
    return numbered(
        [
            Option(key="", text=f"from: {title(graph.find(procedure, p), state)}", act=ac.ConfirmAgain(path=p))
            for p in steps
        ]
    )


def do_again(procedure: Procedure, state: State) -> tuple[Option, ...]:
    """The earlier steps to which a checked jump may lead, latest first; the verdict is filled in when chosen."""
    if state.out is not None or state.phase not in ("running", "safe stop"):
        return ()
    return numbered(
        [
            Option(
                key="",
                text=title(graph.find(procedure, path), state),
                note="checked when chosen",
                act=ac.DoAgain(path=path, admissible=False),
            )
            for path in (state.offers or may_do_again(procedure, state))[:_MOST]
        ]
    )


def corrections(state: State) -> tuple[Option, ...]:
    """The values that were typed and count, newest first; behind each the reasons."""
    names = {taken.line: name for name, all_taken in state.readings.items() for taken in all_taken}
    options: list[Option] = []
    accepted: int | None = None
    for item in history(state.acts):
        if not isinstance(item, tuple) or len(options) >= _MOST:
            continue
        line, _, _, act = item
        if isinstance(act, ac.Accept):
            accepted = line
        elif isinstance(act, ac.Enter) and accepted in names:
            words = f"{plain(names[accepted])}: {', '.join(act.typed)} {act.unit}".strip()
            way = (act.instrument, act.unit)
            options.append(_correction(line, words, "value", len(act.typed), way))
            accepted = None
        elif isinstance(act, ac.Report):
            options.append(_correction(line, f"how many were done: {act.used}", "whole number", 1, ("", "")))
    return numbered(options)


def _correction(line: int, words: str, kind: str, points: int, way: tuple[str, str]) -> Option:
    reasons = [
        Option(
            key="",
            text=reason,
            field=Field(
                what="the value that was meant",
                kind="value" if kind == "value" else "whole number",
                ways=(way,),
                points=points,
                base=ac.Correct(line=line, typed=[], reason=reason),
            ),
        )
        for reason in (*MISTAKES, OTHER)
    ]
    return Option(key="", text=words, note=f"line {line + 1}", sub=numbered(reasons))
