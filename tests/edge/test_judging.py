"""What a version of the program judged, it judges alike for ever: a change of judgement is a new version."""

from __future__ import annotations

from pathlib import Path

import pytest

from runner.core.act import Begin
from runner.core.entry import Entry
from runner.core.graph import Procedure
from runner.core.replay import replay
from runner.edge import VERSION
from runner.edge.judging import OTHERWISE, excused
from runner.edge.opening import Opened, opened, rebuild

RUNS = sorted((Path(__file__).parent / "judged").glob("*.jsonl"))
FEWEST_KINDS = 40


def run(path: Path) -> tuple[str, tuple[Entry, ...], str]:
    """The version that judged a stored run, its lines, and what this version judges otherwise in it."""
    one = opened(path)
    assert isinstance(one, Opened), one
    assert not one.faults
    begin = one.entries[0].act
    assert isinstance(begin, Begin)
    made = rebuild(begin)
    if not isinstance(made, Procedure):
        return begin.version, one.entries, f"the procedure that it read cannot be read any more: {made[0].text}"
    mismatch = replay(made, one.entries)
    return begin.version, one.entries, "" if mismatch is None else f"line {mismatch.line}: {mismatch.text}"


@pytest.mark.parametrize("path", RUNS, ids=lambda path: path.stem)
def test_a_run_is_judged_as_its_version_judged_it(path: Path) -> None:
    version, _, otherwise = run(path)
    assert path.stem.startswith(f"{version}-")
    mend = (
        f"a change of judgement is a new version: raise VERSION in runner/edge/__init__.py and pyproject.toml, enter "
        f"{version} with what changed in OTHERWISE (runner/edge/judging.py), run 'python -m tests.edge.judged.make'"
    )
    assert not otherwise or version in OTHERWISE, f"{otherwise}; {mend}"


def test_this_version_has_runs_with_nearly_every_kind_of_event() -> None:
    own = [entries for version, entries, _ in map(run, RUNS) if version == VERSION]
    kinds = {type(event) for entries in own for entry in entries for event in entry.events}
    assert len(kinds) >= FEWEST_KINDS, f"run 'python -m tests.edge.judged.make': {VERSION} has {len(kinds)} kinds"


def test_no_version_is_excused_that_is_not_told_apart_by_its_runs() -> None:
    assert set(OTHERWISE) == {version for version, _, otherwise in map(run, RUNS) if otherwise}


@pytest.mark.parametrize(
    ("version", "is_excused"), [(VERSION, False), ("0.0.1", False), ("999.0.0", True), ("", False)]
)
def test_only_a_later_version_is_excused_unasked(version: str, *, is_excused: bool) -> None:
    assert (excused(version) is not None) is is_excused
