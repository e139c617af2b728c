"""A run stands on hold while another goes on on the same car: nothing that the first one holds is changed.

What a paused run holds may keep its proofs only if nobody touches it (rely and guarantee, Jones 1983, recalled).
"""

from __future__ import annotations

from random import Random

import pytest
from msgspec.structs import replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core.engine import decide
from runner.core.folding import fold
from runner.core.rational import to_text
from runner.core.stage import stage
from runner.core.state import State
from runner.verify import Checked, verify
from tests.oracle.generator import grown
from tests.oracle.history import changes
from tests.oracle.plan import built, printed
from tests.oracle.run import ACT_MS, Found, Spot, stamp
from tests.oracle.walker import Walk


def gone(walk: Walk, spot: Spot, r: Random, most: int) -> Spot:
    """The run so many acts later, by any of its ways."""
    for _ in range(most):
        try:
            ways = [s for s in walk.asked(spot, stage(walk.procedure, spot.state, stamp(spot.ms + ACT_MS))) if s]
        except Found:
            return spot
        if not ways or ways[0].state.phase == "ended":
            return spot
        spot = r.choice(ways)
    return spot


@pytest.mark.parametrize("first", range(0, 120, 40))
def test_a_second_run_changes_nothing_that_a_paused_one_holds(first: int) -> None:
    tried = kept = 0
    for seed in range(first, first + 40):
        plan = grown(seed)
        verdict = verify(procedure := built(plan))
        if not isinstance(verdict, Checked):
            continue
        r = Random(seed)
        walk = Walk(procedure)
        asks = next(walk.projection.cars())
        paused = walk.does(gone(walk, walk.begin(asks), r, r.randrange(3, 14)), ac.Hold())
        assert paused is not None
        car = paused.state
        if any(car.value(n) == "T" for n in car.conditions if n.partition("@")[0] in "on"):
            continue  # nobody confirms at the start that it is closed
        held = {c: "first" for c, v in car.conditions.items() if v != "U"}
        held |= {n: "first" for n, v in car.levels.items() if v}
        levels = {n: [to_text(v[0]), to_text(v[1])] for n, v in car.levels.items() if v is not None}
        first_run = walk.begin(asks).state.acts
        assert first_run is not None
        begin = replace(first_run.item[3], conditions=dict(car.conditions), levels=levels, claims=held)  # type: ignore[index]
        state, ms = State(by="JT"), paused.ms
        for act in [begin, *[None] * 20]:
            ms += ACT_MS
            act = act or asked(walk, state, ms, r)
            events = decide(procedure, state, act, stamp(ms), "JT")
            for event in events if act is not begin else ():
                for name, new in changes(event).items():
                    where = f"seed {seed}: '{name}' became {new} by {act}\n{printed(plan)}"
                    assert name not in held or new == car.conditions[name], where
                if isinstance(event, ev.LevelIs | ev.Granted):
                    assert not held.keys() & ({event.level} if isinstance(event, ev.LevelIs) else event.levels.keys())
            kept += any(isinstance(e, ev.Refused) and "held by" in e.why for e in events)
            state = fold(state, state.line + 1, stamp(ms), "JT", act, events)
        tried += 1
    assert tried >= 10
    assert kept >= 5


def asked(walk: Walk, state: State, ms: int, r: Random) -> ac.AnyAct:
    """What the second run asks for, or what it cannot do."""
    owed = stage(walk.procedure, state, stamp(ms))
    match owed.kind:
        case "summary":
            return ac.Assume()
        case "own caution" if owed.caution is not None:
            return ac.Confirm(hazard=owed.caution.name, key=owed.key)
        case "cautions":
            return ac.ConfirmRest()
        case "check":
            return ac.Answer(value=r.choice(("yes", "no")))
        case "choose" | "fluid":
            return ac.Answer(value=r.choice(owed.options))
        case "look":
            return ac.Look(level=owed.level, position=r.choice(owed.options))
        case "unknown":
            return ac.Attest(condition=owed.names[0], holds=r.random() < 0.5)
        case _:
            return ac.Done()
