"""The car's file: check digit as in 49 CFR 565.15; the numbers of vehicles are invented, their digits computed."""

import contextlib
import difflib
import errno
import fcntl
import multiprocessing
import os
import resource
import signal
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.core.finding import line_of
from runner.edge import carfile
from runner.edge.carfile import (
    Car,
    NotWritten,
    add_ask,
    add_instrument,
    amend,
    ensure_salt,
    new_car,
    read_car,
)

# A published example of a number with a true check digit: all ones (49 CFR 565.15 gives 1 for it).
TRUE_VIN = "11111111111111111"
LITERATURE = "car's service literature"

BY_HAND = """\
# my car, do not tidy up
car:   {name: 'blue estate',   vin: "11111111111111111" , steering: left}   # odd gaps are mine
salt:    0123456789abcdef

people:
  - initials: AB      # that is me
    name: 'A. Bower'
  -  {initials: CD}

asks:
    mc_bore:          # read twice
        value:  7/8 in
        source: "marked on the part"
    tube_length: {source: car's service literature, value: {RR: 5.0 m, LR: 4.4 m}}  # measured roughly

# the end
"""


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    path = tmp_path / "blue-estate.yaml"
    path.write_text(BY_HAND, "utf-8")
    return path


def car_of(path: Path) -> Car:
    got = read_car(path)
    assert isinstance(got, Car), got
    return got


def wrong(path: Path) -> str:
    got = read_car(path)
    assert not isinstance(got, Car)
    return "\n".join(line_of(each) for each in got)


def written(path: Path, text: str) -> Path:
    path.write_text(text, "utf-8")
    return path


def small(vin: str = TRUE_VIN, rest: str = "") -> str:
    return f"car: {{name: blue estate, vin: {vin}, steering: left}}\npeople: [{{initials: AB}}]\n{rest}"


def test_a_car_is_read_with_its_values_sources_and_places(mine: Path):
    car = car_of(mine)
    assert (car.name, car.vin, car.steering, car.people) == ("blue estate", TRUE_VIN, "left", ("AB", "CD"))
    assert car.asks["mc_bore"] == {"value": "7/8 in", "source": "marked on the part"}
    assert car.asks["tube_length@LR"] == {"value": "4.4 m", "source": LITERATURE}
    assert (car.places["mc_bore"].line, car.places["mc_bore"].column) == (12, 17)
    assert car.warnings == ()


def test_a_value_is_added_and_every_other_byte_stays(mine: Path):
    add_ask(mine, "res_max", "180 mL", LITERATURE)
    added = '    res_max: {value: "180 mL", source: "car\'s service literature"}\n'
    before, after = BY_HAND.split("\n# the end", 1)
    assert mine.read_bytes().decode() == f"{before}{added}\n# the end{after}"
    assert car_of(mine).asks["res_max"] == {"value": "180 mL", "source": LITERATURE}


def test_a_value_is_replaced_and_every_other_byte_stays(mine: Path):
    add_ask(mine, "mc_bore", "22.225 mm", "marked on the part")
    assert mine.read_text("utf-8") == BY_HAND.replace("7/8 in", '"22.225 mm"')


def test_a_corner_joins_the_list_of_its_ask_where_the_source_is_the_same(mine: Path):
    add_ask(mine, "tube_length@RF", "2.9 m", LITERATURE)
    assert mine.read_text("utf-8") == BY_HAND.replace("LR: 4.4 m}", 'LR: 4.4 m, "RF": "2.9 m"}')


def test_a_corner_from_another_source_does_not_change_the_source_of_the_others(mine: Path):
    add_ask(mine, "tube_length@RF", "2.9 m", "measured on this car")
    asks = car_of(mine).asks
    assert asks["tube_length@RF"] == {"value": "2.9 m", "source": "measured on this car"}
    assert asks["tube_length@RR"]["source"] == LITERATURE


def test_a_value_that_stands_twice_counts_from_its_own_key_and_is_told(mine: Path):
    add_ask(mine, "tube_length@RR", "5.1 m", "measured on this car")
    car = car_of(mine)
    assert car.asks["tube_length@RR"]["value"] == "5.1 m"
    [told] = car.warnings
    assert "'tube_length@RR' has a value here and one under a key of its own" in line_of(told)
    assert told.place.line == 14


