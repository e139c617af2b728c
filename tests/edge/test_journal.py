import errno
import os
import random
import resource
import signal
import stat
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from runner.core.record import Head, read, seal
from runner.edge.clock import SteppedClock
from runner.edge.journal import Held, Journal, NotRecorded

LONG = bool(os.environ.get("WITNESSMARK_LONG"))
SINCE = "2026-01-01T08:00:00.000Z"


def opened(path: Path, by: str = "AB") -> Journal:
    got = Journal.open(path, by=by, since=SINCE)
    assert isinstance(got, Journal)
    return got


def created(folder: Path, name: str = "run", by: str = "AB") -> Journal:
    got = Journal.create(folder, name, by=by, since=SINCE)
    assert isinstance(got, Journal)
    return got


def lines(count: int, head: Head | None = None) -> list[bytes]:
    head, clock, made = head or Head(), SteppedClock(), []
    for n in range(count):
        made.append(seal(head, clock.now(), "AB", {"do": "tick", "text": "ü" * (n % 50)}, [{"is": "ticked"}]))
        head = head.after(made[-1])
    return made


FIVE = lines(5)


@pytest.fixture
def five(tmp_path: Path) -> Path:
    with created(tmp_path) as journal:
        for line in FIVE:
            journal.append(line)
        return journal.path


def test_what_was_appended_reads_back_and_can_be_continued(five: Path):
    assert five.read_bytes() == b"".join(FIVE)
    with opened(five) as journal:
        assert journal.torn is None
        assert len(journal.record.lines) == 5
        [more] = lines(1, journal.record.head)
        journal.append(more)
    assert read(five.read_bytes()).fault is None


def test_a_record_and_its_folder_are_for_the_owners_eyes(tmp_path: Path):
    with created(tmp_path / "new" / "folder") as journal:
        assert stat.S_IMODE(journal.path.stat().st_mode) == 0o600
        assert stat.S_IMODE(journal.path.parent.stat().st_mode) == 0o700
        for beside in journal.path.parent.iterdir():
            assert stat.S_IMODE(beside.stat().st_mode) == 0o600


def test_an_append_is_one_write_and_is_synced_before_it_returns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    calls = []
    with created(tmp_path) as journal:
        write, sync = os.write, os.fsync
        monkeypatch.setattr(os, "write", lambda to, data: calls.append(("write", data)) or write(to, data))
        monkeypatch.setattr(os, "fsync", lambda what: calls.append(("sync", journal.path.read_bytes())) or sync(what))
        journal.append(FIVE[0])
    assert calls == [("write", FIVE[0]), ("sync", FIVE[0])]


def test_the_name_of_a_new_record_is_synced_into_its_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    synced = []
    sync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda what: synced.append(os.readlink(f"/proc/self/fd/{what}")) or sync(what))
    with created(tmp_path):
        assert synced == [str(tmp_path)]


@pytest.mark.parametrize("line", [b"", b"\n\n", b"no newline", b"two\nlines\n"])
def test_only_one_whole_line_is_ever_appended(tmp_path: Path, line: bytes):
    with created(tmp_path) as journal, pytest.raises(ValueError, match="expected one line"):
        journal.append(line)
    assert journal.path.read_bytes() == b""


def test_a_record_cut_at_any_byte_of_its_last_line_is_resumed_and_the_torn_end_kept(five: Path):
    whole, start = b"".join(FIVE), len(b"".join(FIVE[:4]))
    for number, at in enumerate(range(start + 1, len(whole)), start=1):
        five.write_bytes(whole[:at])
        with opened(five) as journal:
            assert journal.torn is not None
            assert journal.torn.size == at - start
            assert journal.torn.kept == five.with_name(f"run.torn-{number}")
            assert journal.torn.kept.read_bytes() == whole[start:at]
            assert journal.record.torn == whole[start:at]
            journal.append(FIVE[4])
        assert five.read_bytes() == whole


def test_a_torn_end_that_cannot_be_kept_is_not_cut_off(five: Path, monkeypatch: pytest.MonkeyPatch):
    five.write_bytes(five.read_bytes()[:-3])
    before = five.read_bytes()
    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", failing(errno.ENOSPC))
        with pytest.raises(NotRecorded, match="the disk is full"):
            opened(five)
    assert five.read_bytes() == before
    with opened(five) as journal:
        assert journal.torn is not None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "run.jsonl:1: the record holds no line"),
        (FIVE[0][:40], "run.jsonl:1: the last line ends after 40 bytes"),
        (b"\x89PNG and no record", "run.jsonl:1: the line cannot be read: it does not begin like a record"),
        (b"".join(FIVE).replace(b"ticked", b"tucked", 1), "run.jsonl:1: the line does not fit its own hash"),
        (b"".join(FIVE[:3] + FIVE[4:]) + b"torn", "run.jsonl:4: line 4 is missing"),
    ],
)
def test_what_is_no_good_record_is_not_continued_and_stays_as_it_is(five: Path, content: bytes, said: str):
    five.write_bytes(content)
    with pytest.raises(NotRecorded) as refused:
        opened(five)
    assert said in str(refused.value)
    assert five.read_bytes() == content
    assert [beside.name for beside in five.parent.iterdir()] == ["run.jsonl"]


