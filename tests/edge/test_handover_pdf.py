"""The sheet on paper: A4, the same words as in the browser, texts as text, and a QR code that a reader reads.

A4 is 210 by 297 mm (ISO 216), 595.276 by 841.890 points of 1/72 inch.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import lru_cache

import pypdfium2
import zxingcpp
from pypdf import PdfReader

from runner.core.entry import Entry
from runner.core.handover import Handover, Vehicle, handover
from runner.edge.handover import page
from runner.edge.handover_pdf import pdf
from tests.edge.small import USUAL, lines, procedure
from tests.edge.test_handover import HOSTILE, PAPER, PROMISES, Parts, browse, demo, demo_page, hostile_acts
from tests.rig import ready

__all__ = ["demo"]
_OF_THE_PAGE = re.compile(r"page\d+of\d+|DEMONSTRATION:thisisnotworkdoneonacar")


def demo_sheet(entries: tuple[Entry, ...]) -> Handover:
    vehicle = Vehicle(name="Saltmarsh unit 7", vin="111111A15E1111117", odometer="143210 km", steering="left")
    return handover(entries, ready().procedure, vehicle)


@lru_cache(maxsize=1)
def hostile_sheet() -> Handover:
    vehicle = Vehicle(name=HOSTILE, vin=HOSTILE, odometer=HOSTILE, steering=HOSTILE)
    return handover(lines(hostile_acts())[1], procedure(), vehicle)


def printed(sheet: Handover, **more: object) -> PdfReader:
    return PdfReader(io.BytesIO(pdf(sheet, run="run-1", fingerprint=PAPER, **more)))  # type: ignore[arg-type]


def words(file: PdfReader) -> str:
    """All that stands on it, without spaces and what is said on every page anew."""
    text = "".join("".join(one.extract_text().split()) for one in file.pages)
    return _OF_THE_PAGE.sub("", text)


def seen(text: str) -> list[str]:
    """Each stretch of text that a browser shows, without spaces; the title of the window is none."""
    parts = ["".join(one.split()) for one in Parts(text[text.index("<body>") :]).words]
    return [one for one in parts if one and not _OF_THE_PAGE.fullmatch(one)]


def missing(sheet: Handover) -> list[str]:
    told = words(printed(sheet))
    return [one for one in seen(page(sheet, run="run-1", fingerprint=PAPER)) if one not in told]


def test_the_paper_says_every_word_that_the_browser_shows(demo: tuple[Entry, ...]):
    assert missing(demo_sheet(demo)) == []
    assert missing(hostile_sheet()) == []
    assert missing(handover(lines()[1], procedure(), Vehicle())) == []


def test_a_word_that_is_not_on_the_paper_is_noticed():
    sheet = handover(lines()[1], procedure(), Vehicle())
    told = words(printed(replace(sheet, found=())))
    assert [
        one
        for one in seen(page(replace(sheet, found=("No such.",)), run="run-1", fingerprint=PAPER))
        if one not in told
    ]


def test_the_paper_is_a4_and_says_demonstration_on_every_page(demo: tuple[Entry, ...]):
    file = printed(demo_sheet(demo))
    assert len(file.pages) > 3
    for number, sheet in enumerate(file.pages, 1):
        assert (round(sheet.mediabox.width, 2), round(sheet.mediabox.height, 2)) == (595.28, 841.89)
        text = sheet.extract_text()
        assert "DEMONSTRATION" in text
        assert f"page {number} of {len(file.pages)}" in text
    first = file.pages[0].extract_text()
    for heading in ("Before you drive", "Not done", "Have this looked at again"):
        assert heading in first
    assert "What was measured" not in first


def test_work_on_a_real_car_is_no_demonstration_on_paper():
    assert "DEMONSTRATION" not in printed(handover(lines()[1], procedure(), Vehicle())).pages[0].extract_text()


def test_the_paper_promises_nothing_of_the_car(demo: tuple[Entry, ...]):
    for sheet in (demo_sheet(demo), hostile_sheet()):
        text = " ".join(" ".join(one.extract_text().split()) for one in printed(sheet).pages)
        assert PROMISES.findall(text) == []
        assert "Checked on 2026-01-01 at this odometer:" in text


def test_texts_of_people_are_text_on_paper_and_a_fault_stands_first():
    file = printed(hostile_sheet(), faults=(HOSTILE,))
    first = " ".join(file.pages[0].extract_text().split())
    assert first.index("Do not rely on this sheet") < first.index("DO NOT DRIVE") < first.index("Before you drive")
    assert "<script>alert(1)</script>" in first
    assert not [one for one in file.pages if "/Annots" in one], "no link"


def test_no_text_is_too_long_for_the_paper():
    length = 3_000
    long = "x" * length + " word" * length
    sheet = hostile_sheet()
    corners = tuple((corner, (long,)) for corner, _ in sheet.corners)
    vehicle = replace(sheet.vehicle, name=long)
    made = printed(replace(sheet, corners=corners, vehicle=vehicle, found=(long,)), faults=(long[:length],))
    assert len(made.pages) > 4


def test_a_sign_that_the_font_does_not_hold_is_written_plainly():
    sheet = replace(handover(lines()[1], procedure(), Vehicle()), found=("őΔ→≤Ω",))
    assert "o?->≤Ω" in words(printed(sheet))


def test_the_same_sheet_is_the_same_file():
    sheet = handover(lines(USUAL)[1], procedure(), Vehicle())
    assert pdf(sheet, run="run-1", fingerprint=PAPER) == pdf(sheet, run="run-1", fingerprint=PAPER)


def codes(file: bytes) -> list[str]:
    """What a reader of QR codes reads on the pages of a PDF."""
    document = pypdfium2.PdfDocument(file)
    pages = [one.render(scale=3).to_pil().convert("L") for one in document]
    return [found.text for one in pages for found in zxingcpp.read_barcodes(one)]


def test_the_qr_code_on_paper_is_the_fingerprint():
    assert codes(pdf(handover(lines()[1], procedure(), Vehicle()), run="run-1", fingerprint=PAPER)) == [PAPER]


def test_the_qr_code_in_the_browser_is_the_fingerprint(tmp_path, demo: tuple[Entry, ...]):
    file = tmp_path / "sheet.pdf"
    browse(tmp_path, demo_page(demo), f"--print-to-pdf={file}", "--no-pdf-header-footer")
    assert codes(file.read_bytes()) == [PAPER]
