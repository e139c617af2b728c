"""A file becomes a procedure as it is written, or every mistake in it is told at its line and column."""

import copy
import itertools
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from runner.core.finding import Finding, line_of
from runner.core.graph import (
    Call,
    Check,
    Count,
    Each,
    Holds,
    LevelNeed,
    Need,
    Procedure,
    Reading,
    Step,
    Vocabulary,
    outcomes,
    walk,
)
from runner.edge.reader import advice, read, read_vocabulary
from runner.edge.reader_procedure import MOST_STEPS

HERE = Path(__file__).parent
GOOD = {path.name: path.read_bytes() for path in sorted((HERE / "good").glob("*.yaml"))}
MAIN = "bleed-all.yaml"


def good() -> Procedure:
    made = read(GOOD, MAIN)
    assert isinstance(made, Procedure), [line_of(one) for one in made]
    return made


def step(name: str) -> Step:
    made = next(node for node in walk(good().body) if node.id == name)
    assert isinstance(made, Step)
    return made


def told(files: Mapping[str, bytes], main: str = MAIN) -> list[str]:
    made = read(files, main)
    assert isinstance(made, tuple)
    return [line for one in made for line in line_of(one).split("\n")]


def changed(old: str, new: str, name: str = MAIN) -> dict[str, bytes]:
    text = GOOD[name].decode()
    assert text.count(old) >= 1, old
    return {**GOOD, name: text.replace(old, new, 1).encode()}


@dataclass(frozen=True)
class Mistake:
    """A file, the lines that are changed in it, and the words that its author is told."""

    file: str
    old: str
    new: str
    words: tuple[str, ...]


def mistakes() -> list[object]:
    made: list[object] = []
    for path in sorted((HERE / "mistakes").glob("*.txt")):
        for number, block in enumerate(path.read_text("utf-8").strip().split("\n\n"), 1):
            lines = block.split("\n")
            old = "".join(line[2:] + "\n" for line in lines if line.startswith("- "))
            new = "".join(line[2:] + "\n" for line in lines if line.startswith("+ "))
            words = tuple(line for line in lines[1:] if not line.startswith(("- ", "+ ")))
            made.append(pytest.param(Mistake(lines[0][3:], old, new, words), id=f"{path.stem}-{number}"))
    return made


@pytest.mark.parametrize("mistake", mistakes())
def test_each_mistake_of_an_author_is_told_in_exactly_these_words(mistake: Mistake) -> None:
    files = changed(mistake.old, mistake.new, mistake.file)
    assert told(files) == list(mistake.words)


def test_mistakes_in_several_files_and_places_are_told_together_in_order() -> None:
    files = {
        **changed("makes: [goggles_on]", "makes: [googles_on]"),
        "raise-up.yaml": GOOD["raise-up.yaml"].replace(b"place: wheel", b"place: wheels", 1),
        "vocabulary.yaml": GOOD["vocabulary.yaml"].replace(b"outcome: could", b"outcome: can", 1),
    }
    files[MAIN] = files[MAIN].replace(b"within: 60 mL", b"within: 60 mm")
    found = read(files, MAIN)
    assert isinstance(found, tuple)
    assert [(one.place.file, one.place.line) for one in found] == [
        (MAIN, 64),
        (MAIN, 152),
        ("raise-up.yaml", 17),
        ("vocabulary.yaml", 16),
    ]
    assert {one.check for one in found} == {"name", "unit", "value"}


# ── what a good file becomes ─────────────────────────────────────────────────────────────────────


def said(needs: tuple[Need, ...]) -> list[tuple[str, str | None, bool]]:
    return [(one.ref.name, one.ref.at, one.wanted) for one in needs if isinstance(one, Holds)]


def test_all_and_none_become_one_need_for_each_corner_and_keep_the_words() -> None:
    first = [one for one in good().assumes if isinstance(one, Holds)][:4]
    assert [one.ref.at for one in first] == ["LF", "RF", "LR", "RR"]
    assert {one.said for one in first} == {"none nipple_open"}
    assert not any(one.wanted for one in first)