def failing(number: int):
    def fail(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    return fail


@pytest.mark.parametrize(
    ("call", "number", "said"),
    [
        ("write", errno.ENOSPC, "the disk is full: make room, then try again"),
        ("write", errno.EROFS, "the disk is mounted read-only: mount it for writing"),
        ("write", errno.EIO, "the disk reported an error: copy the record to another disk"),
        ("fsync", errno.EIO, "the disk reported an error"),
        ("fsync", errno.ENOSPC, "the disk is full"),
        ("write", errno.ENXIO, "No such device or address: mend that"),
    ],
)
def test_a_disk_that_refuses_leaves_the_record_as_it_was(
    five: Path, monkeypatch: pytest.MonkeyPatch, call: str, number: int, said: str
):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        with monkeypatch.context() as patched:
            patched.setattr(os, call, failing(number))
            with pytest.raises(NotRecorded, match=said):
                journal.append(more)
        assert five.read_bytes() == b"".join(FIVE)
        journal.append(more)
        assert five.read_bytes() == b"".join(FIVE) + more
        with five.open("ab") as other:
            other.write(b"not ours to cut off")
        with pytest.raises(NotRecorded, match="another program wrote to it"):
            journal.append(more)


def test_a_short_write_is_cut_back(five: Path, monkeypatch: pytest.MonkeyPatch):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        write = os.write
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", lambda to, data: write(to, data[:20]))
            with pytest.raises(NotRecorded, match="the disk is full"):
                journal.append(more)
        assert five.read_bytes() == b"".join(FIVE)


def test_a_disk_that_takes_not_even_the_cut_is_tried_again_at_the_next_act(five: Path, monkeypatch: pytest.MonkeyPatch):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        write = os.write
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", lambda to, data: write(to, data[:20]))
            patched.setattr(os, "ftruncate", failing(errno.EIO))
            with pytest.raises(NotRecorded, match="the disk is full"):
                journal.append(more)
            assert five.read_bytes() == b"".join(FIVE) + more[:20]
            with pytest.raises(NotRecorded, match="ends in part of a line that cannot be cut off"):
                journal.append(more)
        journal.append(more)
    assert five.read_bytes() == b"".join(FIVE) + more


def test_an_interrupt_before_the_answer_leaves_the_record_as_it_was(five: Path, monkeypatch: pytest.MonkeyPatch):
    def interrupted(_: int) -> None:
        monkeypatch.undo()
        raise KeyboardInterrupt

    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        monkeypatch.setattr(os, "fsync", interrupted)
        with pytest.raises(KeyboardInterrupt):
            journal.append(more)
        assert five.read_bytes() == b"".join(FIVE)
        journal.append(more)


@contextmanager
def largest_file(size: int):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("room", [0, 1, 100])
def test_a_file_that_the_system_lets_grow_no_further_stays_whole(five: Path, room: int):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        with (
            largest_file(five.stat().st_size + room),
            pytest.raises(NotRecorded, match=r"grow further|disk is full"),
        ):
            journal.append(more)
        assert five.read_bytes() == b"".join(FIVE)
        journal.append(more)
    assert read(five.read_bytes()).fault is None


def test_a_record_that_was_removed_or_replaced_under_way_takes_no_more_lines(five: Path):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        aside = five.rename(five.with_name("aside"))
        with pytest.raises(NotRecorded, match=r"there is no such file.*put it back"):
            journal.append(more)
        five.write_bytes(aside.read_bytes())
        with pytest.raises(NotRecorded, match="no longer the file that was opened"):
            journal.append(more)
        five.unlink()
        aside.rename(five)
        journal.append(more)


def test_a_folder_that_was_removed_under_way_is_said_to_be_gone(five: Path):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        for beside in five.parent.iterdir():
            beside.unlink()
        five.parent.rmdir()
        with pytest.raises(NotRecorded, match="there is no such file"):
            journal.append(more)


def test_a_record_that_another_program_wrote_to_takes_no_more_lines(five: Path):
    with opened(five) as journal:
        [more] = lines(1, journal.record.head)
        with five.open("ab") as other:
            other.write(b"# a note\n")
        with pytest.raises(NotRecorded, match="another program wrote to it"):
            journal.append(more)
        assert five.read_bytes() == b"".join(FIVE) + b"# a note\n"


def test_a_second_writer_is_told_who_holds_the_record(five: Path):
    with opened(five, by="CD"):
        assert Journal.open(five, by="EF", since=SINCE) == Held("CD", SINCE, os.getpid(), os.uname().nodename)
    with opened(five, by="EF"):
        pass


def test_a_writer_in_another_process_holds_the_record_until_it_is_killed(five: Path):
    ready, tell = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            opened(five, by="CD")
            os.write(tell, b"!")
            time.sleep(30)
        finally:
            os._exit(1)
    os.read(ready, 1)
    held = Journal.open(five, by="EF", since=SINCE)
    assert isinstance(held, Held)
    assert (held.by, held.since, held.pid) == ("CD", SINCE, child)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.close(ready)
    os.close(tell)
    with opened(five, by="EF") as journal:
        assert len(journal.record.lines) == 5


@pytest.mark.parametrize("note", [None, b"", b"\xff", b"[]"])
def test_a_holder_whose_note_cannot_be_read_still_holds(five: Path, note: bytes | None):
    with opened(five):
        beside = five.with_suffix(".holder")
        beside.unlink()
        if note is not None:
            beside.write_bytes(note)
        assert Journal.open(five, by="EF", since=SINCE) == Held()


def test_a_closed_record_leaves_no_note_and_closes_twice(five: Path):
    journal = opened(five)
    journal.close()
    journal.close()
    assert [beside.name for beside in five.parent.iterdir()] == ["run.jsonl"]


def test_what_is_not_a_plain_file_is_refused_in_words(five: Path):
    folder = five.parent
    (folder / "link.jsonl").symlink_to(five)
    (folder / "folder.jsonl").mkdir()
    os.mkfifo(folder / "pipe.jsonl")
    (folder / "loop.jsonl").symlink_to("loop.jsonl")
    for name, said in {
        "link": "it is a symbolic link: name the file that it leads to",
        "loop": "it is a symbolic link",
        "folder": "it is a folder: name the .jsonl file in it",
        "pipe": "is not a plain file",
        "missing": "there is no such file: check the name",
        "run.jsonl/deeper": "a part of its path is not a folder",
    }.items():
        with pytest.raises(NotRecorded, match=said):
            opened(folder / f"{name}.jsonl")
    assert five.read_bytes() == b"".join(FIVE)


def test_a_record_is_not_created_over_another_nor_through_a_link(five: Path):
    (five.parent / "link.jsonl").symlink_to(five.parent / "elsewhere")
    for name in ("run", "link"):
        with pytest.raises(NotRecorded, match="there is a record of that name already: resume it"):
            created(five.parent, name)
    assert not (five.parent / "elsewhere").exists()
    assert five.read_bytes() == b"".join(FIVE)


@pytest.mark.parametrize("name", ["", "../run", "a/b", ".hidden", "a\x1b[2J", "ü", "x" * 101, "-r"])
def test_a_name_that_leads_elsewhere_is_no_name_for_a_record(tmp_path: Path, name: str):
    with pytest.raises(NotRecorded, match="is no name for a record") as refused:
        created(tmp_path / "new", name)
    assert str(refused.value).isprintable()
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("call", ["mkdir", "open", "fsync"])
def test_a_folder_that_takes_no_record_is_said_and_nothing_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
):
    with monkeypatch.context() as patched:
        patched.setattr(os, call, failing(errno.EROFS))
        with pytest.raises(NotRecorded, match="the disk is mounted read-only"):
            created(tmp_path / "new")
    assert list(tmp_path.rglob("*.*")) == []


