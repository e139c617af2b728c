"""A YAML file becomes a tree with places, or findings in an author's words; nothing else, and in seconds."""

import codecs
from collections.abc import Callable

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from runner.core.finding import Finding, Place, line_of
from runner.edge.text import DEEPEST, Map, Node, Scalar, Seq, load, remarks, scalars

NAME = "brakes.yaml"


def tree(text: str) -> Node:
    node = load(text.encode(), NAME)
    assert not isinstance(node, tuple), "\n".join(map(line_of, node))
    return node


def mapping(text: str) -> Map:
    node = tree(text)
    assert isinstance(node, Map)
    return node


def findings(data: bytes | str) -> tuple[Finding, ...]:
    found = load(data.encode() if isinstance(data, str) else data, NAME)
    assert isinstance(found, tuple)
    return found


def first(data: bytes | str) -> str:
    return line_of(findings(data)[0]).splitlines()[0]


def words(node: Node) -> list[str]:
    return [scalar.value for scalar in scalars(node)]


def test_every_text_stays_as_typed() -> None:
    typed = ["1.10", "yes", "007", "~", "null", "2026-01-31", "0x1F", "1_000", "22.0", "12:30"]
    assert words(tree(f"[{', '.join(typed)}]")) == typed


def test_quotes_tell_an_empty_text_from_nothing() -> None:
    node = mapping("a: ''\nb:\n")
    assert node.get("a") == Scalar("", Place(NAME, 1, 4), plain=False)
    assert node.get("b") == Scalar("", Place(NAME, 2, 1), plain=True)
    assert node.get("c") is None


def test_keys_and_values_know_their_places() -> None:
    node = mapping("# note\nsteps:\n  hose: {do: Push it.}\n")
    steps = node.get("steps")
    assert isinstance(steps, Map)
    assert node.key_place("steps") == Place(NAME, 2, 1)
    assert steps.key_place("hose") == Place(NAME, 3, 3)
    assert steps.get("hose") == Map(
        ((Scalar("do", Place(NAME, 3, 10), plain=True), Scalar("Push it.", Place(NAME, 3, 14), plain=True)),),
        Place(NAME, 3, 9),
    )
    assert steps.key_place("absent") == steps.place


def test_an_empty_entry_of_a_list_is_placed_at_its_dash() -> None:
    node = tree("- \n-\n- b\n")
    assert isinstance(node, Seq)
    assert [item.place for item in node.items] == [Place(NAME, 1, 1), Place(NAME, 2, 1), Place(NAME, 3, 3)]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_are_counted_alike_whatever_ends_them(end: str) -> None:
    assert mapping(f"a: 1{end}{end}b: 2{end}").key_place("b") == Place(NAME, 3, 1)


def test_a_byte_order_mark_is_accepted_and_moves_no_column() -> None:
    node = load(codecs.BOM_UTF8 + b"a: 1", NAME)
    assert isinstance(node, Map)
    assert node.key_place("a") == Place(NAME, 1, 1)


def test_escapes_cannot_bring_controls_into_a_text() -> None:
    assert words(tree('"a\\e[31m\\u202E\\ud800\\0b"')) == ["a[31m\ufffdb"]


def test_an_invisible_letter_does_not_make_a_second_key() -> None:
    assert first("needs: a\nnee\u200bds: b\n") == f"{NAME}:2:1: the key 'needs' stands twice [duplicate]"


def test_a_duplicate_key_names_both_places() -> None:
    (found,) = findings("a: 1\nb: 2\na: 3\n")
    assert found.place == Place(NAME, 3, 1)
    assert found.related == ((Place(NAME, 1, 1), "it stood here first"),)


def test_what_a_hash_cut_off_is_advice() -> None:
    (found,) = remarks(tree("torque: nipple #2\nb: text # a comment\nc: 'x #3' # quoted\n"))
    assert line_of(found).startswith(f"{NAME}:1:9: advice: '#2' was read as a comment")


