"""What an event changes in what is known of the car: its conditions, its levels, and what a break leaves of them."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from msgspec.structs import replace

from runner.core import event as ev
from runner.core.stamp import Stamp
from runner.core.state import Enclosure, Out, State, enclosure


def with_conditions(state: State, changes: Mapping[str, str]) -> State:
    """The state in which these conditions have become so: since when, by whom, and which are known again."""
    if not changes:
        return state
    mark = (state.line, state.by)
    stamps = state.set_at
    if state.stamp is not None:
        stamps = {**stamps, **{c: state.stamp for c, v in changes.items() if v == "T"}}
    return replace(
        state,
        conditions={**state.conditions, **changes},
        since={**state.since, **dict.fromkeys(changes, mark)},
        set_at=stamps,
        unknown=tuple(c for c in state.unknown if changes.get(c, "U") == "U"),
    )


def with_levels(state: State, levels: Mapping[str, list[str] | None]) -> State:
    """The state with these levels; None where one is not known."""
    return replace(state, levels={**state.levels, **{k: enclosure(v) for k, v in levels.items()}})


def after_break(state: State, unknown: Mapping[str, str], levels: list[str]) -> State:
    """A break in the work: perishables and what a grant touched are unknown, warnings are read anew."""
    changing = state.out.touched if state.out is not None else ()
    known = {c: state.value(c) for c in unknown if c not in changing and state.value(c) != "U"}
    before = {c: v for c, v in state.before.items() if c not in changing} | known
    state = replace(with_conditions(state, unknown), before=before)
    lost = tuple(dict.fromkeys((*state.unknown, *sorted(c for c, v in unknown.items() if v == "U"))))
    owed = tuple(dict.fromkeys((*state.looks_owed, *levels)))
    state = with_levels(state, dict.fromkeys(levels))
    used = state.beats
    if state.out is not None:
        # Nothing is credited: what was granted counts as used.
        used = {**used, state.path: used.get(state.path, 0) + state.out.beats}
    return replace(
        state,
        unknown=lost,
        looks_owed=owed,
        beats=used,
        out=None,
        confirmed=frozenset(),
        in_effect=frozenset(),
        pending=None,
        started=None,
    )


def after_beats(state: State, event: ev.Granted | ev.Beaten | ev.Returned | ev.Looked | ev.LevelIs) -> State:
    """The state after a grant, a beat, what is given back, a look, or a level that is known anew."""
    match event:
        case ev.Granted(beats=beats, levels=levels, touched=touched, seconds=seconds, each=each):
            out = Out(
                beats=beats,
                used=0,
                since=state.stamp or Stamp(at="", mono=0, boot=""),
                seconds=Fraction(seconds),
                each=enclosure(each) or (Fraction(0), Fraction(0)),
                before={k: state.levels.get(k) for k in levels},
                touched={c: state.value(c) for c in touched},
            )
            return replace(with_levels(with_conditions(state, touched), dict(levels)), out=out)
        case ev.Beaten():
            out_now = state.out
            return state if out_now is None else replace(state, out=replace(out_now, used=out_now.used + 1))
        case ev.Returned(path=path, used=used, levels=moved, conditions=conditions, looks=looks):
            state = replace(
                with_levels(with_conditions(state, conditions), moved),
                out=None,
                looked=used > 0,  # where nothing was pumped nothing new is to be seen in the hose
                beats={**state.beats, path: state.beats.get(path, 0) + used},
            )
            return replace(state, looks_owed=tuple(dict.fromkeys((*state.looks_owed, *looks))))
        case ev.Looked(level=level, enclosure=pair):
            seen = enclosure(pair)
            owed = tuple(name for name in state.looks_owed if name != level)
            state = replace(state, looks_owed=owed, shown=state.stamp)
            return state if seen is None else with_look(state, level, seen)
        case ev.LevelIs(level=level, enclosure=pair, by_look=by_look, look_owed=look_owed):
            now = enclosure(pair)
            owed = state.looks_owed
            if by_look:
                owed = tuple(name for name in owed if name != level)
            if look_owed:
                owed = tuple(dict.fromkeys((*owed, level)))
            state = replace(state, looks_owed=owed)
            return (
                with_look(state, level, now) if by_look and now else replace(state, levels={**state.levels, level: now})
            )


def with_look(state: State, level: str, now: Enclosure) -> State:
    """The state with a level that was looked at; the first look of the run is kept."""
    first = state.first_looks if level in state.first_looks else {**state.first_looks, level: now}
    return replace(state, levels={**state.levels, level: now}, first_looks=first)
