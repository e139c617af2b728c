import errno
import os
import stat

import pytest

from runner.edge.sheet import write_sheet


def test_a_sheet_reads_as_it_was_written_and_is_for_the_owners_eyes(tmp_path):
    path = tmp_path / "status.txt"
    for text in ("first\n", "Löse nichts.\n\u2028", "lone \ud800\n"):
        assert write_sheet(path, text) is None
        assert path.read_bytes() == text.encode("utf-8", "backslashreplace")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(tmp_path.iterdir()) == [path]


def test_a_reader_never_sees_half_a_sheet(tmp_path, monkeypatch):
    path = tmp_path / "status.txt"
    write_sheet(path, "whole\n")
    seen = []
    replace = os.replace
    monkeypatch.setattr(os, "replace", lambda a, b: seen.append(path.read_text()) or replace(a, b))
    write_sheet(path, "next\n")
    assert seen == ["whole\n"]


@pytest.mark.parametrize(("call", "number"), [("open", errno.EROFS), ("replace", errno.EIO)])
def test_a_sheet_that_cannot_be_written_is_said_and_the_old_one_stays(tmp_path, monkeypatch, call, number):
    path = tmp_path / "status.txt"
    write_sheet(path, "whole\n")

    def fail(*_):
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(os, call, fail)
        said = write_sheet(path, "next\n")
    assert said is not None
    assert said.startswith(f"the status sheet {path} could not be written: {os.strerror(number)}")
    assert path.read_text() == "whole\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_or_a_folder_in_its_place_is_said(tmp_path):
    assert "No such file" in (write_sheet(tmp_path / "gone" / "status.txt", "x") or "")
    (tmp_path / "status.txt").mkdir()
    assert "directory" in (write_sheet(tmp_path / "status.txt", "x") or "")


def test_a_full_disk_is_said(tmp_path, monkeypatch):
    opened = os.open
    monkeypatch.setattr(os, "open", lambda path, *flags: opened("/dev/full", os.O_WRONLY))
    assert "No space left" in (write_sheet(tmp_path / "status.txt", "x") or "")
