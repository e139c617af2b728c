"""The proofs against the real engine: what they pass never breaks, and what never breaks they pass.

``WITNESSMARK_LONG=1`` walks 20,000 procedures; ``WITNESSMARK_ORACLE`` sets another number. Each failure has its seed.
"""

from __future__ import annotations

import os

import pytest

from tests.oracle.bugs import BUGS, put_in
from tests.oracle.campaign import Tally, campaign, missed

LONG = bool(os.environ.get("WITNESSMARK_LONG"))
GRAPHS = int(os.environ.get("WITNESSMARK_ORACLE", "20000" if LONG else "2000"))
FIRST = int(os.environ.get("WITNESSMARK_ORACLE_SEED", "0"))


@pytest.fixture(scope="module")
def tally() -> Tally:
    made = campaign(FIRST, FIRST + GRAPHS)
    print(made)
    return made


def test_what_the_proofs_pass_never_breaks_whatever_anybody_does(tally: Tally) -> None:
    assert tally.failures == [], f"{len(tally.failures)} in all\n" + "\n".join(tally.failures[:3])
    assert tally.outer >= GRAPHS // 10


def test_what_never_breaks_is_passed(tally: Tally) -> None:
    refused = tally.alarms["procedures"]
    assert tally.sound - refused >= 0.95 * tally.sound, tally.alarms


def test_the_procedures_tried_are_such_that_something_can_go_wrong(tally: Tally) -> None:
    assert tally.clean >= 0.30 * tally.graphs
    assert tally.rich >= 0.25 * tally.graphs
    assert tally.cut <= 0.05 * tally.graphs


@pytest.mark.parametrize("name", BUGS)
def test_a_fault_in_the_proofs_is_noticed_within_2000_procedures(name: str, tally: Tally) -> None:
    with put_in(name):
        seed = missed(s for s in tally.broken if s < FIRST + 2000)
    assert seed is not None, f"'{name}' lets nothing pass that breaks"
