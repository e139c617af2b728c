"""Signatures on records: three printed fields (21 CFR 11.50(a)), bound to the record (11.70), Ed25519 (RFC 8032)."""

import json
import os
from base64 import urlsafe_b64decode
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from runner.core.record import read
from runner.edge.auditing import audit_show
from runner.edge.clock import SteppedClock
from runner.edge.disk import NotRecorded
from runner.edge.opening import Answer
from runner.edge.signing import signed
from runner.edge.signoff import audit_sign
from runner.edge.verifying import audit_verify
from tests.edge.small import USUAL, record
from tests.edge.test_auditing import chained, edited, faults

UNSIGNED = USUAL[:-1]


def sign(folder: Path, run: str = "run-1", meaning: str = "performed", by: str = "", keys: str = "keys") -> Answer:
    return audit_sign(folder, run, meaning, by, folder / keys, SteppedClock())


@pytest.fixture
def signed_record(tmp_path: Path) -> Path:
    path = record(tmp_path, UNSIGNED)
    assert sign(tmp_path)[1] == 0
    return path


def test_a_signature_prints_name_time_and_meaning_and_verifies(tmp_path: Path):
    path = record(tmp_path, UNSIGNED)
    text, code = sign(tmp_path)
    assert code == 0
    printed = dict(line.split(None, 1) for line in text.splitlines()[1:])
    assert printed["name"] == "AB"
    assert printed["meaning"] == "performed"
    assert printed["time"] == read(path.read_bytes()).lines[-1].at
    told, code = audit_verify([path], None, False)
    assert code == 0
    said = f"signed: AB, performed, {printed['time']}, {printed['signature'].removeprefix('signature')}"
    assert f"{path}:13: {said}" in told
    assert f"signed by AB: performed ({printed['signature']})" in audit_show(tmp_path, "run-1", False)[0]


def test_several_people_sign_one_record_one_after_the_other(signed_record: Path):
    assert sign(signed_record.parent, meaning="reviewed", by="CD")[1] == 0
    assert sign(signed_record.parent, meaning="approved", by="EF", keys="other")[1] == 0
    text, code = audit_verify([signed_record], None, False)
    assert code == 0
    told = [line.rpartition(" signed: ")[2] for line in text.splitlines() if " signed: " in line]
    assert [line.split(", ")[0] for line in told] == ["AB", "CD", "EF"]
    assert len({line.rpartition("key ")[2] for line in told}) == 2


@pytest.mark.parametrize("field", ["initials", "meaning"])
def test_an_edited_signature_fails_though_all_is_sealed_anew(signed_record: Path, field: str):
    raws = signed_record.read_bytes().splitlines()
    line = json.loads(raws[-1])
    line["act"][field] = line["events"][-1][field] = {"initials": "ZZ", "meaning": "approved"}[field]
    if field == "initials":
        line["by"] = "ZZ"
    signed_record.write_bytes(chained([*raws[:-1], json.dumps(line).encode()]))
    assert read(signed_record.read_bytes()).fault is None
    assert faults(signed_record) == [(13, "signature")]


def test_a_time_that_was_changed_breaks_the_signature(signed_record: Path):
    raws = signed_record.read_bytes().splitlines()
    signed_record.write_bytes(chained([*raws[:-1], edited(raws[-1], at="2026-01-01T09:59:00.000Z")]))
    assert (13, "signature") in faults(signed_record)


def test_a_signature_that_was_moved_to_another_record_fails(signed_record: Path, tmp_path: Path):
    line = json.loads(signed_record.read_bytes().splitlines()[-1])
    other = record(tmp_path, (*UNSIGNED[:-4], *UNSIGNED[-4:]), name="run-2")
    raws = other.read_bytes().splitlines()
    raws[1] = edited(raws[1], mono=json.loads(raws[1])["mono"] + 1)
    other.write_bytes(chained([*raws, json.dumps(line).encode()]))
    assert read(other.read_bytes()).fault is None
    assert faults(other) == [(13, "signature")]


def test_a_rebuilt_record_cannot_keep_its_signature(signed_record: Path):
    raws = signed_record.read_bytes().splitlines()
    signed_record.write_bytes(chained([edited(raws[0], by="CD"), *raws[1:]]))
    assert (13, "signature") in faults(signed_record)


