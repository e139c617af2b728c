"""Sources: RFC 8785 (canonical form), FIPS 180-4 (SHA-256), RFC 4648 (base32), RFC 3339 (times)."""

import json
import random
from hashlib import sha256
from pathlib import Path

import msgspec
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from runner.core.line import FORMAT, ZEROS
from runner.core.record import Head, Line, clock_faults, fingerprint, read, seal
from runner.core.stamp import MS, SECOND, Stamp, at_ms, at_text, elapsed

START = at_ms("2026-01-01T08:00:00.000Z")
TEXTS = [
    "Loosen the nipple.",
    "line\nbreak \u2028 \u0085 \x0b",
    'quote " , "hash":" ,"mono":1',
    "Ⅷ 🜨 \u202e \ufeff",
    "",
]


def stamp(n: int) -> Stamp:
    return Stamp(at_text(START + 1_500 * n), 1_500 * MS * n, "demo-boot")


def sealed(count: int, salt: str = "", head: Head | None = None) -> list[bytes]:
    head = head or Head()
    lines = []
    for n in range(head.n, head.n + count):
        act = {"act": "confirm", "text": TEXTS[n % len(TEXTS)] + salt, "n": n, "hash": ZEROS, "mono": 1}
        lines.append(seal(head, stamp(n), "AB", act, [{"event": "confirmed", "key": "7"}, {"event": "arrived"}]))
        head = head.after(lines[-1])
    return lines


def joined(*lines: bytes) -> bytes:
    return b"".join(lines)


def reseal(line: bytes, **changes: object) -> bytes:
    """The line with other values and a hash that fits them, as a forger makes it."""
    body = {k: v for k, v in json.loads(line).items() if k != "hash"} | changes
    return rfc8785.dumps(body | {"hash": sha256(rfc8785.dumps(body)).hexdigest()}) + b"\n"


def by_hand(body: dict[str, object]) -> bytes:
    return json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


FIVE = sealed(5)
DATA = joined(*FIVE)
# Small lines, so that every byte can be tried with several masks.
SMALL = seal(Head(), stamp(0), "AB", {"act": "go", "é": "🜨"}, [])
SMALL += seal(Head().after(SMALL), stamp(1), "AB", {"act": "on"}, [{"event": "x", "n": 10}])
SMALL += seal(Head(1).after(SMALL), stamp(2), "CD", {"act": "off"}, [])


def test_a_sealed_record_reads_back_whole():
    record = read(DATA)
    assert record.fault is None
    assert record.torn == b""
    assert [line.n for line in record.lines] == [0, 1, 2, 3, 4]
    assert [line.stamp for line in record.lines] == [stamp(n) for n in range(5)]
    assert [msgspec.json.decode(line.act)["text"] for line in record.lines] == TEXTS
    assert record.head == Head(5, record.lines[-1].hash)
    assert read(SMALL).fault is None


@given(
    st.dictionaries(st.text(), st.text() | st.integers(-9, 9) | st.booleans() | st.none()),
    st.lists(
        st.dictionaries(st.sampled_from(["hash", "mono", "n", "prev", "v"]), st.text(), max_size=5),
        max_size=3,
    ),
    st.text(max_size=4),
)
def test_every_line_is_canonical_and_carries_the_hash_of_the_rest(act, events, by):
    line = seal(Head(), stamp(0), by, act, events)
    value = json.loads(line)
    assert rfc8785.dumps(value) + b"\n" == line
    said = value.pop("hash")
    assert said == sha256(rfc8785.dumps(value)).hexdigest()
    assert Head().after(line) == Head(1, said)
    assert value == {"v": 1, "n": 0, "at": stamp(0).at, "mono": 0, "boot": "demo-boot", "by": by, "act": act,
                     "events": events, "prev": ZEROS}  # fmt: skip
    assert read(line).fault is None