def test_nothing_is_written_where_nothing_changes(mine: Path):
    before = mine.stat()
    add_ask(mine, "mc_bore", "7/8 in", "marked on the part")
    assert (mine.stat().st_ino, mine.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_line_ends_and_byte_order_mark_of_another_system_stay(tmp_path: Path):
    path = tmp_path / "car.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + BY_HAND.replace("\n", "\r\n").encode())
    add_ask(path, "res_max", "180 mL", LITERATURE)
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf#")
    assert data.count(b"\n") == data.count(b"\r\n") == BY_HAND.count("\n") + 1
    assert car_of(path).asks["res_max"]["value"] == "180 mL"


@pytest.mark.parametrize(
    "asks",
    [
        "",
        "asks: {}\n",
        "asks: {}",
        "asks: {}  # none yet\n# instruments:\n",
        "asks: {mc_bore: {value: 7/8 in, source: marked on the part}}",
        "asks: {\n  mc_bore: {value: 7/8 in, source: marked on the part}, # hand\n  }\n",
        "asks:\n  mc_bore: {value: 7/8 in, source: marked on the part}",
        "asks:\n  mc_bore:\n    value: 7/8 in\n    source: marked\n      on the part\n# tail\n",
        "asks:\n  mc_bore:\n    value: 7/8 in\n    source: |\n      marked on the part\n\nsalt: 0123456789\n",
        'asks:\n  "mc_bore" :\n    {value: 7/8 in,\n    source: marked on the part}\nsalt: 0123456789\n',
    ],
)
def test_values_are_added_whatever_the_hand_that_wrote_the_file(tmp_path: Path, asks: str):
    path = written(tmp_path / "car.yaml", small(rest=asks))
    before = path.read_text("utf-8")
    add_ask(path, "res_max", "180 mL", LITERATURE)
    add_ask(path, "tube_length@RR", "5.0 m", LITERATURE)
    add_instrument(path, "jug", {"what": "measuring jug", "unit": "mL", "error": "5 mL"})
    salt = ensure_salt(path)
    car = car_of(path)
    assert car.asks["res_max"] == {"value": "180 mL", "source": LITERATURE}
    assert car.asks["tube_length@RR"]["value"] == "5.0 m"
    assert car.instruments["jug"]["error"] == "5 mL"
    assert car.salt == salt
    after = path.read_text("utf-8")
    taken_out = [
        before[a:b]
        for op, a, b, *_ in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
        if op in ("delete", "replace")
    ]
    assert "".join(taken_out) in ("", "{}", " {}", "{", "}")


@given(st.text(min_size=1, max_size=40), st.text(min_size=1, max_size=40))
def test_any_text_comes_back_as_a_text_and_never_as_yaml(tmp_path_factory: pytest.TempPathFactory, value, source):
    path = written(tmp_path_factory.mktemp("cars") / "car.yaml", small())
    try:
        add_ask(path, "batch", value, source)
    except NotWritten:
        assert path.read_text("utf-8") == small()
        return
    car = car_of(path)
    assert car.asks["batch"] == {
        "value": carfile.clean(value).strip(),
        "source": carfile.clean(source).strip(),
    }


@pytest.mark.parametrize(
    "value", ["*bore", "&bore 1", "!!int 5", "<<", "~", "{a: b}", "a: b # c", "- x", "%YAML", "'", '"\\']
)
def test_what_reading_refuses_is_never_written(mine: Path, value: str):
    add_ask(mine, "batch", value, value)
    assert car_of(mine).asks["batch"] == {"value": value, "source": value}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (small(rest="asks: {a: &x {value: 1 mm, source: s}, b: *x}\n"), "'&x' is a YAML anchor"),
        (small(rest="asks: {a: !!str {value: 1 mm, source: s}}\n"), "is a YAML tag"),
    ],
)
def test_aliases_and_tags_are_refused_and_such_a_file_is_not_written(tmp_path: Path, text: str, said: str):
    path = written(tmp_path / "car.yaml", text)
    assert said in wrong(path)
    with pytest.raises(NotWritten, match=r"car\.yaml:3:\d+"):
        add_ask(path, "c", "1 mm", "s")
    assert path.read_text("utf-8") == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("car: {name: x\n", "car.yaml:2:1: the mapping in braces needs ',' or '}' here"),
        ("car:\n\tname: x\n", "car.yaml:2:1: this line is indented with a tab"),
        ("", "car.yaml:1:1: the file is empty"),
        ("- a\n", "car.yaml:1:1: the file must be the file of one car, a mapping with the keys"),
        (small() + "colour: blue\n", "car.yaml:3:1: unknown key 'colour' in the file"),
        (small() + "people: [{initials: CD}]\n", "car.yaml:3:1: the key 'people' stands twice"),
        ("people: [{initials: AB}]\ncar: {name: x, vin: y}\n", "car.yaml:2:6: 'car' has no key 'steering'"),
    ],
)
def test_a_broken_file_gives_one_clear_message_with_its_place(tmp_path: Path, text: str, said: str):
    path = written(tmp_path / "car.yaml", text)
    got = read_car(path)
    assert isinstance(got, tuple)
    assert len(got) == 1
    assert line_of(got[0]).startswith(f"{path.parent}/{said}")
    with pytest.raises(NotWritten) as told:
        add_ask(path, "a", "1 mm", "s")
    assert str(told.value) == line_of(got[0])
    assert path.read_text("utf-8") == text