def test_a_condition_without_corner_means_here_in_a_block_and_in_a_fragment() -> None:
    assert said(step("hose").needs) == [("hose_on", "here", False)]
    lift = good().fragments["raise-up"].body.nodes["lift"]
    assert isinstance(lift, Step)
    assert [(one.name, one.at) for one in lift.makes] == [("on_stands", "here")]


def test_a_mark_of_a_level_stands_for_what_was_asked() -> None:
    need = step("bleed").needs[-1]
    assert isinstance(need, LevelNeed)
    assert (need.level, need.at_least.text, need.said) == ("reservoir", "low", "reservoir at least MIN")


def test_cautions_are_joined_from_the_vocabulary_gravest_first() -> None:
    assert [(one.name, one.word) for one in step("bleed").cautions] == [
        ("fluid_in_eyes", "WARNING"),
        ("fluid_on_paint", "NOTICE"),
    ]


def test_the_time_to_set_aside_is_kept_as_written() -> None:
    made = read(changed("  safety: [goggles]\n", "  safety: [goggles]\n  takes: 90 min\n"), MAIN)
    assert isinstance(made, Procedure)
    assert made.takes == "90 min"


def test_the_far_view_says_what_is_done_where_no_short_words_are_given() -> None:
    assert step("hose").short == "HOSE ON"
    assert step("goggles").short == step("goggles").do == "Put the goggles on."


def test_sliding_on_needs_inner_parts_fitted_and_outer_ones_not() -> None:
    assert said(step("boot-on").needs) == [("fitted_clip", None, False)]
    assert step("boot-on").slides == (("on", "boot"),)
    assert said(step("boot-off").needs) == [("fitted_boot", None, True)]
    assert step("boot-off").slides == (("cut", "boot"),)
    assert step("boot-off").deeds == ("cannot_be_undone",)
    assert good().conditions["fitted_boot"].says == "boot of the pipe is fitted"
    outer = changed("slides_on: boot", "slides_off: clip")
    made = read(outer, MAIN)
    assert isinstance(made, Procedure)
    node = made.body.nodes["boot-on"]
    assert isinstance(node, Step)
    assert said(node.needs) == [("fitted_clip", None, True)]


def bands(name: str) -> list[tuple[str, str | None, bool, str | None, bool]]:
    gate = step(name).gate
    assert isinstance(gate, Reading)
    return [
        (b.outcome, b.low and b.low.text, b.low_inclusive, b.high and b.high.text, b.high_inclusive)  # type: ignore[misc]
        for b in gate.bands
    ]


def test_a_part_that_may_be_used_again_is_not_used_up() -> None:
    cap = "  cap: {what: cap of the pipe, have: 1, single_use: true}\n"
    once = changed("stack:\n", f"{cap}stack:\n")
    text = once[MAIN].decode().replace("slides_on: boot, next", "slides_on: boot, uses: [cap], next", 1)
    made = read({**GOOD, MAIN: text.encode()}, MAIN)
    assert isinstance(made, Procedure)
    assert made.body.nodes["boot-on"].taken == ("boot", "cap")  # type: ignore[union-attr]
    again = told({**GOOD, MAIN: text.replace(", single_use: true}\nstack", "}\nstack", 1).encode()})
    assert "'cap' is not for single use, so it is not used up" in again[0]


def test_a_limit_becomes_a_passing_stretch_and_what_lies_beyond_it() -> None:
    assert bands("disc") == [("pass", "pad_limit", True, None, False), ("fail", None, False, "pad_limit", False)]
    assert bands("lining") == [("worn", None, False, "pad_limit", False), ("good", "pad_limit", True, None, False)]
    assert bands("torque") == [
        ("pass", "nipple_torque", True, "nipple_torque", True),
        ("fail", None, False, "nipple_torque", False),
        ("fail", "nipple_torque", False, None, False),
    ]


def test_a_limit_that_does_not_pass_itself_leaves_its_value_to_fail() -> None:
    made = read(changed("{at_least: pad_limit, kind", "{at_least: pad_limit, inclusive: false, kind"), MAIN)
    assert isinstance(made, Procedure)
    gate = next(node.gate for node in walk(made.body) if isinstance(node, Step) and node.id == "disc")
    assert isinstance(gate, Reading)
    assert [(b.outcome, b.low_inclusive, b.high_inclusive) for b in gate.bands] == [
        ("pass", False, False),
        ("fail", False, True),
    ]