def test_a_record_of_the_first_format_reads_for_ever():
    record = read(
        (Path(__file__).parent / "tapes" / "v1.jsonl").read_bytes(), fingerprint="RVXT-VHID-4NTL-KEZB-ILNB-VPQE"
    )
    assert (record.fault, record.printed, len(record.lines)) == (None, 4, 4)


def test_acts_and_events_may_be_structs_and_come_back_as_such():
    class Confirm(msgspec.Struct, frozen=True, tag="confirm"):
        key: str

    [line] = read(seal(Head(), stamp(0), "AB", Confirm("7"), (Confirm("8"),))).lines
    assert msgspec.json.decode(line.act, type=Confirm) == Confirm("7")
    assert msgspec.json.decode(line.events, type=tuple[Confirm, ...]) == (Confirm("8"),)


def test_a_line_of_a_hundred_kilobytes_reads_back_whole():
    texts = {f"part-{n}.yaml": "do: Push the hose on. # ü\n" * 400 for n in range(10)}
    data = seal(Head(), stamp(0), "AB", {"act": "begin", "texts": texts}, [])
    data += joined(*sealed(700, head=Head().after(data)))
    record = read(data)
    assert record.fault is None
    assert len(record.lines) == 701
    assert msgspec.json.decode(record.lines[0].act)["texts"] == texts


@pytest.mark.parametrize("mask", [0x01, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40, 0x80, 0xFF, 0x2A])
def test_every_changed_byte_is_found_at_its_line(mask):
    ends = [at for at, byte in enumerate(SMALL) if byte == 0x0A]
    for at in range(len(SMALL)):
        changed = bytearray(SMALL)
        changed[at] ^= mask
        record = read(bytes(changed))
        number = sum(end < at for end in ends) + 1
        assert record.fault is not None, at
        assert record.fault.line == number, (at, record.fault)
        assert len(record.lines) == number - 1
        if at == len(SMALL) - 1:  # without its newline, a whole last line followed by something else
            assert record.fault.kind == "changed"


def test_every_byte_of_a_line_may_become_a_newline_and_is_found():
    for at in range(len(SMALL)):
        if SMALL[at] != 0x0A:
            assert read(SMALL[:at] + b"\n" + SMALL[at + 1 :]).fault is not None, at


def test_every_removed_and_every_inserted_byte_is_found():
    for at in range(len(SMALL)):
        assert read(SMALL[:at] + SMALL[at + 1 :]).fault is not None, at
        assert read(SMALL[:at] + b" " + SMALL[at:]).fault is not None, at


def test_a_cut_inside_the_last_line_is_torn_and_what_stands_before_is_good():
    start = len(joined(*FIVE[:4]))
    for at in range(start + 1, len(DATA)):
        record = read(DATA[:at])
        assert record.fault is not None
        assert (record.fault.kind, record.fault.line) == ("torn: crash or cut", 5)
        assert record.torn == DATA[start:at]
        assert [line.n for line in record.lines] == [0, 1, 2, 3]


def test_a_cut_inside_the_first_line_leaves_nothing_but_the_torn_end():
    for at in range(1, len(FIVE[0])):
        record = read(FIVE[0][:at])
        assert record.fault is not None
        assert (record.fault.kind, record.fault.line, record.torn) == ("torn: crash or cut", 1, FIVE[0][:at])


def test_an_empty_file_says_that_nothing_was_recorded():
    record = read(b"")
    assert record.fault is not None
    assert record.fault.kind == "torn: crash or cut"
    assert "nothing was recorded" in record.fault.text
    assert record.head == Head()


@pytest.mark.parametrize("n", range(5))
def test_a_doubled_line_is_found_wherever_its_copy_stands(n):
    for at in range(6):
        fault = read(joined(*FIVE[:at], FIVE[n], *FIVE[at:])).fault
        assert fault is not None
        assert fault.kind == "doubled", (n, at, fault)


