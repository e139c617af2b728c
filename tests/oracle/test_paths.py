"""A path that the proofs print is one that the engine can be driven along."""

from __future__ import annotations

import os
from collections import Counter

from tests.oracle.along import Along, shown
from tests.oracle.generator import grown
from tests.oracle.plan import built

FIRST = int(os.environ.get("WITNESSMARK_ORACLE_SEED", "0"))
GRAPHS = 1_500 if os.environ.get("WITNESSMARK_LONG") else 400


def test_the_engine_goes_every_printed_path_as_far_as_a_fault() -> None:
    """Lost counts by cause: levels, bounds and the order that is a value of the car are followed apart."""
    came: Counter[tuple[str, str]] = Counter()
    lost: list[str] = []
    for seed in range(FIRST, FIRST + GRAPHS):
        procedure = built(grown(seed))
        for way in shown(procedure):
            fate = Along(procedure, way).arrives()
            came[", ".join(sorted(way.blurred)), fate] += 1
            if fate == "lost" and not way.blurred:
                lost.append(f"seed {seed}, {way.check}: {way.text}: {way.left}, {way.last}")
    print(came)
    assert lost == []
    plain = {fate: n for (blurred, fate), n in came.items() if not blurred}
    assert sum(plain.values()) >= GRAPHS // 10
    assert plain["there"] >= 0.8 * sum(plain.values())
