"""The handover sheet as one HTML file for screen and print: nothing in it is fetched, nothing runs."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from importlib import resources

import segno
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from runner.core.gaterows import on_one_line
from runner.core.graph import CORNER_WORDS
from runner.core.handover import Handover
from runner.edge import sheet_words

_UNIT = re.compile(r"(?<=\d) (?=[^\W\d_])|(?<=\d N) (?=m\b)")


def page(
    sheet: Handover,
    *,
    run: str,
    fingerprint: str,
    faults: Sequence[str] = (),
    pictures: Mapping[str, bytes] | None = None,
) -> str:
    """The sheet; every text of people, files and records is shown as text, whatever it holds.

    ``faults`` are what is wrong with the record behind it, which then stands first. ``pictures`` are the files of
    the pictures by their SHA-256; they become part of the page.
    """
    world = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_unbroken
    )
    template = world.from_string((resources.files("runner.edge") / "handover.html").read_text("utf-8"))
    return template.render(
        sheet=sheet,
        run=on_one_line(run),
        fingerprint=fingerprint,
        faults=tuple(on_one_line(fault) for fault in faults),
        said=sheet_words,
        pictures={digest: _data(data) for digest, data in (pictures or {}).items()},
        corner_words=CORNER_WORDS,
        px=_px,
        qr=_qr(fingerprint),
    )


def _unbroken(said: object) -> object:
    """A number stays on one line with its unit."""
    return _UNIT.sub("\u00a0", said) if isinstance(said, str) and not isinstance(said, Markup) else said


def _data(picture: bytes) -> str:
    """The picture as an address that holds all of it (RFC 2397)."""
    kind = "png" if picture.startswith(b"\x89PNG") else "jpeg"
    return f"data:image/{kind};base64,{b64encode(picture).decode()}"


def _px(part: float, whole: int) -> float:
    return round(part * whole, 1)


def _qr(text: str) -> Markup:
    """The text as a QR code (ISO/IEC 18004), of marks that are drawn, not fetched."""
    drawn = segno.make(text, error="m", micro=False).svg_inline(omitsize=True, border=4)
    return Markup(drawn)  # the library's own drawing of letters and digits