def test_every_outcome_of_every_gate_has_exactly_one_arm() -> None:
    for node in walk(good().body):
        if isinstance(node, Step) and node.branch.subject == "gate":
            values = [arm.value for arm in node.branch.arms]
            assert values == [None] or sorted(filter(None, values)) == sorted(outcomes(node.gate))


def test_a_count_leads_on_by_its_answers_and_again_stays() -> None:
    bleed = step("bleed")
    assert isinstance(bleed.gate, Count)
    assert bleed.gate.exits == ("clear", "dark", "bubbles")
    assert bleed.gate.again == {"dark", "bubbles"}
    assert (bleed.gate.name, bleed.gate.grant, bleed.gate.seconds) == ("fluid", 6, Fraction(8))
    assert [(arm.value, arm.target.kind, arm.target.name) for arm in bleed.branch.arms] == [
        ("clear", "step", "torque"),
        ("dark", "again", ""),
        ("bubbles", "again", ""),
    ]


def test_a_corner_check_is_answered_by_the_corner_that_is_here() -> None:
    gate = step("hose").gate
    assert isinstance(gate, Check)
    assert (gate.kind, gate.right) == ("corner", ("here",))


def test_a_block_takes_its_order_from_an_ask_and_a_call_from_its_contract() -> None:
    corners, call = good().body.nodes["corners"], good().body.nodes["raise"]
    assert isinstance(corners, Each)
    assert isinstance(call, Call)
    assert (corners.index, corners.order, corners.body.first) == ("corner", "order", "hose")
    assert (call.fragment, call.at, set(call.exits)) == ("raise-up", "rear", {"supported", "not level"})
    assert call.ensure is not None
    assert (call.ensure.name, call.ensure.at) == ("on_stands", "rear")


def test_a_computed_value_goes_by_corner_if_what_it_is_made_of_does() -> None:
    assert {name: one.per for name, one in good().computes.items()} == {
        "per_stroke": None,
        "tube": "corner",
        "budget": "corner",
    }


def test_asks_of_a_fragment_are_asked_by_its_callers_too() -> None:
    assert "stand_load" in good().asks


def test_the_rules_of_the_end_are_one_for_each_need() -> None:
    rules = [rule for rule in good().rules if rule.kind == "at_end"]
    assert [(rule.said, rule.wanted, len(rule.refs)) for rule in rules] == [
        ("at the end: none nipple_open", False, 4),
        ("at the end: all nipple_final", True, 4),
    ]
    assert [rule.said for rule in good().rules][:2] == [
        "make nipple_open only after deed nipples_freed",
        "make nipple_open must be followed by make nipple_final",
    ]


def test_a_procedure_can_be_read_again_from_the_texts_that_it_carries() -> None:
    made = good()
    again = read({name: text.encode() for name, text in made.texts.items()}, f"{made.name}.yaml")
    assert isinstance(again, Procedure)
    assert (again.body, again.asks, again.rules, again.texts) == (made.body, made.asks, made.rules, made.texts)


def test_example_cars_keep_their_values_as_typed() -> None:
    (car,) = good().example_cars
    assert car.values["tube_length@RR"] == "5 m"
    assert car.values["order"] == "furthest first"


def test_files_are_found_beside_the_main_one_before_others() -> None:
    files = {f"shop/{name}": data for name, data in GOOD.items()} | {"raise-up.yaml": b"procedure: [", "x/y.yaml": b""}
    made = read(files, f"shop/{MAIN}")
    assert isinstance(made, Procedure)
    assert made.file == f"shop/{MAIN}"
    assert set(made.texts) == set(GOOD)


# ── files that are not there, or not what they should be ─────────────────────────────────────────


def test_a_missing_file_is_named_with_the_nearest_one() -> None:
    assert told(GOOD, "bleed-al.yaml") == [
        "bleed-al.yaml:1:1: there is no file bleed-al.yaml [file]",
        "  help: did you mean 'bleed-all.yaml'?",
    ]


