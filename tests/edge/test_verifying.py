"""A record that another version of the program wrote: what that one judged otherwise is neither whole nor at fault."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from runner.core import act as ac
from runner.core import event as ev
from runner.core.entry import Entry
from runner.core.line import Head, seal
from runner.edge import VERSION
from runner.edge.clock import SteppedClock
from runner.edge.judging import OTHERWISE
from runner.edge.signoff import audit_sign
from runner.edge.verifying import NOT_JUDGED, audit_verify
from tests.edge.small import USUAL, begin, lines
from tests.edge.test_exporting import photographed

OLD = "0.0.9"
LATER = "9.0.0"


@pytest.fixture(autouse=True)
def judged_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    """There was a version that judged otherwise."""
    monkeypatch.setitem(OTHERWISE, OLD, "why a step was left")


def otherwise(told: tuple[Entry, ...], *numbers: int) -> tuple[Entry, ...]:
    """The lines (from 1) as an engine that judged otherwise would have written them: left for another reason."""
    made = list(told)
    for number in numbers:
        one = made[number - 1]
        events = tuple(
            msgspec.structs.replace(event, because="as the engine of then said")
            if isinstance(event, ev.Left)
            else event
            for event in one.events
        )
        assert events != one.events
        made[number - 1] = Entry(one.line, one.stamp, one.by, one.act, events)
    return tuple(made)


def sealed(folder: Path, told: tuple[Entry, ...]) -> Path:
    head, raws = Head(), []
    for one in told:
        raws.append(seal(head, one.stamp, one.by, one.act, one.events))
        head = head.after(raws[-1])
    path = folder / "run-1.jsonl"
    path.write_bytes(b"".join(raws))
    return path


def written_by(version: str, *more: ac.AnyAct) -> tuple[Entry, ...]:
    return lines((begin(version=version), *USUAL[1:-1], *more))[1]


@pytest.mark.parametrize(("version", "why"), [(OLD, ", which judges otherwise: why a step was left"), (LATER, "")])
def test_a_record_that_another_version_judged_otherwise_is_not_called_whole(tmp_path: Path, version: str, why: str):
    path = sealed(tmp_path, otherwise(written_by(version), 5))
    text, code = audit_verify([path], None, False)
    assert code == NOT_JUDGED
    remark, verdict = text.splitlines()
    said = f"judged by witnessmark {version}, this is {VERSION}{why}: replay differs at line 5: "
    assert remark.startswith(f"{path}:5: warning: judged otherwise: {said}")
    assert f"{path}: NOT JUDGED: 12 lines hang together, verify them with that version; fingerprint " in verdict


@pytest.mark.parametrize("version", ["0.0.8", "0.0", "", "0.1.0-forged", "９.0.0", "9.0.0 ", "1e9"])
def test_a_version_that_judged_no_otherwise_excuses_nothing(tmp_path: Path, version: str):
    text, code = audit_verify([sealed(tmp_path, otherwise(written_by(version), 5))], None, False)
    assert code == 1
    assert ":5: not the engine's: " in text
    assert "none judged otherwise" in text


def test_a_record_of_another_version_that_this_one_judges_alike_is_simply_whole(tmp_path: Path):
    text, code = audit_verify([sealed(tmp_path, written_by(OLD))], None, False)
    assert (code, "12 lines, replayed; fingerprint" in text, "judged" in text) == (0, True, False)


def test_what_this_version_wrote_must_replay(tmp_path: Path):
    text, code = audit_verify([sealed(tmp_path, otherwise(written_by(VERSION), 5))], None, False)
    assert code == 1
    assert ":5: not the engine's: " in text


def test_another_version_excuses_no_broken_chain(tmp_path: Path):
    path = sealed(tmp_path, otherwise(written_by(OLD), 5))
    data = path.read_bytes()
    path.write_bytes(data.replace(b'"value":"2"', b'"value":"3"', 1))
    assert audit_verify([path], None, False)[1] == 1


def test_the_lines_after_this_version_went_on_with_a_record_must_replay(tmp_path: Path):
    back = (ac.Hold(), ac.Resume(clean=True, by="AB", version=VERSION), ac.Attest(condition="goggles_on", holds=True))
    acts = (*USUAL[1:5], *back, *USUAL[5:-1])
    told = lines((begin(version=OLD), *acts))[1]
    assert audit_verify([sealed(tmp_path, otherwise(told, 5))], None, False)[1] == NOT_JUDGED
    text, code = audit_verify([sealed(tmp_path, otherwise(told, 5, 10))], None, False)
    assert code == 1
    found = [line.split(": ")[:2] for line in text.splitlines() if ":10" in line or ":5" in line]
    assert [kind for _, kind in found] == ["not the engine's", "warning"]


def test_a_procedure_that_this_version_cannot_read_is_no_fault_of_another_versions_record(tmp_path: Path):
    texts = {"pad-look.yaml": "procedure: pad-look\nof_another_time: yes\n"}
    told = written_by(OLD)
    first = msgspec.structs.replace(told[0].act, texts=texts, hashes={})
    path = sealed(tmp_path, (Entry(0, told[0].stamp, told[0].by, first, told[0].events), *told[1:]))
    text, code = audit_verify([path], None, False)
    assert code == NOT_JUDGED
    assert f":1: warning: judged otherwise: judged by witnessmark {OLD}" in text
    assert "cannot be read" in text


@pytest.mark.parametrize("version", [OLD, VERSION])
def test_nobody_signs_here_what_is_judged_here_otherwise(tmp_path: Path, version: str):
    path = sealed(tmp_path, otherwise(written_by(version), 5))
    before = path.read_bytes()
    text, code = audit_sign(tmp_path, "run-1", "performed", "AB", tmp_path / "keys", SteppedClock())
    assert code == 1
    assert "not signed: " in text
    assert (f"judged by witnessmark {OLD}, this is {VERSION}" in text) is (version == OLD)
    assert path.read_bytes() == before


def test_what_another_version_judged_alike_is_signed(tmp_path: Path):
    told = written_by(OLD)
    path = sealed(tmp_path, told)
    clock = SteppedClock(told[-1].stamp)
    text, code = audit_sign(tmp_path, "run-1", "performed", "AB", tmp_path / "keys", clock)
    assert code == 0, text
    assert audit_verify([path], None, False)[1] == 0


def test_json_says_it_too(tmp_path: Path):
    path = sealed(tmp_path, otherwise(written_by(OLD), 5))
    [one] = json.loads(audit_verify([path], None, True)[0])["records"]
    assert (one["whole"], [w["kind"] for w in one["warnings"]]) == (False, ["judged otherwise"])


def test_a_picture_that_was_changed_is_named_at_its_line_and_one_that_is_gone_is_remarked_on(tmp_path: Path):
    kept = photographed(tmp_path, b"\x89PNG as it was taken")
    path = tmp_path / "run-1.jsonl"
    assert ": picture" not in audit_verify([path], None, False)[0]
    kept.write_bytes(b"\x89PNG another one")
    text, code = audit_verify([path], None, False)
    assert code == 1
    assert f"{path}:11: picture changed: the picture 'batch' is not the one that was taken" in text
    kept.unlink()
    text, code = audit_verify([path], None, False)
    assert code == 0
    assert f"{path}:11: warning: picture missing: the picture 'batch' is not beside the record" in text