@pytest.mark.parametrize(("a", "b"), [(a, b) for a in range(5) for b in range(a + 1, 5)])
def test_two_swapped_lines_are_found_at_the_first(a, b):
    lines = list(FIVE)
    lines[a], lines[b] = lines[b], lines[a]
    fault = read(joined(*lines)).fault
    assert fault is not None
    assert (fault.kind, fault.line) == ("reordered", a + 1)


@pytest.mark.parametrize(("first", "after"), [(a, b) for a in range(4) for b in range(a + 1, 5)])
def test_removed_lines_are_found_and_named(first, after):
    fault = read(joined(*FIVE[:first], *FIVE[after:])).fault
    assert fault is not None
    assert (fault.kind, fault.line) == ("removed", first + 1)
    assert fault.text.startswith(f"line {first + 1} is" if after == first + 1 else f"lines {first + 1} to {after} are")


@pytest.mark.parametrize("at", range(5))
def test_a_line_of_another_record_is_found_where_it_was_added(at):
    for stranger in sealed(5, salt=" of another car"):
        fault = read(joined(*FIVE[:at], stranger, *FIVE[at:])).fault
        assert fault is not None
        assert fault.line == at + 1
        assert fault.kind in {"added", "reordered"}


@pytest.mark.parametrize("n", range(5))
def test_a_line_forged_to_fit_and_added_before_the_true_one_is_found(n):
    forged = reseal(FIVE[n], by="CD")
    fault = read(joined(*FIVE[:n], forged, *FIVE[n:])).fault
    assert fault is not None
    assert (fault.kind, fault.line) == ("added", n + 1)


@pytest.mark.parametrize("n", range(4))
def test_a_line_changed_and_sealed_anew_is_found_by_the_next_one(n):
    fault = read(joined(*FIVE[:n], reseal(FIVE[n], by="CD"), *FIVE[n + 1 :])).fault
    assert fault is not None
    assert (fault.kind, fault.line) == ("changed", n + 1)
    assert "sealed anew" in fault.text


@pytest.mark.parametrize("n", range(5))
@pytest.mark.parametrize(
    "change",
    [{"prev": "f" * 64}, {"n": 77}, {"n": 0.5}, {"mono": -1}, {"mono": 2**53}, {"v": 0}, {"by": 7}, {"extra": 1},
     {"at": "2026-99-01T08:00:00.000Z"}, {"act": 1.5}],
)  # fmt: skip
def test_a_sealed_line_that_says_what_no_line_can_say_is_found(n, change):
    body = {k: v for k, v in json.loads(FIVE[n]).items() if k != "hash"} | change
    written = by_hand(body | {"hash": sha256(by_hand(body)).hexdigest()}) + b"\n"
    record = read(joined(*FIVE[:n], written, *FIVE[n + 1 :]))
    assert record.fault is not None
    assert record.fault.line in {n, n + 1}
    assert len(record.lines) == record.fault.line - 1


def test_a_line_of_a_newer_format_asks_for_a_newer_program():
    for n in (0, 3):
        fault = read(joined(*FIVE[:n], reseal(FIVE[n], v=FORMAT + 1, colour="red"), *FIVE[n + 1 :])).fault
        assert fault is not None
        assert (fault.kind, fault.line) == ("newer format", n + 1)
        assert "format 2" in fault.text


@pytest.mark.parametrize(
    ("data", "kind", "line"),
    [
        (joined(FIVE[0], b"\xff" + FIVE[1]), "not UTF-8", 2),
        (joined(FIVE[0], bytes(512), b"\n"), "binary", 2),
        (DATA.decode().encode("utf-16"), "binary", 1),
        (b"\x7fELF" + bytes(64), "binary", 1),
        (b"\xef\xbb\xbf" + DATA, "changed", 1),
        (DATA.replace(b"\n", b"\r\n"), "changed", 1),
        (b"\n" + DATA, "changed", 1),
        (joined(FIVE[0], b"\n", FIVE[1]), "changed", 2),
        (b"a shopping list\n", "changed", 1),
        (b"a shopping list", "changed", 1),
        (b"[" * 200_000 + b"\n", "changed", 1),
        (joined(FIVE[0], b'{"act":', b"[" * 200_000, b"\n"), "changed", 2),
    ],
)
def test_what_is_no_record_is_named_for_what_it_is(data, kind, line):
    fault = read(data).fault
    assert fault is not None
    assert (fault.kind, fault.line) == (kind, line)


