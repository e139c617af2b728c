"""The sheet for the car's owner in a real browser: on a phone, on A4, and in words that promise nothing of the car.

The width of a small phone is 360 CSS px, A4 less its margins is 180 mm, 680 CSS px (CSS Values 4: 96 px an inch).
"""

from __future__ import annotations

import html
import json
import re
import subprocess
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from pypdf import PdfReader

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.entry import Entry
from runner.core.handover import Vehicle, handover
from runner.edge.clock import SteppedClock
from runner.edge.garage import Run, run_of
from runner.edge.handover import page
from tests.edge.small import USUAL, Course, begin, lines, procedure
from tests.rig import Hands, ready
from tests.rig import begin as begin_demo

PAPER = "PE4G-5XGD-YTT7-7MYV-DCCP-HZZM"
CHROMIUM = (
    "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-extensions", "--disable-sync", "--disable-component-update",
)  # fmt: skip
PROMISES = re.compile(r"\b(safe|safely|certif\w*|guarant\w*|proven|proof|roadworth\w*)\b", re.IGNORECASE)
HOSTILE = "<script>alert(1)</script>\x1b[31m&\"'{{ 7*7 }}\u202e" + "x" * 300


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Entry, ...]:
    """The shipped procedure on the invented car, whole."""
    folder = tmp_path_factory.mktemp("demo")
    clock = SteppedClock()
    job, journal = begin_demo(folder, clock)
    with journal:
        Hands(clock, {}, {}).go_on(job)
    run = run_of(journal.path)
    assert isinstance(run, Run), run
    return run.entries


def demo_page(entries: tuple[Entry, ...]) -> str:
    vehicle = Vehicle(name="Saltmarsh unit 7", vin="111111A15E1111117", odometer="143210 km", steering="left")
    return page(handover(entries, ready().procedure, vehicle), run="run-1", fingerprint=PAPER)


def hostile_acts() -> tuple[AnyAct | Course, ...]:
    return (
        begin(demonstration=True),
        *USUAL[1:5],
        ac.Note(what=HOSTILE, where="RR", severity="unsafe", follows=HOSTILE),
        ac.Override(reason=HOSTILE, initials=HOSTILE),
        ac.Abandon(reason=HOSTILE),
    )


@lru_cache(maxsize=1)
def hostile_page() -> str:
    vehicle = Vehicle(name=HOSTILE, vin=HOSTILE, odometer=HOSTILE, steering=HOSTILE)
    return page(handover(lines(hostile_acts())[1], procedure(), vehicle), run=HOSTILE, fingerprint=PAPER)


