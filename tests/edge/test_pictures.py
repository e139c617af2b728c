"""Pictures lose what the camera wrote, keep every bit of the image, and lie beside the record under their digest."""

from __future__ import annotations

import os
import struct
import zlib
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.edge.disk import NotRecorded
from runner.edge.pictures import Pictures, without_story


def segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2) + body


def chunk(kind: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4) + kind + body + zlib.crc32(kind + body).to_bytes(4)


SCAN = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"scan data \xff\x00 more" + b"\xff\xd9"
PLACE = segment(0xE1, b"Exif\x00\x00GPSLatitude 53 33 1.2")
REMARK = segment(0xFE, b"at home")
JPEG = b"\xff\xd8" + segment(0xE0, b"JFIF\x00") + PLACE + REMARK + segment(0xDB, b"q" * 65) + SCAN
HEAD = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
PIXELS = chunk(b"IDAT", zlib.compress(b"\x00\x7f"))
TOLD = chunk(b"eXIf", b"GPS") + chunk(b"tEXt", b"Author\x00K")
PNG = b"\x89PNG\r\n\x1a\n" + HEAD + TOLD + PIXELS + chunk(b"IEND", b"")


def test_a_jpeg_loses_place_and_comment_and_keeps_its_picture() -> None:
    clean = without_story(JPEG)
    assert clean == b"\xff\xd8" + segment(0xE0, b"JFIF\x00") + segment(0xDB, b"q" * 65) + SCAN


def test_a_png_loses_its_texts_and_keeps_its_picture() -> None:
    assert without_story(PNG) == b"\x89PNG\r\n\x1a\n" + HEAD + PIXELS + chunk(b"IEND", b"")


def test_what_is_no_whole_picture_is_refused() -> None:
    for spoiled in (b"", b"\xff\xd8", JPEG[:30], PNG[:40], b"GIF89a", b"\x89PNG\r\n\x1a\n"):
        assert without_story(spoiled) is None


@given(st.binary(max_size=200), st.sampled_from((b"\xff\xd8", b"\x89PNG\r\n\x1a\n", b"")))
def test_no_bytes_whatever_raise(tail: bytes, start: bytes) -> None:
    clean = without_story(start + tail)
    assert clean is None or b"Exif" not in clean[:20]


def folder(tmp_path: Path) -> Pictures:
    source = tmp_path / "camera"
    source.mkdir()
    (source / "old.jpg").write_bytes(JPEG)
    (source / "new.png").write_bytes(PNG)
    (source / "notes.txt").write_text("no picture")
    (source / "broken.jpg").write_bytes(b"\xff\xd8")
    os.utime(source / "old.jpg", ns=(1, 1))
    return Pictures(source, tmp_path / "run.pictures")


def test_the_newest_pictures_are_offered_first_by_the_digest_of_the_copy(tmp_path: Path) -> None:
    digests = [sha256(without_story(p) or b"").hexdigest() for p in (PNG, JPEG)]
    assert folder(tmp_path).newest() == (("new.png", digests[0]), ("old.jpg", digests[1]))


def test_a_picture_that_is_taken_lies_beside_the_record_under_its_digest(tmp_path: Path) -> None:
    pictures = folder(tmp_path)
    _, digest = pictures.newest()[1]
    assert pictures.take(digest) == digest
    kept = tmp_path / "run.pictures" / f"{digest}.jpg"
    assert sha256(kept.read_bytes()).hexdigest() == digest
    assert b"GPS" not in kept.read_bytes()


def test_a_picture_may_be_named_by_its_file(tmp_path: Path) -> None:
    pictures = folder(tmp_path)
    assert pictures.take(str(tmp_path / "camera" / "new.png")) == pictures.newest()[0][1]


def test_a_name_that_is_no_picture_is_not_taken(tmp_path: Path) -> None:
    pictures = folder(tmp_path)
    for named in ("nothing.jpg", str(tmp_path / "camera" / "notes.txt"), "", "a\x00b", "0" * 64):
        assert pictures.take(named) is None


def test_a_disk_that_refuses_the_copy_is_said_and_nothing_is_left(tmp_path: Path) -> None:
    pictures = folder(tmp_path)
    (tmp_path / "run.pictures").write_text("a file stands where the folder should be")
    with pytest.raises(NotRecorded):
        pictures.take(pictures.newest()[0][1])