def test_without_vocabulary_the_form_of_the_file_is_still_looked_at() -> None:
    files = {MAIN: GOOD[MAIN].replace(b"points: 8", b"points: many")}
    assert told(files) == [
        "bleed-all.yaml:1:1: the file vocabulary.yaml, which names the conditions, is not there [file]",
        "  help: put it beside bleed-all.yaml",
        "bleed-all.yaml:140:121: 'points' must be a whole number, found 'many' [value]",
        "  help: write digits alone, such as 3",
    ]


def test_a_vocabulary_is_read_alone() -> None:
    made = read_vocabulary(GOOD)
    assert isinstance(made, Vocabulary)
    assert [duty.on for duty in made.duties] == ["place", "deed", "make", "while"]
    assert made.duties_on("make", "nipple_open")[0].hazards == ("fluid_in_eyes",)
    assert isinstance(read_vocabulary(GOOD, MAIN), tuple)


def test_a_text_that_a_hash_cut_off_is_advice_and_no_reason_to_refuse() -> None:
    files = changed("title: Bleed every corner", "title: Bleed every corner #2")
    assert isinstance(read(files, MAIN), Procedure)
    assert [line_of(one).split("\n")[0] for one in advice(files)] == [
        "bleed-all.yaml:3:8: advice: '#2' was read as a comment, not as part of the text [comment]"
    ]


def chain(calls: Mapping[str, list[str]]) -> dict[str, bytes]:
    """Small fragments by name, with the fragments that each calls; the first of them is the main procedure."""
    files = {"vocabulary.yaml": GOOD["vocabulary.yaml"]}
    for number, (name, called) in enumerate(calls.items()):
        head = f'procedure: {name}\ntitle: {name}\nrevision: "1"\npurpose: To be called.\n'
        head += "fragment: true\ncontract: {exits: {out: {}}}\n" if number else ""
        after = [*(f"c{n + 1}" for n in range(1, len(called))), "done"]
        steps = [
            f"  c{n}: {{call: {one}, exits: {{out: {then}}}}}\n"
            for n, (one, then) in enumerate(zip(called, after, strict=True), 1)
        ] if called else []
        end = "  done: {end: " + ("out" if number else "done") + "}\n"
        files[f"{name}.yaml"] = (head + "steps:\n" + "".join(steps) + end).encode()
    return files


def test_fragments_that_call_each_other_are_named_as_a_circle() -> None:
    assert told(chain({"a": ["b"], "b": ["c"], "c": ["b"]}), "a.yaml") == [
        "c.yaml:8:14: a fragment calls itself: b calls c calls b [fragment]",
        "  help: take one of the calls out",
    ]


def test_five_calls_inside_each_other_are_too_many() -> None:
    names = "abcdef"
    calls = {one: [other] for one, other in itertools.pairwise(names)} | {"f": []}
    assert told(chain(calls), "a.yaml")[0] == "e.yaml:8:14: more than 4 calls stand inside each other [fragment]"
    del calls["e"], calls["f"]
    assert isinstance(read(chain({**calls, "e": []}), "a.yaml"), Procedure)


def test_a_procedure_that_grows_without_measure_is_refused() -> None:
    calls = {"a": ["b"] * 25, "b": ["c"] * 25, "c": ["d"] * 25, "d": ["e"] * 25, "e": []}
    assert re.fullmatch(
        r"a.yaml:1:12: with all calls and turns written out there are 4\d\d,\d{3} steps; "
        rf"at most {MOST_STEPS:,} are read \[size\]",
        told(chain(calls), "a.yaml")[0],
    )


def test_what_is_no_fragment_cannot_be_called() -> None:
    files = chain({"a": ["b"], "b": []})
    files["b.yaml"] = files["b.yaml"].replace(b"fragment: true\ncontract: {exits: {out: {}}}\n", b"")
    words = told(files, "a.yaml")
    assert "a.yaml:6:14: 'b' is no fragment, so it cannot be called [fragment]" in words