def test_zeros_after_a_power_cut_are_a_torn_end():
    record = read(DATA + bytes(300))
    assert record.fault is not None
    assert record.fault.kind == "torn: crash or cut"
    assert record.torn == bytes(300)
    assert len(record.lines) == 5


def test_a_message_about_a_hostile_line_holds_nothing_that_a_terminal_obeys():
    hostile = b'{"\x1b]0;x\x07":1}\n{"act":{},"\xe2\x80\xae\xc2\x9b31m":1}\n'
    for data in (hostile, hostile.split(b"\n", 1)[1]):
        fault = read(data).fault
        assert fault is not None
        assert fault.text.isascii()
        assert fault.text.isprintable()


@given(st.binary(max_size=200) | st.lists(st.sampled_from([*FIVE, *sealed(3, "x"), b"\n", b"{}\n"])).map(b"".join))
def test_no_bytes_at_all_upset_the_reader(data):
    record = read(data)
    assert record.fault is not None or data == joined(*FIVE[: len(record.lines)]) or record.lines
    assert len(record.lines) <= data.count(b"\n")


def test_a_fault_in_a_long_record_is_found_at_its_line():
    lines = sealed(900)
    seeded = random.Random(8)
    for _ in range(30):
        n = seeded.randrange(899)
        at = seeded.randrange(len(lines[n]) - 1)
        changed = bytearray(lines[n])
        changed[at] ^= 1 << seeded.randrange(8)
        record = read(joined(*lines[:n], bytes(changed), *lines[n + 1 :]))
        assert record.fault is not None
        assert record.fault.line == n + 1, (n, at)
        assert len(record.lines) == n
        fault = read(joined(*lines[:n], *lines[n + 1 :])).fault
        assert fault is not None
        assert (fault.kind, fault.line) == ("removed", n + 1)
        fault = read(joined(*lines[:n], reseal(lines[n], by="ZZ"), *lines[n + 1 :])).fault
        assert fault is not None
        assert (fault.kind, fault.line) == ("changed", n + 1)


def test_a_shortened_record_differs_from_the_fingerprint_on_paper():
    paper = fingerprint(read(DATA).lines[-1].hash)
    assert read(DATA, fingerprint=paper).fault is None
    for count in range(1, 5):
        fault = read(joined(*FIVE[:count]), fingerprint=paper).fault
        assert fault is not None
        assert fault.kind == "shortened or rewritten"
    torn = read(DATA[:-9], fingerprint=paper)
    assert torn.fault is not None
    assert torn.fault.kind == "shortened or rewritten"


def test_a_rewritten_record_differs_from_the_fingerprint_on_paper():
    paper = fingerprint(read(DATA).lines[-1].hash)
    head, rewritten = Head(), b""
    for line in FIVE:
        rewritten += reseal(line, by="CD", prev=head.hash)
        head = Head(head.n + 1, json.loads(rewritten.splitlines()[-1])["hash"])
    assert read(rewritten).fault is None
    fault = read(rewritten, fingerprint=paper).fault
    assert fault is not None
    assert fault.kind == "shortened or rewritten"


def test_a_record_that_went_on_after_the_paper_was_printed_says_at_which_line():
    paper = fingerprint(read(DATA).lines[2].hash)
    record = read(DATA, fingerprint=paper)
    assert (record.fault, record.printed) == (None, 3)