def test_several_faults_are_reported_together_in_order() -> None:
    found = findings("a: !x b\nc: &y d\ne: *y\n<<: {}\na: 1\n[f]: g\nh: [\n")
    assert [each.check for each in found] == ["tag", "alias", "alias", "alias", "duplicate", "key", "syntax"]
    assert [each.place.line for each in found][:6] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("do: Fluid harms paint: rinse\n", "1:22: a ':' is not expected here [syntax]"),
        ("a:\n\tb: 1\n\tc: 2\n", "2:1: this line is indented with a tab, as 1 other line [tab]"),
        ('a: "x\nb: 1\n', "1:4: the quote that opens here is never closed [syntax]"),
        ("a: [x\nb: 1\n", "2:2: the list in brackets needs ',' or ']' here [syntax]"),
        ("needs: [hose_on[corner]]\n", "1:16: the list in brackets needs ',' or ']' here [syntax]"),
        ("a: {b: c\n", "2:1: the mapping in braces needs ',' or '}' here [syntax]"),
        ("a: {b: c}}\n", "1:10: this '}' closes nothing [syntax]"),
        ("a:\n    b: 1\n  c: 2\n", "3:3: this does not line up with what is above it [syntax]"),
        ('a: "x" y\n', "1:8: no text is expected here [syntax]"),
        ("a: @x\n", "1:4: a text cannot start with '@' [syntax]"),
        ("a: - b\n", "1:4: a list cannot start here [syntax]"),
        ("a:\n  b\n  c\nd\n", "4:1: this line is neither 'key: value' nor a continued text [syntax]"),
        ('a: "\\q"\n', "1:6: this '\\' escape is not known in double quotes [syntax]"),
        ('a: "\\UFFFFFFFF"\n', "1:5: this '\\U' escape is no character [syntax]"),
        ("a: [b,,c]\n", "1:7: a value is missing here [syntax]"),
        ("a: |x\n b\n", "1:5: after '|' or '>' only '+', '-' and one digit may stand [syntax]"),
        ("a: !!python/object:os.system b\n", "1:4: '!!python/object:os.system' is a YAML tag [tag]"),
        ("a: !Stop\n", "1:4: '!Stop' is a YAML tag [tag]"),
        ("%YAML 1.1\n---\na: yes\n", "1:1: a line that starts with '%' is a YAML directive"),
        ("%YAML 1.92\n---\na: yes\n", "1:1: a line that starts with '%' is a YAML directive"),
        ("a: 1\n---\nb: 2\n", "2:1: a second document starts here [document]"),
        ("? {a: b}\n: c\n", "1:3: a mapping stands where a key was expected [key]"),
        (": c\n", "1:1: a key is missing before this ':' [key]"),
        ("", "1:1: the file is empty [empty]"),
        ("# only a comment\n", "1:1: the file is empty [empty]"),
        ("a: \x07b", "1:4: the invisible character U+0007 cannot stand in a procedure [character]"),
        ("a: b\u2028c", "1:5: the invisible character U+2028 cannot stand in a procedure [character]"),
    ],
)
def test_a_fault_is_named_at_its_place_in_plain_words(text: str, said: str) -> None:
    assert first(text).startswith(f"{NAME}:{said}")


def test_a_syntax_fault_shows_where_the_thing_around_it_starts_and_how_to_mend_it() -> None:
    (found,) = findings("a: [x\nb: 1\n")
    assert found.related == ((Place(NAME, 1, 4), "what it stands in starts here"),)
    assert found.help == "close it, or quote a text that holds brackets"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_a_wide_encoding_is_named(encoding: str) -> None:
    (found,) = findings("title: Brake fluid é\n".encode(encoding))
    assert f"in UTF-{encoding[4:6]} " in found.text
    assert found.help == "save the file as UTF-8"


def test_a_latin_1_file_is_named_with_the_byte_and_its_place() -> None:
    (found,) = findings("a: 1\nb: caf\u00e9\n".encode("latin-1"))
    assert found.place == Place(NAME, 2, 7)
    assert found.text == "byte 0xE9 at byte 11 is not UTF-8; in Latin-1 or Windows-1252 it would be 'é'"


@pytest.mark.parametrize("data", [b"\x7fELF\x02\x01\x01\x00" + b"\x00" * 90, bytes(range(256)) * 9, b"\x01" * 999])
def test_a_binary_file_is_called_one(data: bytes) -> None:
    assert "binary file" in first(data)


