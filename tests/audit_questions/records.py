"""A shop's folder of records, invented, of which the set questions are asked.

``python -m tests.audit_questions.records FOLDER`` makes it.

Two cars, two people, two instruments, two revisions of a small procedure; every moment comes from a clock that is
moved by hand. Two of the files were touched afterwards.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

from runner.core import act as ac
from runner.core.act import AnyAct
from runner.core.graph import Procedure
from runner.core.stamp import SECOND, Stamp, at_ms, at_text
from runner.edge.reader import read
from tests.edge.small import CARD, FILES, PROCEDURE, USUAL, Course, begin, lines

HERON, TERN = "0123456789abcdef", "fedcba9876543210"
"""The references under which the records know the cars."""
_STARTS = {"outside mike": CARD, "old mike": CARD | {"error": "0.05 mm"}}
_NEW = PROCEDURE.replace('revision: "3"', 'revision: "4"').replace("number: 2", "number: 4")


def start(car: str, *, new: bool = False) -> ac.Begin:
    texts = {name: data.decode() for name, data in FILES.items()}
    texts |= {"pad-look.yaml": _NEW} if new else {}
    return begin(car=car, instruments=_STARTS, texts=texts, revision="4" if new else "3")


def measured(value: str, instrument: str = "outside mike") -> ac.Enter:
    return ac.Enter(typed=[value], unit="mm", instrument=instrument)


class Moments:
    """Twenty seconds from one act to the next, from a day and an hour on, but for the acts that are given."""

    def __init__(self, begins: str, spans: dict[int, float]) -> None:
        self._wall, self._spans, self._mono, self._asked = at_ms(begins), spans, 0, -1

    def now(self) -> Stamp:
        self._asked += 1
        span = 0 if self._asked == 0 else self._spans.get(self._asked, 20)
        self._wall += int(span * 1000)
        self._mono += int(span * SECOND)
        return Stamp(at=at_text(self._wall), mono=self._mono, boot="shop")


def put(
    folder: Path,
    name: str,
    begins: str,
    acts: Iterable[AnyAct | Course],
    *,
    by: str = "AB",
    spans: dict[int, float] | None = None,
    new: bool = False,
) -> Path:
    made = read(FILES | {"pad-look.yaml": _NEW.encode()}, "pad-look.yaml") if new else None
    assert made is None or isinstance(made, Procedure), made
    path = folder / f"{name}.jsonl"
    path.write_bytes(b"".join(lines(acts, by=by, clock=Moments(begins, spans or {}), made=made)[0]))
    return path


def make(folder: Path) -> None:
    """The eight records."""
    opening, rest = USUAL[1:5], USUAL[6:]
    put(folder, "march", "2026-03-02T09:00:00.000Z", (start(HERON), *opening, measured("4.51"), *rest))
    put(
        folder, "april", "2026-04-10T08:30:00.000Z",
        (start(TERN), *opening, ac.Override(reason="no micrometer fits", initials="CD"), *USUAL[7:]), by="CD",
    )  # fmt: skip
    put(
        folder, "may", "2026-05-04T13:00:00.000Z",
        (start(HERON), *opening, measured("4.15", "old mike"), *rest,
         ac.Correct(line=5, typed=["4.51"], unit="mm", reason="two digits changed places")),
    )  # fmt: skip
    put(
        folder, "june", "2026-06-15T10:00:00.000Z", (start(TERN), *opening, measured("3.9", "old mike"), *rest),
        by="CD", spans={7: 0.9},
    )  # fmt: skip
    put(folder, "july", "2026-07-01T16:40:00.000Z", (start(TERN), *opening, measured("3.2", "old mike")), by="CD")
    four = (*USUAL[1:4], ac.Answer(value="4"))
    put(folder, "august", "2026-08-03T09:15:00.000Z", (start(HERON, new=True), *four, measured("4.2"), *rest), new=True)
    touched = put(folder, "september", "2026-09-07T11:00:00.000Z", (start(HERON), *opening, measured("3.6"), *rest))
    touched.write_bytes(touched.read_bytes().replace(b'"typed":["3.6"]', b'"typed":["4.6"]', 1))
    cut = put(folder, "october", "2026-10-05T11:00:00.000Z", (start(TERN), *opening, measured("3.4"), *rest))
    cut.write_bytes(b"".join(cut.read_bytes().splitlines(keepends=True)[:-4]))


if __name__ == "__main__":
    Path(sys.argv[1]).mkdir(parents=True, exist_ok=True)
    make(Path(sys.argv[1]))