def test_a_fragment_with_a_block_is_not_called_from_a_block() -> None:
    block = """  turns:
    each: {axle: [rear, front]}
    steps:
      look: {do: Look., place: wheel, next: next axle}
    then: up
  up: {end: supported}"""
    files = changed("  up: {end: supported}", block, "raise-up.yaml")
    inside = "      lining:\n"
    call = "      again-up: {call: raise-up, exits: {supported: lining, not level: exit air}}\n"
    files[MAIN] = files[MAIN].replace(inside.encode(), (call + inside).encode())
    assert told(files)[:2] == [
        "bleed-all.yaml:142:7: 'raise-up' has a block of its own [block]",
        "  help: a block cannot stand inside a block: call it outside",
    ]


# ── nothing that is handed in ends in an exception ───────────────────────────────────────────────

NAMES = sorted(GOOD)
LINES = {name: GOOD[name].decode().split("\n") for name in NAMES}
WORDS = sorted({word for name in NAMES for word in re.findall(r"[\w@-]+|[^\w\s]", GOOD[name].decode())})


@st.composite
def spoiled(draw: st.DrawFn) -> dict[str, bytes]:
    """The good files with lines or words taken out, doubled, exchanged or replaced by others of the files."""
    files = dict(GOOD)
    for _ in range(draw(st.integers(1, 4))):
        name = draw(st.sampled_from(NAMES))
        lines = files[name].decode("utf-8", "replace").split("\n")
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.integers(0, 4)):
            case 0:
                del lines[at]
            case 1:
                lines.insert(at, draw(st.sampled_from(LINES[draw(st.sampled_from(NAMES))])))
            case 2:
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case 3:
                pieces = re.split(r"([\w@-]+)", lines[at])
                pieces[draw(st.integers(0, len(pieces) - 1))] = draw(st.sampled_from(WORDS))
                lines[at] = "".join(pieces)
            case _:
                spot = draw(st.integers(0, len(lines[at])))
                lines[at] = lines[at][:spot] + draw(st.text(max_size=4)) + lines[at][spot:]
        files[name] = "\n".join(lines).encode("utf-8", "replace")
    return files


@settings(max_examples=50)
@given(spoiled())
def test_no_file_however_spoiled_raises(files: dict[str, bytes]) -> None:
    made = read(files, MAIN)
    assert isinstance(made, Procedure) or (made and all(map(complete, made)))


def complete(one: Finding) -> bool:
    """Whether a finding says where, what, and how to mend it."""
    return bool(one.place.file and one.place.line and one.place.column and one.text and one.help)


TREES = {name: YAML(typ="safe", pure=True).load(GOOD[name].decode()) for name in NAMES}


def nodes(tree: Any) -> list[tuple[Any, Any]]:
    """Every mapping and list of the tree with each of its keys or places."""
    keys = list(tree) if isinstance(tree, dict) else range(len(tree)) if isinstance(tree, list) else ()
    return [(tree, key) for key in keys] + [one for key in keys for one in nodes(tree[key])]


@st.composite
def grafted(draw: st.DrawFn) -> dict[str, bytes]:
    """The good files with branches of their trees cut off, or others grafted in their place."""
    trees = copy.deepcopy(TREES)
    for _ in range(draw(st.integers(1, 4))):
        tree, key = draw(st.sampled_from(nodes(trees[draw(st.sampled_from(NAMES))])))
        other, at = draw(st.sampled_from(nodes(TREES[draw(st.sampled_from(NAMES))])))
        match draw(st.integers(0, 2)):
            case 0:
                del tree[key]
            case 1:
                tree[key] = copy.deepcopy(other[at])
            case _ if isinstance(tree, dict):
                tree[at if isinstance(at, str) else "first"] = tree.pop(key)
            case _:
                tree.append(copy.deepcopy(other[at]))
    return {name: json.dumps(tree, indent=1).encode() for name, tree in trees.items()}


@settings(max_examples=50)
@given(grafted())
def test_no_tree_however_grafted_raises(files: dict[str, bytes]) -> None:
    made = read(files, MAIN)
    assert isinstance(made, Procedure) or (made and all(map(complete, made)))


@settings(max_examples=40)
@given(st.dictionaries(st.sampled_from([*NAMES, "x.yaml"]), st.binary(max_size=60)), st.text(max_size=12))
def test_no_bytes_and_no_name_raise(files: dict[str, bytes], main: str) -> None:
    assert isinstance(read(files, main), tuple)
    assert isinstance(read({**GOOD, **files}, MAIN), Procedure | tuple)