def test_a_missing_file_a_folder_and_a_pipe_are_told_at_once(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.yaml")
    for name, said in (("no.yaml", "No such file"), (".", "not a plain file"), ("pipe.yaml", "not a plain file")):
        assert said in wrong(tmp_path / name)
        with pytest.raises(NotWritten):
            add_ask(tmp_path / name, "a", "1 mm", "s")


@pytest.mark.parametrize(
    ("vin", "said"),
    [
        ("1111111111111111I", "'I' is never used in a VIN"),
        ("1111111111111111O", "'O' is never used in a VIN"),
        ("1111111111111111Q", "'Q' is never used in a VIN"),
        ("1111", "a VIN has 17 characters, this has 4"),
    ],
)
def test_a_number_that_is_no_vin_is_an_error_at_its_place(tmp_path: Path, vin: str, said: str):
    path = written(tmp_path / "car.yaml", small(vin))
    assert said in wrong(path)
    assert ":1:31:" in wrong(path)


def test_a_wrong_check_digit_is_a_warning_since_not_every_market_has_one(tmp_path: Path):
    car = car_of(written(tmp_path / "car.yaml", small("11111111211111111")))
    [doubt] = car.warnings
    assert doubt.severity == "warning"
    assert "the check digit (9th character) is 2, but 1 agrees" in doubt.text


def test_the_salt_is_made_once_and_kept(tmp_path: Path):
    path = written(tmp_path / "car.yaml", small())
    assert car_of(path).salt == ""
    first = ensure_salt(path)
    assert len(first) == 32
    assert ensure_salt(path) == first
    assert path.read_text("utf-8") == f'{small()}salt: "{first}"\n'


def test_two_cars_of_one_number_have_two_references(tmp_path: Path):
    references = set()
    for name in ("a.yaml", "b.yaml"):
        path = written(tmp_path / name, small())
        ensure_salt(path)
        references.add(car_of(path).reference)
    assert len(references) == 2


def test_a_link_is_followed_and_stays_a_link(mine: Path, tmp_path: Path):
    link = tmp_path / "today.yaml"
    link.symlink_to(mine)
    add_ask(link, "res_max", "180 mL", LITERATURE)
    assert link.is_symlink()
    assert not mine.is_symlink()
    assert car_of(mine).asks["res_max"]["value"] == "180 mL"


def test_a_link_that_leads_nowhere_or_in_a_circle_is_told(tmp_path: Path):
    (tmp_path / "a.yaml").symlink_to(tmp_path / "b.yaml")
    with pytest.raises(NotWritten, match="there is no such file"):
        add_ask(tmp_path / "a.yaml", "a", "1 mm", "s")
    (tmp_path / "b.yaml").symlink_to(tmp_path / "a.yaml")
    with pytest.raises(NotWritten, match="symbolic link"):
        add_ask(tmp_path / "a.yaml", "a", "1 mm", "s")


def test_the_mode_of_the_file_stays_and_nothing_is_left_beside_it(mine: Path):
    mine.chmod(0o640)
    add_ask(mine, "res_max", "180 mL", LITERATURE)
    assert stat.S_IMODE(mine.stat().st_mode) == 0o640
    assert [p.name for p in mine.parent.iterdir()] == [mine.name]


def test_taking_something_out_is_left_to_the_person_at_the_file(mine: Path):
    with pytest.raises(NotWritten, match="'mc_bore' would have to be taken out: change the file by hand"):
        amend(mine, lambda document: document["asks"].pop("mc_bore"))
    assert mine.read_text("utf-8") == BY_HAND


def _adds(path: Path, who: int, start: object) -> None:
    start.wait()
    for n in range(8):
        add_ask(path, f"ask_{who}_{n}", f"{n} mm", f"source {who}")
    ensure_salt(path)


def test_programs_that_write_at_the_same_time_lose_nothing(tmp_path: Path):
    path = written(tmp_path / "car.yaml", "# by hand\n" + small())
    context = multiprocessing.get_context("fork")
    start = context.Event()
    workers = [context.Process(target=_adds, args=(path, who, start)) for who in range(4)]
    for worker in workers:
        worker.start()
    start.set()
    for worker in workers:
        worker.join(60)
    assert [worker.exitcode for worker in workers] == [0] * 4
    car = car_of(path)
    assert set(car.asks) == {f"ask_{who}_{n}" for who in range(4) for n in range(8)}
    assert path.read_text("utf-8").count("salt:") == 1
    assert path.read_text("utf-8").startswith("# by hand\n" + small())


def test_who_waited_for_a_file_that_was_replaced_waits_for_the_new_one(mine: Path):
    context = multiprocessing.get_context("fork")
    start = context.Event()
    worker = context.Process(target=_adds, args=(mine, 1, start))
    worker.start()  # before the files are opened, or it would share their locks
    with mine.open("rb") as old:
        fcntl.flock(old, fcntl.LOCK_EX)
        start.set()
        worker.join(0.3)
        copy = mine.with_suffix(".copy")
        copy.write_bytes(mine.read_bytes())
        new = copy.open("rb")
        fcntl.flock(new, fcntl.LOCK_EX)
        copy.replace(mine)
    with new:
        worker.join(0.5)
        assert mine.read_text("utf-8") == BY_HAND
    worker.join(60)
    assert worker.exitcode == 0
    assert "ask_1_7" in car_of(mine).asks


def test_what_an_editor_saved_in_between_is_not_overwritten(mine: Path, monkeypatch: pytest.MonkeyPatch):
    edited = BY_HAND.replace("# my car", "# my dear car")
    splice, calls = carfile.splice, []

    def slow(text, wanted):
        if not calls:
            mine.write_text(edited, "utf-8")
        calls.append(1)
        return splice(text, wanted)

    monkeypatch.setattr(carfile, "splice", slow)
    add_ask(mine, "res_max", "180 mL", LITERATURE)
    assert "# my dear car" in mine.read_text("utf-8")
    assert car_of(mine).asks["res_max"]["value"] == "180 mL"


@contextlib.contextmanager
def full_disk():
    """No file may grow beyond 100 bytes: the system refuses as a full disk does."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


def test_a_full_disk_leaves_the_old_file_and_says_so(mine: Path):
    with full_disk(), pytest.raises(NotWritten) as told:
        add_ask(mine, "res_max", "180 mL", LITERATURE)
    with full_disk(), pytest.raises(NotWritten):
        new_car(mine.parent / "n.yaml", name="n" * 60, vin=TRUE_VIN, steering="left", odometer="", initials="AB")
    assert "the file may not grow further" in str(told.value)
    assert mine.read_text("utf-8") == BY_HAND
    assert [p.name for p in mine.parent.iterdir()] == [mine.name]


@pytest.mark.parametrize(("number", "said"), [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "read-only")])
def test_whatever_the_disk_refuses_the_old_file_stays(
    mine: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str
):
    def refuse(_descriptor: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(NotWritten, match=said):
        add_ask(mine, "res_max", "180 mL", LITERATURE)
    assert mine.read_text("utf-8") == BY_HAND
    assert [p.name for p in mine.parent.iterdir()] == [mine.name]


def test_a_new_car_reads_back_and_is_the_owners_alone(tmp_path: Path):
    path = tmp_path / "cars" / "new.yaml"
    new_car(path, name="the 'blue' estate: mine", vin=TRUE_VIN, steering="right", odometer="182000 km", initials="AB")
    car = car_of(path)
    assert (car.name, car.steering, car.odometer, car.people) == (
        "the 'blue' estate: mine", "right", "182000 km", ("AB",),
    )  # fmt: skip
    assert len(car.salt) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    add_ask(path, "res_max", "180 mL", LITERATURE)
    added = '\nasks:\n  res_max: {value: "180 mL", source: "car\'s service literature"}\n# instr'
    assert added in path.read_text("utf-8")


def test_a_new_car_never_replaces_one_and_is_never_misshapen(mine: Path):
    with pytest.raises(NotWritten, match="there is a file of that name already"):
        new_car(mine, name="x", vin=TRUE_VIN, steering="left", odometer="", initials="AB")
    assert mine.read_text("utf-8") == BY_HAND
    with pytest.raises(NotWritten, match="'initials' must be"):
        new_car(mine.parent / "n.yaml", name="x", vin=TRUE_VIN, steering="left", odometer="", initials="a")
    assert not (mine.parent / "n.yaml").exists()
