"""Which conditions a procedure has to do with: those that it names, and no other of the shared vocabulary."""

from __future__ import annotations

from runner.core.concerns import concerned
from tests.core.bench import begun
from tests.library import procedure


def test_what_steps_beats_and_assumptions_name_is_what_the_work_has_to_do_with() -> None:
    found = concerned(begun().procedure)
    assert {"hose_on", "nipple_open", "goggles_on"} <= found


def test_the_fragments_that_are_called_count_and_the_rest_of_the_vocabulary_does_not() -> None:
    whole = procedure("coolant-exchange")
    found = concerned(whole)
    assert "parking_brake_on" in found
    assert "nipple_freed" not in found
    assert found <= set(whole.conditions)
