"""What a signature covers and how it is written. Sizes of keys and signatures: RFC 8032, 5.1.5 and 5.1.6."""

import json
from hashlib import sha256

from hypothesis import given
from hypothesis import strategies as st

from runner.core.record import fingerprint
from runner.core.signature import Signature, key_name, message, reference, told, understood

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
