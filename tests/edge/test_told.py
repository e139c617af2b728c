"""What the checker said is said again only of the same bytes; what was read is the same tree again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.graph import Procedure
from runner.edge import told as told_module
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf
from runner.edge.text import Map, load
from runner.edge.told import Told, told
from runner.edge.trees import Trees

NAMES = ("lower", "cam-bolts", "brake-fluid-exchange")


def _loaded(name: str) -> Loaded:
    loaded = Shelf().load(name)
    assert isinstance(loaded, Loaded)
    return loaded


def _changed(loaded: Loaded, old: bytes, new: bytes) -> Loaded:
    assert old in loaded.files[loaded.main]
    return Loaded({**loaded.files, loaded.main: loaded.files[loaded.main].replace(old, new)}, loaded.main)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The procedures that were truly proven."""
    names: list[str] = []
    found = told_module._found

    def counting(loaded: Loaded, trees: Trees) -> Told:
        names.append(loaded.main)
        return found(loaded, trees)

    monkeypatch.setattr(told_module, "_found", counting)
    return names


def test_the_same_bytes_get_the_same_answer_without_a_second_proof(tmp_path: Path, counted: list[str]) -> None:
    loaded = _changed(_loaded("lower"), b"needs: [", b"needs: [not ")
    first = told(loaded, Trees(tmp_path / "kept"))
    again = told(loaded, Trees(tmp_path / "kept"))
    assert not first.proven
    assert len(first.findings) > 0
    assert again == first
    assert len(counted) == 1


def test_a_safeguard_that_was_taken_away_is_missed_at_once(tmp_path: Path, counted: list[str]) -> None:
    sound = _loaded("brake-fluid-exchange")
    assert told(sound, Trees(tmp_path / "kept")).proven
    needed = b"needs: [on_stands, nipple_clean, goggles_on, gloves_on]"
    faulty = _changed(sound, needed, needed.replace(b"goggles_on, ", b""))
    assert not told(faulty, Trees(tmp_path / "kept")).proven
    assert len(counted) == 2


def test_an_answer_that_others_may_write_or_that_is_torn_is_not_believed(tmp_path: Path, counted: list[str]) -> None:
    loaded, folder = _loaded("lower"), tmp_path / "kept"
    told(loaded, Trees(folder))
    (answer,) = folder.glob("*.told")
    whole = answer.read_bytes()
    for spoiled in (b"", whole[:-3], b"[]", b"[true]", b"null", b'[true, [["x"]]]', b"\xff"):
        answer.write_bytes(spoiled)
        assert told(loaded, Trees(folder)).proven
    assert len(counted) == 8
    answer.chmod(0o666)
    told(loaded, Trees(folder))
    assert len(counted) == 9


def test_without_a_place_to_keep_it_the_answer_is_the_same(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder", "utf-8")
    assert told(_loaded("lower"), Trees(blocked)) == told(_loaded("lower"), Trees())


@pytest.mark.parametrize("name", NAMES)
def test_a_procedure_from_kept_trees_is_the_procedure_from_its_text(name: str, tmp_path: Path) -> None:
    loaded = _loaded(name)
    fresh = read(loaded.files, loaded.main)
    read(loaded.files, loaded.main, Trees(tmp_path / "kept"))
    assert list((tmp_path / "kept").glob("*.tree"))
    again = read(loaded.files, loaded.main, Trees(tmp_path / "kept"))
    assert isinstance(fresh, Procedure)
    assert isinstance(again, Procedure)
    parts = ("body", "conditions", "rules", "asks", "levels", "assumes", "texts", "place")
    assert [part for part in parts if getattr(again, part) != getattr(fresh, part)] == []


def test_a_file_with_a_mistake_is_read_each_time(tmp_path: Path) -> None:
    loaded = _changed(_loaded("lower"), b"title:", b"titel:")
    first = read(loaded.files, loaded.main, Trees(tmp_path / "kept"))
    assert not isinstance(first, Procedure)
    assert read(loaded.files, loaded.main, Trees(tmp_path / "kept")) == first


TEXTS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), max_size=12)
TREES = st.dictionaries(TEXTS, st.recursive(TEXTS, lambda one: st.lists(one, max_size=3)), min_size=1, max_size=4)


@given(TREES)
def test_a_kept_tree_is_the_tree_that_was_read(
    tmp_path_factory: pytest.TempPathFactory, values: dict[str, object]
) -> None:
    folder = tmp_path_factory.mktemp("trees")
    data = json.dumps(values, ensure_ascii=False).encode()
    root = load(data, "a\x1b.yaml")
    if isinstance(root, Map):
        Trees(folder).keep("procedure", "a\x1b.yaml", data, root)
        assert Trees(folder).found("procedure", "a\x1b.yaml", data) == root
        assert Trees(folder).found("vocabulary", "a\x1b.yaml", data) is None
        assert Trees(folder).found("procedure", "b.yaml", data) is None
        assert Trees(folder).found("procedure", "a\x1b.yaml", data + b" ") is None
