"""A run at the command line: what its record holds and never holds, what stands beside it, what it goes on with."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pytest

from runner.cli import command
from runner.cli.proving import Ready, proven
from runner.cli.running import job_of
from runner.core import act as ac
from runner.core.graph import Procedure
from runner.core.record import fingerprint
from runner.edge.carfile import Car, read_car
from runner.edge.clock import SteppedClock
from runner.edge.garage import Run, run_of, runs, take_over
from runner.edge.job import Nowhere
from runner.edge.opening import rebuild
from runner.edge.shelf import Shelf
from tests import rig

LIBRARY = Path(__file__).parents[2] / "procedures"
PERSONAL = ("SM07 TDE", "Odo Marram", "+44 1632 960007", "Kit Sedge", "Marlow Ormer")
SECRET = ("111111A15E1111117", "saltmarsh-tide-table-7", "Saltmarsh unit 7")


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A car of one's own, with all that its file may say of people."""
    text = Shelf().demo("demo/saltmarsh-unit-7.yaml").read_text("utf-8")
    plate, owner, phone = PERSONAL[:3]
    for old, new in (
        ("demonstration: true\n", ""),
        ('  plate: ""\n', f'  plate: "{plate}"\n  phone: "{phone}"\n'),
        ("  owner: Saltmarsh car club\n", f"  owner: {owner}\n"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    path = tmp_path_factory.mktemp("car") / "own.yaml"
    path.write_text(text, "utf-8")
    return path


@pytest.fixture(scope="module")
def home(car: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home in which a file of answers went through a run on that car."""
    made = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WITNESSMARK_HOME", str(made))
        assert command(["run", rig.NAME, "--car", str(car), "--answers"]) == 0
    return made


def only_run(folder: Path) -> Run:
    [path] = folder.glob("*.jsonl")
    run = run_of(path)
    assert isinstance(run, Run), run
    return run


def test_what_comes_of_a_file_of_answers_is_a_demonstration_whatever_the_car(home: Path) -> None:
    assert not (home / "records").exists()
    run = only_run(home / "demonstration")
    assert run.begin.demonstration
    assert run.state.demonstration


def test_no_name_phone_or_plate_stands_in_any_line_and_the_car_only_as_a_salted_reference(
    home: Path, car: Path
) -> None:
    run = only_run(home / "demonstration")
    data = run.path.read_text("utf-8")
    for told in (*PERSONAL, *SECRET):
        assert told not in data
    read = read_car(car)
    assert isinstance(read, Car)
    assert run.begin.car == read.reference


def test_the_first_line_holds_the_procedure_and_all_that_it_calls(home: Path) -> None:
    run = only_run(home / "demonstration")
    made = rebuild(run.begin)
    assert isinstance(made, Procedure), made
    assert made.fragments.keys() == rig.ready().procedure.fragments.keys()
    for name, text in run.begin.texts.items():
        assert text == (LIBRARY / Path(name).name).read_text("utf-8")


def test_the_status_sheet_beside_the_record_stands_at_its_last_line(home: Path) -> None:
    run = only_run(home / "demonstration")
    sheet = run.path.with_suffix(".status.txt").read_text("utf-8")
    assert sheet.startswith("*** DEMONSTRATION ***\n")
    assert f"fingerprint of the last line: {fingerprint(run.record.head.hash)}\n" in sheet


def test_work_takes_nothing_over_from_a_demonstration_nor_the_other_way(home: Path) -> None:
    found, _ = runs(home / "demonstration")
    car = found[0].begin.car
    shown = take_over(found, car, demonstration=True)
    assert shown.heads
    assert shown.conditions
    worked = take_over(found, car, demonstration=False)
    assert not any((worked.heads, worked.conditions, worked.levels, worked.waits, worked.claims))


def test_a_part_that_one_run_used_up_is_a_new_one_in_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path))
    for _ in range(2):
        assert command(["run", "cv-boot-inner", "--demo", "--answers"]) == 0
        assert "cv-boot-inner: done" in capsys.readouterr().out


def test_whether_a_step_is_done_again_is_judged_by_the_checker(tmp_path: Path) -> None:
    made = rig.ready()
    ready = Ready(procedure=made.procedure, checked=lambda: made.checked, car=made.car)
    job = job_of(ready, Nowhere(), SteppedClock(), record=None, by="KS", notice="")
    ok, because = job.admit(job.state, "corners/RR/bleed")
    assert not ok
    assert because


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """A procedure of one's own, begun and left at once: its file, its record, and a way to start it with lines."""
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path / "home"))
    for path in LIBRARY.glob("*.yaml"):
        shutil.copy(path, tmp_path / path.name)
    mine = tmp_path / f"{rig.NAME}.yaml"

    def start(lines: str) -> str:
        monkeypatch.setattr("sys.stdin", io.StringIO(lines))
        assert command(["run", str(mine), "--demo", "--plain"]) == 0
        return capsys.readouterr().out

    start("quit\n")
    [record] = (tmp_path / "home" / "demonstration").glob("*.jsonl")
    return mine, record, start


def test_a_run_goes_on_with_the_procedure_that_it_began_with(begun) -> None:
    mine, record, start = begun
    text = mine.read_text("utf-8")
    first = next(line for line in text.splitlines() if line.startswith("title: "))
    mine.write_text(text.replace(first, "title: Another text", 1), "utf-8")
    assert "Another text" not in start("quit\n")
    assert len(only_run(record.parent).entries) == 2


def test_a_torn_end_is_set_aside_and_said_on_the_screen(begun) -> None:
    _, record, start = begun
    whole = record.read_bytes()
    record.write_bytes(whole + b'{"act":{"do":"do')
    said = start("quit\n")
    assert "torn: crash or cut; 16 bytes set aside in" in said
    [kept] = record.parent.glob("*.torn-*")
    assert kept.read_bytes() == b'{"act":{"do":"do'
    resumed = only_run(record.parent).entries[-1].act
    assert isinstance(resumed, ac.Resume)
    assert resumed.torn


def test_a_record_of_the_car_that_is_missing_is_said_at_the_start(
    begun, home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, record, _ = begun
    monkeypatch.setattr("sys.stdin", io.StringIO("quit\n"))
    begin = ["run", rig.NAME, "--demo", "--plain", "--new"]
    assert command(begin) == 0
    record.unlink()
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.StringIO("quit\n"))
    command(begin)
    assert f"names the record '{record.stem}', which is not in this folder" in capsys.readouterr().err


def test_a_run_whose_own_procedure_is_not_proven_any_more_says_how_to_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("WITNESSMARK_HOME", str(tmp_path))
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    command(["run", "headlamp-restoration", "--demo", "--plain"])
    run = only_run(tmp_path / "demonstration")
    before = run.path.read_bytes()
    capsys.readouterr()
    answers = iter((proven, lambda *_: 1))  # today's procedure is proven, that of the record is not
    monkeypatch.setattr("runner.cli.running.proven", lambda *given, **more: next(answers)(*given, **more))
    assert command(["run", "headlamp-restoration", "--demo", "--plain"]) == 1
    told = "".join(capsys.readouterr())
    assert str(run.path.with_suffix(".status.txt")) in told
    assert "--new" in told
    assert run.path.read_bytes() == before