BOMBS: dict[str, Callable[[], bytes]] = {
    "aliases": lambda: (
        b"a0: &a0 [x, x]\n" + b"".join(b"a%d: &a%d [*a%d, *a%d]\n" % (n, n, n - 1, n - 1) for n in range(1, 99))
    ),
    "merge keys": lambda: (
        b"a0: &a0 {k: v}\n" + b"".join(b"a%d: &a%d {<<: [*a%d, *a%d]}\n" % (n, n, n - 1, n - 1) for n in range(1, 99))
    ),
    "50 MB": lambda: b"- a\n" * 12_500_000,
    "a long line": lambda: b"!" * 1_900_000,
    "deep flow": lambda: b"[" * 10_000 + b"]" * 10_000,
    "deep lines of flow": lambda: b"[\n" * 10_000 + b"]\n" * 10_000,
    "deep blocks": lambda: b"- " * 4_000,
    "deep keys": lambda: b"\n".join(b" " * n + b"a:" for n in range(1_500)),
    "a thousand errors": lambda: b"- !t a\n- &x b\n" * 500,
    "many entries": lambda: b"- a\n" * 450_000,
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_refused(bomb: str) -> None:
    data = BOMBS[bomb]()
    found = findings(data)
    assert 1 <= len(found) <= 201
    assert all(each.severity == "error" for each in found)


def test_a_large_file_is_told_its_size_and_the_bound() -> None:
    assert first(b" " * 50_000_000).startswith(f"{NAME}:1:1: the file has 50,000,000 bytes; at most 2,000,000 are read")


def test_the_deepest_levels_are_read_and_one_more_is_not() -> None:
    assert isinstance(tree("[" * DEEPEST + "]" * DEEPEST), Seq)
    (found,) = findings("[" * (DEEPEST + 1) + "]" * (DEEPEST + 1))
    assert (found.check, found.place) == ("depth", Place(NAME, 1, DEEPEST + 1))


@given(st.binary(max_size=300))
@example(b"\xef\xbb\xbf")
@example(b"\xff\xfe")
def test_any_bytes_give_a_tree_or_findings(data: bytes) -> None:
    assert load(data, NAME)


SAMPLE = """# c
a: "x \\u00e9"
steps:
  hose: {do: Push it., makes: [hose_on, b@RR], next: 'bl''eed'}
  x:
    - a: |
        text
      b: >-2
         t
    - &x *y !z
    - ? q
      : r
"""


@given(
    st.lists(st.tuples(st.integers(0, 200), st.integers(0, 9), st.text("\n\t :-?[]{},&*!|>\"'%@`#<\\~0a", max_size=3)))
)
@settings(max_examples=300)
def test_any_mutilated_file_gives_a_tree_or_placed_findings(cuts: list[tuple[int, int, str]]) -> None:
    text = SAMPLE
    for at, length, put in cuts:
        text = text[:at] + put + text[at + length :]
    found = load(text.encode(), NAME)
    lines = text.split("\n")
    for each in found if isinstance(found, tuple) else ():
        assert 1 <= each.place.line <= len(lines)
        assert 1 <= each.place.column <= len(lines[each.place.line - 1]) + 1


WORDS = st.text("abcé日 #:,-", min_size=1, max_size=12).filter(lambda word: word.strip() == word)
TREES = st.recursive(
    st.tuples(st.sampled_from("'\""), WORDS),
    lambda node: st.lists(node, max_size=4) | st.dictionaries(WORDS, node, max_size=4),
    max_leaves=20,
)
Written = tuple[str, str] | list["Written"] | dict[str, "Written"]


def written(node: Written, indent: int, line: int, column: int, lines: list[str]) -> Node:
    """Appends the node to the lines as YAML and gives the tree that is to be read from them."""
    place = Place(NAME, line, column)
    if isinstance(node, tuple):
        lines[-1] += f"{node[0]}{node[1]}{node[0]}"
        return Scalar(node[1], place, plain=False)
    if not node:
        lines[-1] += "[]" if isinstance(node, list) else "{}"
        return Seq((), place) if isinstance(node, list) else Map((), place)
    block = Place(NAME, len(lines) + 1, indent + 1)
    entries: list[tuple[Scalar, Node]] = []
    for key, value in node.items() if isinstance(node, dict) else ((None, each) for each in node):
        lines.append(" " * indent + ("- " if key is None else f"'{key}': "))
        made = Scalar(str(key), Place(NAME, len(lines), indent + 1), plain=False)
        entries.append((made, written(value, indent + 2, len(lines), len(lines[-1]) + 1, lines)))
    if isinstance(node, dict):
        return Map(tuple(entries), block)
    return Seq(tuple(value for _, value in entries), block)


@given(st.lists(TREES, min_size=1, max_size=4) | st.dictionaries(WORDS, TREES, min_size=1, max_size=4))
def test_any_tree_comes_back_with_every_text_at_its_place(node: Written) -> None:
    lines: list[str] = [""]
    expected = written(node, 0, 1, 1, lines)
    assert tree("\n".join(lines)) == expected