def test_a_folder_that_keeps_no_locks_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("fcntl.flock", failing(errno.ENOLCK))
    with pytest.raises(NotRecorded, match="its folder keeps no locks: put the record on a local disk"):
        created(tmp_path)


def append_until_killed(path: Path, acknowledge: int) -> None:
    """What the child does: append, and say so only after the append has returned."""
    journal = opened(path)
    head = journal.record.head
    clock = SteppedClock()
    while True:
        line = seal(head, clock.now(), "AB", {"do": "tick", "text": "x" * (head.n * 37 % 9_000)}, [])
        journal.append(line)
        head = head.after(line)
        os.write(acknowledge, b"%d\n" % head.n)


def test_no_acknowledged_act_is_lost_to_kill_9(tmp_path: Path):
    seed = random.randrange(2**32)
    moments = random.Random(seed)
    path, appended = tmp_path / "none", 0
    for kill in range(1_000 if LONG else 40):
        if kill % 20 == 0:
            with created(tmp_path, f"run-{kill}") as journal:
                path = journal.path
                journal.append(FIVE[0])
        told, acknowledge = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                append_until_killed(path, acknowledge)
            finally:
                os._exit(1)
        os.close(acknowledge)
        first = os.read(told, 64)
        time.sleep(moments.uniform(0, 0.006))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == -signal.SIGKILL, seed
        with open(told, "rb") as rest:
            last = int((first + rest.read()).split()[-1])
        record = read(path.read_bytes())
        assert record.fault is None or record.torn, (seed, kill, record.fault)
        assert len(record.lines) in {last, last + 1}, (seed, kill)
        appended += len(record.lines)
    assert appended > 100
