"""What the walks have found, each as the smallest procedure that showed it."""

from __future__ import annotations

from dataclasses import replace

from runner.core import act as ac
from runner.core.graph import Ask, Procedure
from runner.core.stage import stage
from runner.verify import Checked, verify
from tests.oracle.generator import grown
from tests.oracle.plan import built
from tests.oracle.run import ACT_MS, Spot, stamp
from tests.oracle.walker import Walk
from tests.verify.build import duty, each, end, fact, here, opening, phase, procedure, rule, step, strokes


def refused(made: Procedure) -> set[str]:
    """The proofs that complain."""
    verdict = verify(made)
    return set() if isinstance(verdict, Checked) else {f.check for f in verdict}


def after(walk: Walk, *acts: ac.AnyAct) -> Spot:
    """The run after the start and these acts."""
    spot = walk.begin({})
    for act in (ac.Assume(), *acts):
        new = walk.does(spot, act)
        assert new is not None
        spot = new
    return spot


def test_what_must_follow_itself_is_owed_after_the_last_time() -> None:
    must = [rule("must_follow", "deed stir", "deed stir")]
    made = procedure(step("one", "two", deeds=("stir",)), step("two", "done", deeds=("stir",)), end(), rules=must)
    assert refused(made) == {"rule"}
    broken = Walk(made).broken()
    assert broken is not None
    assert broken.why.startswith("stuck at 'done'")


def test_the_messages_of_a_count_are_asked_for_again_in_another_pass_over_its_block() -> None:
    beat = (phase("Open it.", makes=("n",)), phase("Close it.", ends=("n",)))
    count = step("press", {"clear": "next corner"}, gate=strokes(*beat, bound="safe stop"), cautions=("squirt",))
    made = procedure(
        step("first", "all"),
        each("all", "done", count, order=("RR", "LF")),
        end(),
        conditions=[opening("n", index="corner")],
        duties=[duty("while", "n", hazards=("squirt",))],
        assumes=("none n",),
    )
    assert refused(made) == set()
    walk = Walk(made)
    spot = after(walk, ac.Done())
    owed = stage(made, spot.state, stamp(spot.ms + ACT_MS))
    assert owed.caution is not None
    confirmed = walk.does(spot, ac.Confirm(hazard="squirt", key=owed.key))
    assert confirmed is not None
    again = walk.does(confirmed, ac.DoAgain(path="first", admissible=True))
    assert again is not None
    back = walk.does(again, ac.Done())
    assert back is not None
    assert back.state.path == "all/RR/press"
    assert stage(made, back.state, stamp(back.ms + ACT_MS)).kind == "cautions"


def test_what_does_not_keep_is_not_asked_for_at_the_end() -> None:
    worn = replace(fact("gloves_on"), keeps="this stretch")
    made = procedure(
        step("on", "done", makes=("gloves_on",)), end(), conditions=[worn], rules=[rule("at_end", "gloves_on")]
    )
    assert refused(made) == {"restore"}
    walk = Walk(made, outer=1)
    broken = walk.broken()
    assert broken is not None
    assert broken.why.startswith("stuck at 'done'")


def test_every_value_of_the_car_is_walked() -> None:
    asks = {"valve": Ask(name="valve", what="valve", kind="choice", options=("fitted", "missing"), place=here())}
    made = procedure(
        step("pour", "done", deeds=("pour",)),
        end(),
        conditions=[fact("can_open")],
        duties=[duty("deed", "pour", "can_open", unless=("valve", "fitted"))],
        asks=asks,
    )
    broken = Walk(made).broken()
    assert broken is not None
    assert "missing" in broken.acts()[0]


def test_what_does_not_keep_is_not_asked_for_by_a_closing_on_leaving() -> None:
    """Seed 14622: a fact ran out, and the opening that is closed with its help was left open."""
    assert refused(built(grown(14622))) == {"restore"}


def test_a_step_that_makes_a_fact_twice_makes_it_alone() -> None:
    """Seed 6531: what a break took away could not be made true again."""
    made = built(grown(6531))
    checked = verify(made)
    assert isinstance(checked, Checked)
    assert Walk(made, checked=checked, outer=1).broken() is None