class Parts(HTMLParser):
    """The tags, the attributes and the visible text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: dict[str, set[str]] = {}
        self.words: list[str] = []
        self._style = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._style = tag == "style"
        self.tags.add(tag)
        for name, value in attrs:
            self.attributes.setdefault(name, set()).add(value or "")

    def handle_endtag(self, tag: str) -> None:
        self._style = False

    def handle_data(self, data: str) -> None:
        if not self._style:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def browse(folder: Path, text: str, *options: str) -> str:
    file = folder / "page.html"
    file.write_text(text, "utf-8")
    done = subprocess.run(
        [*CHROMIUM, f"--user-data-dir={folder / 'browser'}", *options, file.as_uri()],
        capture_output=True, timeout=120, check=True,
    )  # fmt: skip
    return done.stdout.decode()


def overflowing(folder: Path, pages: list[tuple[str, int]]) -> list[list[str]]:
    """For each page at its width: what reaches beyond it."""
    frames = "".join(
        f'<iframe srcdoc="{html.escape(text)}" style="width:{width}px;height:900px;border:0"></iframe>'
        for text, width in pages
    )
    script = """<script>addEventListener("load", () => {
      const found = [...document.querySelectorAll("iframe")].map(frame => {
        const page = frame.contentDocument, wide = page.documentElement.clientWidth;
        const out = [...page.querySelectorAll("body *")].filter(e => !e.closest("svg") || e.tagName === "svg")
          .filter(e => e.getBoundingClientRect().right > wide + 0.5
            || e.clientWidth && e.scrollWidth > e.clientWidth + 1)
          .map(e => e.tagName + " " + e.textContent.slice(0, 40));
        return page.documentElement.scrollWidth > wide ? ["PAGE", ...out] : out;
      });
      document.title = JSON.stringify(found);
    })</script>"""
    dom = browse(folder, f"<!DOCTYPE html><title></title>{frames}{script}", "--dump-dom", "--window-size=1600,1000")
    told = re.search(r"<title>(.*?)</title>", dom, re.DOTALL)
    assert told, dom[:500]
    found: list[list[str]] = json.loads(html.unescape(told[1]))
    return found


def test_nothing_reaches_beyond_a_phone_or_a_sheet_of_a4(tmp_path: Path, demo: tuple[Entry, ...]):
    pages = [demo_page(demo), hostile_page()]
    printed = [text.replace("@media print", "@media all") for text in pages]
    tried = [*((text, width) for text in pages for width in (360, 800)), *((text, 680) for text in printed)]
    assert overflowing(tmp_path, tried) == [[]] * 6


def test_a_page_that_is_too_wide_is_noticed(tmp_path: Path):
    wide = hostile_page().replace("overflow-wrap: anywhere;", "").replace("<h2>Not done</h2>", f"<h2>{'x' * 300}</h2>")
    [found] = overflowing(tmp_path, [(wide, 360)])
    assert found[0] == "PAGE"


def test_demonstration_stands_on_every_printed_page(tmp_path: Path, demo: tuple[Entry, ...]):
    file = tmp_path / "sheet.pdf"
    browse(tmp_path, demo_page(demo), f"--print-to-pdf={file}", "--no-pdf-header-footer")
    pages = PdfReader(file).pages
    assert len(pages) > 3
    for sheet in pages:
        assert (round(sheet.mediabox.width), round(sheet.mediabox.height)) == (595, 842)  # A4 in points
        assert "DEMONSTRATION" in sheet.extract_text()
    first = pages[0].extract_text()
    for heading in ("Before you drive", "Not done", "Have this looked at again"):
        assert heading in first
    assert "What was measured" not in first


def test_work_on_a_real_car_is_no_demonstration():
    text = page(handover(lines()[1], procedure(), Vehicle()), run="run-1", fingerprint=PAPER)
    assert "DEMONSTRATION" not in text


def test_the_sheet_promises_nothing_of_the_car(demo: tuple[Entry, ...]):
    for text in (demo_page(demo), hostile_page()):
        words = Parts(text).text
        assert PROMISES.findall(words) == []
        assert "Checked on 2026-01-01 at this odometer:" in words
        assert words.count("local codes and licensed practice come first, always") == 2


def test_the_sheet_says_where_it_must_be_looked_at_again(demo: tuple[Entry, ...]):
    assert "The second torque is due. It is due between 143290 km and 143371 km on the odometer." in (
        Parts(demo_page(demo)).text
    )


def test_a_number_stays_on_one_line_with_its_unit(demo: tuple[Entry, ...]):
    text = re.sub(r"<[^>]*>", " ", demo_page(demo))
    assert "110\u00a0N\u00a0m" in text
    assert re.findall(r"\d (?:N\s?m|mL|mm|km)\b", text) == []


def test_left_and_right_are_the_vehicles_own(demo: tuple[Entry, ...]):
    text = demo_page(demo)
    words = Parts(text).text
    assert words.index("vehicle's left") < words.index("vehicle's right")
    for corner, column, row in (("left front", 1, 2), ("right front", 3, 2), ("left rear", 1, 3), ("right rear", 3, 3)):
        assert f'grid-column: {column}; grid-row: {row}"><h3>{corner}</h3>' in text


def test_nothing_is_fetched_and_nothing_runs(demo: tuple[Entry, ...]):
    for text in (demo_page(demo), hostile_page()):
        parts = Parts(text)
        assert parts.tags.isdisjoint({"script", "img", "link", "iframe", "object", "a", "base", "form"})
        assert not parts.attributes.keys() & {"src", "href", "xlink:href", "srcset", "action", "data"}
        assert not [name for name in parts.attributes if name.startswith("on")]
        assert "url(" not in text
        assert "@import" not in text


def test_texts_are_shown_as_they_are_and_never_interpreted():
    parts = Parts(hostile_page())
    assert "<script>alert(1)</script>" in parts.text
    assert "{{ 7*7 }}" in parts.text
    assert "\x1b" not in hostile_page()
    assert "\u202e" not in hostile_page()


def test_name_time_meaning_and_fingerprint_are_printed():
    text = Parts(page(handover(lines()[1], procedure(), Vehicle()), run="run-1", fingerprint=PAPER)).text
    assert "Name AB Time 2026-01-01T08:04:00.000Z Meaning performed" in text
    assert PAPER in text
    assert f"witnessmark audit verify run-1.jsonl --fingerprint {PAPER}" in text


def test_reading_speed_is_left_to_the_technicians_audit(demo: tuple[Entry, ...]):
    assert "fast" not in Parts(demo_page(demo)).text.lower()
