"""Pictures: the newest of a folder are offered; the one that is taken is copied beside the record under its SHA-256.

The copy has lost what a camera writes about place, time and device (EXIF, XMP and IPTC blocks of a JPEG file,
text and EXIF chunks of a PNG file); the picture itself is untouched, bit for bit.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from runner.edge.disk import in_words, sync_folder

KINDS = (".jpg", ".jpeg", ".png")
LARGEST = 50_000_000
_JPEG = b"\xff\xd8"
_PNG = b"\x89PNG\r\n\x1a\n"
# Application segments that describe (APP1 EXIF and XMP, APP2 to APP13, comments); APP0 and APP14 say how to decode.
_TOLD = frozenset({*range(0xE1, 0xEE), 0xEF, 0xFE})
_KEPT_CHUNKS = frozenset(
    {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD", b"pHYs"}
)


def without_story(data: bytes) -> bytes | None:
    """The picture without what was written about it; None if it is no whole JPEG or PNG file."""
    if data.startswith(_JPEG):
        return _join(_jpeg(data))
    if data.startswith(_PNG):
        return _join(_png(data))
    return None


def _join(parts: Iterator[bytes | None]) -> bytes | None:
    kept: list[bytes] = []
    for part in parts:
        if part is None:
            return None
        kept.append(part)
    return b"".join(kept)


def _jpeg(data: bytes) -> Iterator[bytes | None]:
    yield _JPEG
    at = len(_JPEG)
    while at + 4 <= len(data):
        marker, size = data[at + 1], int.from_bytes(data[at + 2 : at + 4])
        if data[at] != 0xFF or size < 2 or at + 2 + size > len(data):
            break
        if marker == 0xDA:  # from the start of the scan on everything is picture
            yield data[at:]
            return
        if marker not in _TOLD:
            yield data[at : at + 2 + size]
        at += 2 + size
    yield None


def _png(data: bytes) -> Iterator[bytes | None]:
    yield _PNG
    at = len(_PNG)
    while at + 12 <= len(data):
        size, kind = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        if at + 12 + size > len(data):
            break
        if kind in _KEPT_CHUNKS:
            yield data[at : at + 12 + size]
        if kind == b"IEND":
            return
        at += 12 + size
    yield None


class Pictures:
    """The folder that pictures come from, and the folder beside the record that they are copied to."""

    def __init__(self, source: Path, kept: Path) -> None:
        self.source = source
        self.kept = kept
        self._seen: dict[tuple[str, int, int], tuple[str, str] | None] = {}

    def newest(self, most: int = 6) -> tuple[tuple[str, str], ...]:
        """Name and SHA-256 (of the copy that would be kept) of the pictures taken last."""
        found: list[tuple[int, Path, int]] = []
        try:
            for path in self.source.iterdir():
                status = path.stat()
                if path.suffix.lower() in KINDS and path.is_file() and status.st_size <= LARGEST:
                    found.append((status.st_mtime_ns, path, status.st_size))
        except OSError:
            return ()
        offered = []
        for when, path, size in sorted(found, key=lambda f: (-f[0], f[1].name))[:most]:
            key = (path.name, when, size)
            if key not in self._seen:
                self._seen[key] = self._digest(path)
            known = self._seen[key]
            if known is not None:
                offered.append(known)
        return tuple(offered)

    def _digest(self, path: Path) -> tuple[str, str] | None:
        try:
            clean = without_story(path.read_bytes())
        except OSError:
            return None
        return None if clean is None else (path.name, sha256(clean).hexdigest())

    def take(self, named: str) -> str | None:
        """Keep the picture of that digest or file beside the record; its digest, or None if there is none.

        NotRecorded if the disk refuses.
        """
        path = next((self.source / n for n, d in self.newest() if d == named), Path(named).expanduser())
        try:
            if path.stat().st_size > LARGEST:
                return None
            clean = without_story(path.read_bytes())
        except (OSError, ValueError):
            return None
        if clean is None:
            return None
        digest = sha256(clean).hexdigest()
        target = self.kept / f"{digest}{path.suffix.lower()}"
        with in_words(target):
            self.kept.mkdir(mode=0o700, exist_ok=True)
            part = target.with_suffix(".part")
            with open(part, "wb") as file:
                file.write(clean)
                file.flush()
                os.fsync(file.fileno())
            part.replace(target)
            sync_folder(self.kept)
        return digest
