"""A proven procedure is found again only while nothing it depends on has changed."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from runner.core.graph import Procedure
from runner.edge.kept import MOST_KEPT, keep, kept, key_of, program
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf

FILES = {"a.yaml": b"one", "vocabulary.yaml": b"two"}
CAR = {"bore": {"value": "22 mm", "source": "literature"}}


@pytest.fixture(scope="module")
def procedure() -> Procedure:
    loaded = Shelf().load("park-and-secure")
    assert isinstance(loaded, Loaded)
    made = read(loaded.files, loaded.main)
    assert isinstance(made, Procedure)
    return made


def test_what_was_kept_is_found_and_is_the_same(tmp_path: Path, procedure: Procedure) -> None:
    keep(tmp_path / "kept", "k", procedure)
    found = kept(tmp_path / "kept", "k")
    assert found is not None
    assert (found.body, found.conditions, found.rules) == (procedure.body, procedure.conditions, procedure.rules)


@pytest.mark.parametrize(
    ("files", "main", "car"),
    [
        (FILES | {"a.yaml": b"onE"}, "a.yaml", CAR),
        (FILES | {"b.yaml": b""}, "a.yaml", CAR),
        ({"a.yaml": b"onetwo", "vocabulary.yaml": b""}, "a.yaml", CAR),
        (FILES, "vocabulary.yaml", CAR),
        (FILES, "a.yaml", {"bore": {"value": "23 mm", "source": "literature"}}),
        (FILES, "a.yaml", {}),
    ],
)
def test_every_byte_of_the_files_and_the_car_counts(
    files: dict[str, bytes], main: str, car: dict[str, dict[str, str]]
) -> None:
    assert key_of(files, main, car) != key_of(FILES, "a.yaml", CAR)


def test_a_spoiled_or_foreign_file_is_not_opened(tmp_path: Path, procedure: Procedure) -> None:
    folder = tmp_path / "kept"
    keep(folder, "k", procedure)
    whole = (folder / "k.kept").read_bytes()
    for spoiled in (b"", whole[: len(whole) // 2], b"\x80\x05.", pickle.dumps({"no": "procedure"})):
        (folder / "k.kept").write_bytes(spoiled)
        assert kept(folder, "k") is None
    (folder / "k.kept").write_bytes(whole)
    (folder / "k.kept").chmod(0o666)
    assert kept(folder, "k") is None
    assert kept(folder, "other") is None


def test_only_the_last_few_are_kept(tmp_path: Path, procedure: Procedure) -> None:
    for number in range(MOST_KEPT + 3):
        keep(tmp_path, f"k{number}", procedure)
    assert len(list(tmp_path.glob("*.kept"))) == MOST_KEPT


def test_the_program_its_schemas_and_the_parser_count_too() -> None:
    told = program().decode()
    assert all(part in told for part in ("levels.py ", "procedure.schema.json ", "ruamel", "jsonschema"))
