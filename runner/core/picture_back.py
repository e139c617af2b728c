"""Going back, as menu entries: confirm again, do again where it may be possible, correct a value that was typed."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from runner.core import act as ac
from runner.core import graph
from runner.core.bind import NOT_KNOWN
from runner.core.gates import OTHER
from runner.core.graph import Ask, Procedure, Step, spoken
from runner.core.mending import may_do_again
from runner.core.names import Names
from runner.core.panel import numbered
from runner.core.picture_value import answers_of, ask_field
from runner.core.state import SAFE_STOP, State, Visit, history
from runner.core.view import Field, Option
from runner.core.wording import title

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
            for path in (state.offers if state.diverged else may_do_again(procedure, state))[:_MOST]
        ]
    )


def corrections(procedure: Procedure, state: State) -> tuple[Option, ...]:
    """The values that were typed and count, newest first; last those with which the car was taken over."""
    names = {taken.line: name for name, all_taken in state.readings.items() for taken in all_taken}
    options: list[Option] = []
    accepted: int | None = None
    told = Names(procedure, state)
    for item in history(state.acts):
        if not isinstance(item, tuple) or len(options) >= _MOST:
            continue
        line, _, _, act = item
        if isinstance(act, ac.Accept):
            accepted = line
        elif isinstance(act, ac.Enter) and accepted in names:
            words = f"{told.of(names[accepted])}: {', '.join(act.typed)} {act.unit}".strip()
            way = (act.instrument, act.unit)
            options.append(_correction(line, words, "value", len(act.typed), way))
            accepted = None
        elif isinstance(act, ac.Report):
            options.append(_correction(line, f"how many were done: {act.used}", "whole number", 1, ("", "")))
        elif isinstance(act, ac.Supply) and any(name == act.name for name, _, _ in state.asks):
            options += _of_car(procedure, state, line, (act.name,))
        elif isinstance(act, ac.Begin):
            known = [name for name, entry in act.asks.items() if entry["value"] not in ("", NOT_KNOWN)]
            values = numbered(_of_car(procedure, state, line, known))
            if values:
                options.append(Option(key="", text="a value of the car", note=f"line {line + 1}", sub=values))
    return numbered(options)


def _of_car(procedure: Procedure, state: State, line: int, names: Sequence[str]) -> list[Option]:
    """The values of the car that were given in a line, as they are now."""
    asks = {name: ask for p in (procedure, *procedure.fragments.values()) for name, ask in p.asks.items()}
    now = {name: value for name, value, _ in state.asks}
    options: list[Option] = []
    for name in names:
        base, _, member = name.partition("@")
        ask = asks.get(base)
        if ask is None:
            continue
        reasons = [_value_meant(ask, ac.Correct(line=line, typed=[], reason=r, name=name)) for r in (*MISTAKES, OTHER)]
        words = f"{ask.what}{', ' if member else ''}{spoken(member)}: {now.get(name, NOT_KNOWN)}"
        options.append(Option(key="", text=words, note=f"line {line + 1}", sub=numbered(reasons)))
    return options


def _value_meant(ask: Ask, base: ac.Correct) -> Option:
    answers = answers_of(ask)
    if not answers:
        return Option(key="", text=base.reason, field=ask_field(ask, base))
    meant = [Option(key="", text=words, act=replace(base, typed=[value])) for value, words in answers.items()]
    return Option(key="", text=base.reason, sub=numbered(meant))


def _correction(line: int, words: str, kind: str, points: int, way: tuple[str, str]) -> Option:
    reasons = [
        Option(
            key="",
            text=reason,
            field=Field(
                what=f"the value that was meant in place of {words}",
                kind="value" if kind == "value" else "whole number",
                ways=(way,),
                points=points,
                base=ac.Correct(line=line, typed=[], reason=reason),
            ),
        )
        for reason in (*MISTAKES, OTHER)
    ]
    return Option(key="", text=words, note=f"line {line + 1}", sub=numbered(reasons))
