"""What a signature covers and how it is written. Sizes of keys and signatures: RFC 8032, 5.1.5 and 5.1.6."""

import json
from hashlib import sha256

from hypothesis import given
from hypothesis import strategies as st

from runner.core.record import fingerprint
from runner.core.signature import Signature, binding, key_name, message, reference, told, understood

SIGNATURES = st.builds(Signature, st.binary(min_size=32, max_size=32), st.binary(min_size=64, max_size=64))


@given(SIGNATURES)
def test_a_written_signature_is_read_back(signature: Signature):
    assert understood(reference(signature)) == signature
    assert told(reference(signature)) == f"key {fingerprint(sha256(signature.key).hexdigest())}"
    assert key_name(signature.key) in told(reference(signature))


@given(SIGNATURES, st.integers(0, 137), st.characters(codec="ascii"))
def test_a_signature_has_one_spelling(signature: Signature, at: int, other: str):
    text = reference(signature)
    changed = text[:at] + other + text[at + 1 :]
    assert changed == text or understood(changed) != signature


@given(st.text())
def test_any_other_text_is_no_signature(text: str):
    assert understood(text) is None
    assert told(text) == text


@given(*[st.text(st.characters(codec="utf-8"))] * 4)
def test_what_is_signed_tells_its_four_parts_apart(head: str, at: str, who: str, meaning: str):
    said = json.loads(message(head, at, who, meaning))
    assert (said["prev"], said["at"], said["by"], said["meaning"]) == (head, at, who, meaning)


def test_no_key_of_small_order_binds_anybody():
    prime, of_eight = 2**255 - 19, bytes.fromhex("26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05")
    y, d = int.from_bytes(of_eight, "little"), -121665 * pow(121666, -1, prime)  # RFC 8032, 5.1
    assert (d * y**4 + 2 * y**2 - 1) % prime == 0, "twice this point has y = 0, so it is one of order 8"
    for small in (0, 1, prime - 1, y, prime - y, prime, prime + 1):
        for sign in (0, 2**255):
            assert not binding((small + sign).to_bytes(32, "little"))


def test_a_key_of_the_standard_binds():
    assert binding(bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"))  # RFC 8032, 7.1
