"""The handover sheet as PDF on A4, for whoever has no browser at hand: the same words and the same pictures."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    ListFlowable,
    ListItem,
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
)

from runner.core.gaterows import on_one_line
from runner.core.graph import CORNER_WORDS
from runner.core.handover import Handover
from runner.core.measured import Measured
from runner.edge import pdf_drawings as drawings
from runner.edge.paper import WIDE, Numbered, boxed, bullets, fonts, known, named, picture, section, words
from runner.edge.sheet_words import (
    ABOUT,
    AT_FAULT,
    DEMONSTRATION,
    FIRST_COME,
    KEEP,
    LEFT_IS,
    SCALE,
    VERDICTS,
    minute,
    not_to_be_driven,
    picture_words,
)

_RED = HexColor("#b00020")
_MOST_BESIDE, _LONGEST_BESIDE = 7, 500
"""So many texts, and signs in them, of each corner fit beside the car on one page."""


def pdf(
    sheet: Handover,
    *,
    run: str,
    fingerprint: str,
    faults: Sequence[str] = (),
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """The sheet as a PDF file; ``faults`` are what is wrong with the record behind it, which then stands first.

    ``pictures`` are the files of the pictures by their SHA-256.
    """
    fonts()
    file = io.BytesIO()
    document = BaseDocTemplate(
        file, pagesize=A4, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=18 * mm, bottomMargin=18 * mm,
        title=known(f"{sheet.title}: what was done"), author="", invariant=True, lang="en",
    )  # fmt: skip
    frame = Frame(15 * mm, 16 * mm, WIDE, A4[1] - 34 * mm, leftPadding=0, rightPadding=0)
    document.addPageTemplates(PageTemplate(frames=[frame]))
    canvas = type("_Pages", (Numbered,), {"over": DEMONSTRATION if sheet.demonstration else ""})
    told = [
        *_first_page(sheet, [on_one_line(fault) for fault in faults]),
        PageBreak(),
        *_found(sheet),
        *_measured(sheet),
        *_pictures(sheet, pictures or {}),
        *_course(sheet),
        *_standing(sheet, on_one_line(run), fingerprint),
    ]
    document.build(told, canvasmaker=canvas)
    return file.getvalue()


# ── the parts of the sheet ───────────────────────────────────────────────────────────────────────


def _first_page(sheet: Handover, faults: Sequence[str]) -> Iterator[Flowable]:
    yield words(sheet.title, "title")
    yield words(f"Checked on {sheet.ended[:10]} at this odometer: {sheet.odometer}.", "large")
    if faults:
        yield boxed([words(AT_FAULT, "stop"), *bullets(faults)], _RED)
    if sheet.do_not_drive:
        yield boxed([words(not_to_be_driven(sheet), "stop")], _RED)
    yield from section("Before you drive", sheet.before_driving, "Nothing was noted here.")
    yield from section("Not done", sheet.not_done, "All steps that the work asked for were done.")
    yield words("Have this looked at again", "head")
    for one in sheet.due:
        yield boxed([words(one.what, "strong"), *([words(one.when)] if one.when else [])])
    if not sheet.due:
        yield words("Nothing was noted as due.")
    yield named(
        ("Car", sheet.vehicle.name),
        ("Vehicle number", sheet.vehicle.vin),
        ("Car's reference", sheet.reference),
        ("Work", f"{minute(sheet.begun)} to {minute(sheet.ended)}"),
        ("By", ", ".join(sheet.people)),
    )
    yield words(f"{ABOUT} {FIRST_COME}")


def _found(sheet: Handover) -> Iterator[Flowable]:
    yield from section("What was found", sheet.found, "No defect was noted.")
    otherwise = "No step was passed without what it asks for."
    yield from section("What was not as asked for", sheet.overrides, otherwise)
    yield from section("What was corrected afterwards", sheet.corrections, "No value was corrected.")
    yield words("Where on the car", "head")
    yield words(LEFT_IS, "small")
    corner = {
        name: [words(CORNER_WORDS[name], "strong"), *bullets(texts, "nothing measured or noted")]
        for name, texts in sheet.corners
    }
    # A table with a picture beside it cannot go on over the page: long corners follow the car.
    if any(len(texts) > _MOST_BESIDE or sum(map(len, texts)) > _LONGEST_BESIDE for _, texts in sheet.corners):
        yield drawings.car(sheet.vehicle.steering, "Vera")
        for side, names in (("vehicle's left", ("LF", "LR")), ("vehicle's right", ("RF", "RR"))):
            yield words(side, "strong")
            for name in names:
                yield from corner.get(name, [])
        return
    picture = drawings.car(sheet.vehicle.steering, "Vera")
    rows = [
        [words("vehicle's left", "strong"), picture, words("vehicle's right", "strong")],
        [corner.get("LF", []), "", corner.get("RF", [])],
        [corner.get("LR", []), "", corner.get("RR", [])],
    ]
    yield Table(
        rows,
        colWidths=[(WIDE - 90) / 2, 90, (WIDE - 90) / 2],
        style=[("SPAN", (1, 0), (1, 2)), ("VALIGN", (0, 0), (-1, -1), "TOP")],
    )


def _measured(sheet: Handover) -> Iterator[Flowable]:
    yield words("What was measured", "head")
    yield words(SCALE, "small")
    for one in sheet.measured:
        yield KeepTogether([*_reading(one), Spacer(0, 4)])
    if not sheet.measured:
        yield words("Nothing was measured.")
    if sheet.instruments:
        yield words("Instruments", "strong")
        yield from bullets(sheet.instruments)


def _reading(one: Measured) -> Iterator[Flowable]:
    member = f", {CORNER_WORDS.get(one.member, one.member)}" if one.member else ""
    yield words(f"{one.what}{member}: {one.shown}", "strong")
    kind = f" ({one.limit_kind})" if one.limit_kind else ""
    limit = f"; limit: {one.limit_shown}{kind}" if one.limit_shown else ""
    yield words(f"{VERDICTS.get(one.outcome, one.outcome)}{limit}")
    for said in (*one.sources, *([one.corrected] if one.corrected else [])):
        yield words(said, "small")
    instrument = f", instrument: {one.instrument}" if one.instrument else ""
    yield words(f"{minute(one.at)}, {one.who}{instrument}", "small")
    yield from (drawings.bar(each, "Vera") for each in one.bars)


def _pictures(sheet: Handover, files: Mapping[str, bytes]) -> Iterator[Flowable]:
    for number, one in enumerate(sheet.pictures):
        data = files.get(one.digest)
        image = picture(data) if data is not None else None
        head = [words("Pictures", "head")] if number == 0 else []
        said = words(picture_words(one, shown=image is not None), "small")
        yield KeepTogether([*head, *([image] if image is not None else []), said])


def _course(sheet: Handover) -> Iterator[Flowable]:
    yield words("How the work went", "head")
    yield drawings.time_line(sheet.stretches, minute(sheet.begun), minute(sheet.ended), "Vera")
    stretches = (f"{'pause' if one.pause else 'work'}: {one.long}, from {minute(one.begun)}" for one in sheet.stretches)
    yield from bullets(stretches, style="small")
    for curve in sheet.levels:
        said = f"Each upright line reaches from the least to the most that it can have been. At the end: {curve.last}."
        title = words(f"{curve.what}, stroke by stroke", "strong")
        yield KeepTogether([title, drawings.level(curve, "Vera"), words(said, "small")])
    yield words("What was done", "head")
    numbered = [ListItem(words(one, "small"), value=n) for n, one in enumerate(sheet.done, 1)]
    if numbered:
        yield ListFlowable(numbered, bulletType="1", bulletFontName="Vera", bulletFontSize=7.5, leftIndent=22)


def _standing(sheet: Handover, run: str, fingerprint: str) -> Iterator[Flowable]:
    yield words("Dangers of this work", "head")
    yield words("These applied while the work was done, and apply to whoever goes on with it.", "small")
    for one in sheet.cautions:
        yield boxed([words(f"{one.word} {one.avoid} {one.hazard} {one.consequence}")])
    if not sheet.cautions:
        yield words("None was noted.")
    if sheet.not_for:
        yield words("This way of working is not for", "strong")
        yield from bullets(sheet.not_for)
    yield words("Who stands for it", "head")
    for signed in sheet.signatures:
        pairs = ("Name", signed.name), ("Time", signed.at), ("Meaning", signed.meaning), ("Signature", signed.key)
        yield boxed([named(*pairs)])
    if not sheet.signatures:
        yield words("Not signed.")
    command = f"witnessmark audit verify {run}.jsonl --fingerprint {fingerprint}"
    beside = [
        words(fingerprint, "letters"),
        words(KEEP),
        words(f"{run}; procedure {sheet.title}, revision {sheet.revision}; {command}", "small"),
    ]
    paper = Table(
        [[drawings.qr(fingerprint), beside]],
        colWidths=[115, WIDE - 115],
        style=[("VALIGN", (0, 0), (-1, -1), "MIDDLE")],
    )
    yield KeepTogether([words("Fingerprint of the record", "head"), paper])
    yield words(FIRST_COME)
