"""Procedure files are found by path or name, and what cannot be read is said in clear words."""

import errno
import os
import shutil
from pathlib import Path

import pytest

from runner.core.finding import Finding, line_of
from runner.core.graph import Procedure
from runner.edge.encoding import LARGEST
from runner.edge.reader import read
from runner.edge.schema import shipped
from runner.edge.shelf import Loaded, Shelf

GOOD = Path(__file__).parent / "good"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the good files, in which the person stands; nothing ships with the program."""
    shutil.copytree(GOOD, tmp_path / "shop")
    (tmp_path / "library").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("runner.edge.shelf.shipped", lambda _folder: tmp_path / "library")
    return tmp_path / "shop"


def loaded(named: str, *folders: Path) -> Loaded:
    made = Shelf(folders).load(named)
    assert isinstance(made, Loaded), made
    return made


def told(named: str, *folders: Path) -> list[str]:
    made = Shelf(folders).load(named)
    assert not isinstance(made, Loaded)
    assert all(isinstance(one, Finding) for one in made)
    return [line for one in made for line in line_of(one).split("\n")]


def test_a_path_brings_its_vocabulary_and_the_fragments_that_it_calls(shop: Path) -> None:
    made = loaded("shop/bleed-all.yaml")
    assert made.main == "shop/bleed-all.yaml"
    assert set(made.files) == {"shop/bleed-all.yaml", "shop/raise-up.yaml", "shop/vocabulary.yaml"}
    assert isinstance(read(*made), Procedure)


def test_a_whole_path_below_the_folder_where_one_stands_is_shown_from_there(shop: Path) -> None:
    assert loaded(str(shop / "bleed-all.yaml")).main == "shop/bleed-all.yaml"


def test_a_name_is_looked_for_in_the_folders_and_then_in_the_library(shop: Path) -> None:
    assert told("bleed-all") == [
        "bleed-all:1:1: there is no procedure 'bleed-all' [file]",
        "  help: 'witnessmark list' names those that there are",
    ]
    assert loaded("bleed-all", shop).main == "shop/bleed-all.yaml"
    for path in shop.iterdir():
        shutil.move(path, Path("library") / path.name)
    assert loaded("bleed-all", shop).main == "library/bleed-all.yaml"


def test_a_file_of_ones_own_calls_the_fragments_of_the_library(shop: Path) -> None:
    for name in ("raise-up.yaml", "vocabulary.yaml"):
        shutil.move(shop / name, Path("library") / name)
    made = loaded("shop/bleed-all.yaml")
    assert set(made.files) == {"shop/bleed-all.yaml", "library/raise-up.yaml", "library/vocabulary.yaml"}
    assert isinstance(read(*made), Procedure)


def test_a_name_that_is_nearly_right_is_told_the_one_that_is(shop: Path) -> None:
    assert told("bleed-al", shop)[1] == "  help: did you mean 'bleed-all'?"
    assert told("shop/bleed-al.yaml") == [
        "shop/bleed-al.yaml:1:1: there is no procedure 'shop/bleed-al.yaml' [file]",
        "  help: did you mean 'shop/bleed-all.yaml'?",
    ]
    assert told("shop/quite-another.yaml") == [
        "shop/quite-another.yaml:1:1: there is no such file [file]",
        "  help: check the name and the folder",
    ]


def test_a_called_fragment_that_is_nearly_right_reaches_the_reader(shop: Path) -> None:
    path = shop / "bleed-all.yaml"
    path.write_text(path.read_text().replace("call: raise-up", "call: raise-upp"))
    found = read(*loaded("shop/bleed-all.yaml"))
    assert isinstance(found, tuple)
    assert (found[0].text, found[0].help) == ("there is no fragment 'raise-upp'", "did you mean 'raise-up'?")


def test_the_list_names_what_can_be_run_and_on_request_what_is_called(shop: Path) -> None:
    (shop / "notes.yaml").write_text("no: procedure\n")
    (shop / "readme.txt").write_text("procedure: none\n")
    shelf = Shelf((shop,))
    assert shelf.available() == ("bleed-all",)
    assert shelf.available(fragments=True) == ("bleed-all", "raise-up")
    assert shelf.path_of("raise-up") == "shop/raise-up.yaml"
    assert shelf.path_of("nothing") == "nothing"


def test_a_folder_is_told_the_files_in_it(shop: Path) -> None:
    assert told("shop") == [
        "shop:1:1: this is a folder [file]",
        "  help: name one of its files: bleed-all.yaml, raise-up.yaml, vocabulary.yaml",
    ]
    assert told("library")[1] == "  help: there is no .yaml file in it"


def test_links_in_a_circle_files_without_end_and_odd_names_are_refused(shop: Path) -> None:
    (shop / "one.yaml").symlink_to("two.yaml")
    (shop / "two.yaml").symlink_to("one.yaml")
    os.mkfifo(shop / "pipe.yaml")
    with (shop / "huge.yaml").open("wb") as file:
        file.truncate(LARGEST + 1)
    assert told("shop/one.yaml")[0] == "shop/one.yaml:1:1: its symbolic links lead in a circle [file]"
    assert told("shop/pipe.yaml")[0] == "shop/pipe.yaml:1:1: this is not a regular file [file]"
    assert told("shop/huge.yaml")[0] == (
        "shop/huge.yaml:1:1: the file has 2,000,001 bytes; at most 2,000,000 are read [file]"
    )
    assert told("shop/bleed-all.yaml/x.yaml")[0].endswith("a part of its path is not a folder [file]")
    assert told("shop/" + "x" * 300 + ".yaml")[0].endswith("the name is too long [file]")
    assert told("shop/\0\0\0\0\0\0.yml")[0] == "shop/.yml:1:1: this is no name of a file [file]"
    assert told("")[0] == ".:1:1: this is a folder [file]"


def test_a_file_without_permission_is_said_to_be_so(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert told("shop/bleed-all.yaml")[0].endswith("permission to read it is missing [file]")


def test_a_fragment_that_cannot_be_read_is_named_itself(shop: Path) -> None:
    (shop / "raise-up.yaml").unlink()
    (shop / "raise-up.yaml").mkdir()
    assert told("shop/bleed-all.yaml")[0] == "shop/raise-up.yaml:1:1: this is a folder [file]"


def test_what_ships_with_the_program_can_be_read() -> None:
    names = Shelf().available(fragments=True)
    assert names
    for name in names:
        assert isinstance(read(*loaded(name)), Procedure), name
    assert Shelf().demo("demo/x.yaml") == shipped("procedures") / "demo" / "x.yaml"