def test_a_fingerprint_may_be_typed_in_any_case_and_grouping_and_with_figures_for_letters():
    paper = fingerprint("73" * 32)  # base32 of 73 73 73 …, by RFC 4648: ONZXG 43TON …
    assert paper == "ONZX-G43T-ONZX-G43T-ONZX-G43T"
    [line] = sealed(1)
    paper = fingerprint(read(line).lines[0].hash)
    typed = paper.replace("-", " ").lower().replace("o", "0").replace("i", "1").replace("b", "8")
    assert read(line, fingerprint=typed).printed == 1


@pytest.mark.parametrize("typed", ["", "ABCD", "ABCD-EFGH-IJKL-MNOP-QRST-UVWX-Y", "????-????-????-????-????-????"])
def test_what_is_no_fingerprint_is_said_to_be_none(typed):
    fault = read(DATA, fingerprint=typed).fault
    assert fault is not None
    assert fault.kind == "not a fingerprint"


@given(st.binary(min_size=32, max_size=32))
def test_a_fingerprint_uses_no_sign_that_is_misread_for_another(digest):
    paper = fingerprint(digest.hex())
    assert len(paper) == 29
    assert not set(paper) & set("01890")
    assert fingerprint((digest[:14] + bytes([digest[14] ^ 1]) + digest[15:]).hex()) != paper


def test_a_clock_set_back_an_hour_is_a_warning_and_no_fault():
    lines, head = b"", Head()
    for n, shift in enumerate([0, 0, -3_600_000, -3_600_000, 0]):
        moment = Stamp(at_text(START + 1_500 * n + shift), 1_500 * MS * n, "demo-boot")
        lines += seal(head, moment, "AB", {"act": "tick"}, [])
        head = Head(n + 1, json.loads(lines.splitlines()[-1])["hash"])
    record = read(lines)
    assert record.fault is None
    assert [(fault.line, fault.kind) for fault in clock_faults(record.lines)] == [(3, "clock"), (5, "clock")]
    assert clock_faults(record.lines)[0].text.startswith("the clock was set back: the time of day moved by -3599 s")


def test_a_clock_set_back_while_the_machine_was_off_is_a_warning():
    first = seal(Head(), Stamp(at_text(START), 90 * SECOND, "one"), "AB", {"act": "hold"}, [])
    data = first + seal(Head().after(first), Stamp(at_text(START - 1), 4 * SECOND, "two"), "AB", {"act": "resume"}, [])
    [fault] = clock_faults(read(data).lines)
    assert (fault.line, fault.kind) == (2, "clock")


@given(
    st.lists(
        st.tuples(st.integers(-5_000, 5_000), st.integers(-2_000, 9_000_000), st.sampled_from("ab")),
        max_size=9,
    )
)
def test_a_warning_stands_wherever_the_span_to_the_next_line_is_doubtful(moves):
    wall, mono, head, data = START, 10**12, Head(), b""
    stamps = []
    for shift, passed, boot in moves:
        wall, mono = wall + passed + shift, mono + passed * MS
        stamps.append(Stamp(at_text(wall), mono, boot))
        line = seal(head, stamps[-1], "AB", {"do": "tick"}, [])
        data, head = data + line, head.after(line)
    doubtful = [n + 2 for n in range(len(stamps) - 1) if elapsed(stamps[n], stamps[n + 1]).doubtful]
    assert [fault.line for fault in clock_faults(read(data).lines)] == doubtful


def test_what_a_record_cannot_hold_is_refused_before_it_is_sealed():
    with pytest.raises(TypeError, match=r"^\$\.events\[0\]\.torque: a value of type float"):
        seal(Head(), stamp(0), "AB", {"act": "measure"}, [{"torque": 25.0}])
    with pytest.raises(ValueError, match=r"^\$\.act\.n: "):
        seal(Head(), stamp(0), "AB", {"n": 2**53}, [])


def test_a_lone_surrogate_is_written_out_so_that_the_line_is_utf_8():
    [line] = read(seal(Head(), stamp(0), "\udc80", {"act": "a\ud800b"}, [])).lines
    assert isinstance(line, Line)
    assert (line.by, msgspec.json.decode(line.act)["act"]) == ("\\udc80", "a\\ud800b")