@pytest.mark.parametrize("text", ["ed25519:AA:BB", "see the paper", "ed25519:" + "A" * 43 + ":" + "A" * 86])
def test_a_text_that_is_no_signature_does_not_pass_as_one(signed_record: Path, text: str):
    raws = signed_record.read_bytes().splitlines()
    line = json.loads(raws[-1])
    line["act"]["reference"] = line["events"][-1]["reference"] = text
    signed_record.write_bytes(chained([*raws[:-1], json.dumps(line).encode()]))
    assert faults(signed_record) == [(13, "signature")]


def test_a_key_under_which_one_text_fits_many_records_signs_nothing(signed_record: Path):
    raws = signed_record.read_bytes().splitlines()
    text = "ed25519:" + "A" * 43 + ":" + "A" * 86  # a point of order 4: this text fits every fourth message
    for nth in range(12):
        line = json.loads(raws[-1])
        line["act"]["reference"] = line["events"][-1]["reference"] = text
        line["at"] = f"{line['at'][:-4]}{nth:03}Z"
        signed_record.write_bytes(chained([*raws[:-1], json.dumps(line).encode()]))
        assert (13, "signature") in faults(signed_record)


def test_a_name_without_a_key_is_said_to_be_one(tmp_path: Path):
    path = record(tmp_path)
    assert "AB, performed, 2026-01-01T08:04:00.000Z, without a key" in audit_verify([path], None, False)[0]


def test_a_stranger_verifies_a_signature_without_this_program(signed_record: Path):
    line = json.loads(signed_record.read_bytes().splitlines()[-1])
    _, key, value = (part + "=" * (-len(part) % 4) for part in line["act"]["reference"].split(":"))
    over = {
        "at": line["at"], "by": line["act"]["initials"], "meaning": line["act"]["meaning"], "prev": line["prev"],
        "signs": "witnessmark record",
    }  # fmt: skip
    public = Ed25519PublicKey.from_public_bytes(urlsafe_b64decode(key))
    for meaning in ("performed", "approved"):
        plain = json.dumps(over | {"meaning": meaning}, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        if meaning == "performed":
            public.verify(urlsafe_b64decode(value), plain.encode())
        else:
            with pytest.raises(InvalidSignature):
                public.verify(urlsafe_b64decode(value), plain.encode())


def test_the_key_is_made_once_for_its_owner_alone(tmp_path: Path):
    keys = tmp_path / "deep" / "keys"
    first = signed(keys, "0" * 64, "", "AB", "performed")
    [file] = keys.iterdir()
    assert (file.stat().st_mode & 0o777, keys.stat().st_mode & 0o777) == (0o600, 0o700)
    assert signed(keys, "0" * 64, "", "AB", "performed") == first


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_key_that_others_can_read_is_not_used(tmp_path: Path, mode: int):
    path = record(tmp_path, UNSIGNED)
    before = path.read_bytes()
    signed(tmp_path / "keys", "0" * 64, "", "AB", "performed")
    [file] = (tmp_path / "keys").iterdir()
    file.chmod(mode)
    text, code = sign(tmp_path)
    assert code == 2
    assert f"others could read or change this key; make it yours alone: chmod 600 {file}" in text
    assert path.read_bytes() == before


def test_a_file_that_is_no_key_is_told_and_kept(tmp_path: Path):
    (tmp_path / "keys").mkdir()
    file = tmp_path / "keys" / "signing-key.pem"
    file.touch(mode=0o600)
    with pytest.raises(NotRecorded, match="this is no signing key"):
        signed(tmp_path / "keys", "0" * 64, "", "AB", "performed")
    assert file.read_bytes() == b""
    file.unlink()
    os.symlink("elsewhere", file)
    with pytest.raises(NotRecorded, match="symbolic link"):
        signed(tmp_path / "keys", "0" * 64, "", "AB", "performed")


def test_what_cannot_be_signed_stays_as_it_is(tmp_path: Path):
    open_run = record(tmp_path, USUAL[:5], name="open")
    before = open_run.read_bytes()
    text, code = sign(tmp_path, "open")
    assert (text, code) == ("not signed: the run is not over: finish or stop it first", 1)
    record(tmp_path, UNSIGNED)
    assert sign(tmp_path, meaning="approved") == ("not signed: say who has approved it: --by INITIALS", 2)
    assert sign(tmp_path, "no")[1] == 2
    broken = record(tmp_path, UNSIGNED, name="broken")
    broken.write_bytes(broken.read_bytes().replace(b"4.51", b"4.15", 1))
    text, code = sign(tmp_path, "broken")
    assert code == 1
    assert "the record is at fault" in text
    assert open_run.read_bytes() == before
