"""A record can be verified by somebody who has nothing but the file and a few lines of any language.

Nothing of the program is imported here. SHA-256: FIPS 180-4, its examples recalled. Canonical form: RFC 8785, which
for whole numbers and keys within U+FFFF is sorted keys, no spaces, nothing escaped that need not be.
"""

import hashlib
import json
from pathlib import Path

import pytest

TAPE = Path(__file__).parent / "core" / "tapes" / "v1.jsonl"


def wrong_line(data: bytes) -> int | None:
    """The number of the first line that is wrong."""
    before = "0" * 64
    for n, stored in enumerate(data.split(b"\n")[:-1]):
        try:
            line = json.loads(stored)
        except ValueError:
            return n + 1
        if not isinstance(line, dict) or plain(line) != stored:
            return n + 1
        said = line.pop("hash", None)
        if said != hashlib.sha256(plain(line)).hexdigest() or line["prev"] != before or line["n"] != n:
            return n + 1
        before = said
    return None


def plain(value: object) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode("utf-8")


def test_a_stranger_finds_the_stored_record_whole():
    data = TAPE.read_bytes()
    assert wrong_line(data) is None
    assert data.count(b"\n") == 4


def test_a_stranger_finds_every_changed_byte_at_its_line():
    data = TAPE.read_bytes()
    for at in range(len(data) - 1):
        changed = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
        assert wrong_line(changed) == data[:at].count(b"\n") + 1


def test_a_stranger_finds_a_removed_a_doubled_and_a_moved_line():
    one, two, three, four = TAPE.read_bytes().splitlines(keepends=True)
    assert wrong_line(one + three + four) == 2
    assert wrong_line(one + two + two + three + four) == 3
    assert wrong_line(one + three + two + four) == 2


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
    ],
)
def test_the_digest_is_the_published_one(message, digest):
    assert hashlib.sha256(message).hexdigest() == digest


def test_the_plain_form_is_that_of_the_published_sample():
    sample = '{"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}'
    expected = '{"literals":[null,true,false],"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'  # RFC 8785, recalled
    assert plain(json.loads(sample)) == expected.encode()
