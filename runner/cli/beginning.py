"""The first act of a run: it holds all that a replay needs, years later."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from hashlib import sha256

from runner.cli.proving import Ready, asked
from runner.core import act as ac
from runner.core.graph import Procedure, instances
from runner.edge import VERSION
from runner.edge.garage import Taken

NOTHING = Taken(conditions={}, levels={}, waits={}, claims={}, heads={}, unfinished=(), warnings=())
"""A car of which no record tells."""


def begin(ready: Ready, taken: Taken, *, demonstration: bool, rehearsal: bool = False, salt: str = "") -> ac.Begin:
    """The first act of a run: what is run, on which car, and in which state the car is taken over."""
    procedure, car = ready.procedure, ready.car
    wanted = asked(procedure)
    return ac.Begin(
        procedure=procedure.name,
        revision=procedure.revision,
        version=VERSION,
        texts=dict(procedure.texts),
        hashes=_hashes(procedure.texts),
        car=car.reference,
        demonstration=demonstration,
        rehearsal=rehearsal,
        salt=salt or secrets.token_hex(8),
        asks={k: dict(v) for k, v in car.asks.items() if k.partition("@")[0] in wanted and v.get("value")},
        conditions=dict(car.conditions) | {k: v for k, v in taken.conditions.items() if k in _instances(procedure)},
        levels={k: v for k, v in taken.levels.items() if k in procedure.levels},
        waits=dict(taken.waits),
        parts=dict(car.parts),
        instruments={k: dict(v) for k, v in car.instruments.items()},
        claims=dict(taken.claims),
        heads=dict(taken.heads),
    )


def _instances(procedure: Procedure) -> frozenset[str]:
    return frozenset(instances(procedure.conditions))


def _hashes(texts: Mapping[str, str]) -> dict[str, str]:
    return {name: sha256(text.encode()).hexdigest() for name, text in texts.items()}
