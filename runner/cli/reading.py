"""``audit`` on a terminal: what the records say, as leaves that open one another; nothing is written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from runner.cli.places import cars
from runner.cli.proving import DEMO_CAR
from runner.core.audit import gate_line, gates, story, summary
from runner.edge.alcoa import audit_alcoa
from runner.edge.asking import NAMED, QUESTIONS, ask, names_for
from runner.edge.auditing import Listed, head_lines, listed, none_yet, scars
from runner.edge.carfile import Car, read_car
from runner.edge.choosing import Wanted
from runner.edge.opening import opened, procedure_of
from runner.edge.shelf import Shelf
from runner.edge.verifying import NOT_JUDGED, audit_verify
from runner.screen.ink import Ink
from runner.screen.leaf import Item, Leaf
from runner.screen.reader import Reader
from runner.screen.surface import show

_FILTERS = ("car", "procedure", "person", "since", "until")


def read(folder: Path, wanted: Wanted) -> int:
    """Show the records of a folder until the screen is left."""
    return show(Reader(Desk(folder).runs(wanted)))


@dataclass(frozen=True, slots=True)
class Desk:
    """Where the leaves come from: a folder of records, and what the user's own cars are called."""

    folder: Path
    cars: dict[str, str] = field(default_factory=lambda: dict(_named_cars()))

    def runs(self, wanted: Wanted) -> Leaf:
        """The list of the runs that are meant."""
        found, troubles = listed(self.folder, wanted)
        lines: tuple[tuple[str, Ink], ...] = tuple((trouble, "strong") for trouble in troubles)
        if not found:
            lines += ((none_yet(self.folder, wanted), "plain"),)
        newest = tuple(reversed(found))
        return Leaf(
            title=f"records: {len(found)} {'run' if len(found) == 1 else 'runs'}, newest first",
            about=self._about(wanted) or f"in {self.folder}",
            lines=lines,
            items=tuple(self._listed(one) for one in newest),
            keys=(
                ("/", Item(text="filter", to=partial(self.filters, wanted))),
                ("*", Item(text="ask", to=partial(self.questions, wanted))),
                (".", Item(text="check", to=partial(self.whole, [one.path for one in newest]))),
            ),
        )

    def _listed(self, one: Listed) -> Item:
        short = one.short
        if not short.lines:
            why = "; ".join(fault.kind for fault in one.faults) or "it is empty"
            return Item(
                text=f"{one.name}: cannot be told", note=f"{why}; last written {one.when}", ink="strong",
                to=partial(self.whole, [one.path]),
            )  # fmt: skip
        state = "NOT TO BE DRIVEN" if short.do_not_drive else short.finished or "NOT FINISHED"
        marks = (
            self.cars.get(short.car, short.car),
            ", ".join(short.people),
            *scars(short),
            *(["DEMONSTRATION"] if short.demonstration else []),
            *(f"line {fault.line}: {fault.kind}" for fault in one.faults),
        )
        text = f"{one.when[:10]} {one.when[11:16]}  {short.procedure.replace('-', ' ')}: {state}"
        return Item(text=text, note=" · ".join(filter(None, marks)), to=partial(self.run, one.path))

    def _about(self, wanted: Wanted) -> str:
        said = [f"{name} {self.cars.get(value, value)}" for name in _FILTERS if (value := str(getattr(wanted, name)))]
        return ", ".join([*said, *(["unfinished"] if wanted.unfinished else [])])

    # ── which runs ──

    def filters(self, wanted: Wanted) -> Leaf:
        """What the list can be narrowed by."""
        items = tuple(
            Item(text=f"{name}: {self.cars.get(value, value) or 'any'}", to=partial(self.values, wanted, name))
            for name in _FILTERS
            for value in (str(getattr(wanted, name)),)
        )
        other = replace(wanted, unfinished=not wanted.unfinished)
        turned = self._narrowed(f"unfinished alone: {'yes' if wanted.unfinished else 'no'}", other, 2)
        every = self._narrowed("all runs again", Wanted(), 2)
        return Leaf(title="which runs", about="the filters combine", items=(*items, turned, every))

    def values(self, wanted: Wanted, name: str) -> Leaf:
        """The values of one filter that occur."""
        found, _ = listed(self.folder)
        shorts = [one.short for one in found if one.short.lines]
        seen = {
            "car": [one.car for one in shorts],
            "procedure": [one.procedure for one in shorts],
            "person": [person for one in shorts for person in one.people],
        }.get(name) or sorted((one.begun[:10] for one in shorts), reverse=True)
        values = ("", *dict.fromkeys(filter(None, seen)))
        items = tuple(self._narrowed(self.cars.get(v, v) or "any", _with(wanted, name, v), 3) for v in values)
        now = getattr(wanted, name)
        return Leaf(title=f"which runs: {name}", items=items, at=values.index(now) if now in values else 0)

    def _narrowed(self, text: str, wanted: Wanted, back: int) -> Item:
        return Item(text=text, to=partial(self.runs, wanted), back=back)

    # ── one run ──

    def run(self, path: Path) -> Leaf:
        """One run in short, and what can be read of it."""
        one = opened(path)
        if isinstance(one, str):
            return Leaf(title=path.stem, lines=((one, "strong"),))
        short = summary(one.entries, procedure_of(one))
        wrong: tuple[tuple[str, Ink], ...] = tuple((f"line {f.line}: {f.kind}: {f.text}", "fail") for f in one.faults)
        head: tuple[tuple[str, Ink], ...] = tuple((line, "plain") for line in head_lines(one, short))
        return Leaf(
            title=path.stem,
            about=self.cars.get(short.car, ""),
            mark="DEMONSTRATION" if short.demonstration else "",
            lines=(*wrong, *head),
            items=(
                Item(text="tell it line by line", to=partial(self.told, path)),
                Item(text="its gates, one by one", to=partial(self.gates, path)),
                Item(text="is it whole and unchanged?", to=partial(self.whole, [path])),
                Item(text="compare it with the fingerprint on paper", to=partial(self.paper, path)),
                Item(text="the nine properties of good data", to=partial(self.nine, path)),
            ),
        )

    def told(self, path: Path, line: int = 0) -> Leaf:
        """The run as a story, from that line on."""
        one = opened(path)
        if isinstance(one, str):
            return Leaf(title=path.stem, lines=((one, "strong"),))
        texts = story(one.entries, procedure_of(one))
        begins = f"{line:>5}  "
        at = next((n for n, text in enumerate(texts) if text.startswith(begins)), 0)
        return Leaf(title=path.stem, about="line, time, who, what", lines=tuple(map(_inked, texts)), at=at)

    def gates(self, path: Path) -> Leaf:
        """Each gate; one that is chosen opens the story where it was passed."""
        one = opened(path)
        if isinstance(one, str):
            return Leaf(title=path.stem, lines=((one, "strong"),))
        items = tuple(
            Item(text=f"{row.line}  {row.at[11:19]}  {gate_line(row)}", to=partial(self.told, path, row.line))
            for row in gates(one.entries, procedure_of(one))
        )
        return Leaf(title=path.stem, about=f"{len(items)} gates", items=items)

    def whole(self, paths: Iterable[Path], typed: str | None = None) -> Leaf:
        """Whether records are whole and unchanged."""
        text, code = audit_verify(list(paths), typed, False)
        lines = tuple((line.replace(f"{self.folder}/", ""), _verdict_ink(line)) for line in text.splitlines())
        about = {0: "whole and unchanged", NOT_JUDGED: "judged by another version"}.get(code, "something was found")
        return Leaf(title="is it whole and unchanged?", about=about, lines=lines)

    def nine(self, path: Path) -> Leaf:
        """The run held against the nine properties of good data."""
        text, _ = audit_alcoa(self.folder, path.stem, False)
        return Leaf(
            title=path.stem, about="as far as the record itself can show", lines=tuple(map(_held, text.splitlines()))
        )

    def paper(self, path: Path) -> Leaf:
        """Ask for the fingerprint on paper."""
        return Leaf(
            title=path.stem,
            about="the paper that went with the car",
            field="fingerprint on paper, in any grouping:",
            typed=lambda typed: self.whole([path], typed),
        )

    # ── questions ──

    def questions(self, wanted: Wanted) -> Leaf:
        """The questions across the runs that are meant."""
        items = tuple(
            Item(text=one.help, to=partial(self.named if name in NAMED else self.answer, wanted, name))
            for name, one in QUESTIONS.items()
        )
        return Leaf(title="ask across runs", about=self._about(wanted) or "all runs", items=items)

    def named(self, wanted: Wanted, question: str) -> Leaf:
        """The instruments or the procedures that a question can be about."""
        names = names_for(self.folder, question, wanted)
        items = tuple(Item(text=name, to=partial(self.answer, wanted, question, name)) for name in names)
        lines: tuple[tuple[str, Ink], ...] = () if items else (("there is none in these runs", "plain"),)
        return Leaf(title=QUESTIONS[question].help, lines=lines, items=items)

    def answer(self, wanted: Wanted, question: str, named: str = "") -> Leaf:
        """The hits; one that is chosen opens its run at its line."""
        found = ask(self.folder, question, named, wanted)
        title = f"{QUESTIONS[question].help}{f': {named}' if named else ''}"
        if isinstance(found, str):
            return Leaf(title=title, lines=((found, "strong"),))
        hits, troubles = found
        items = tuple(
            Item(
                text=f"{hit.at[:16].replace('T', ' ')}  {hit.by}  {hit.text}",
                note=f"{hit.run}, line {hit.line}",
                to=partial(self.told, self.folder / f"{hit.run}.jsonl", hit.line),
            )
            for hit in hits
        )
        lines: tuple[tuple[str, Ink], ...] = tuple((trouble, "strong") for trouble in troubles)
        if not items:
            lines += (("none", "plain"),)
        return Leaf(
            title=title, about=f"{self._about(wanted) or 'all runs'}; found: {len(items)}", lines=lines, items=items
        )


def _with(wanted: Wanted, name: str, value: str) -> Wanted:
    kept = {each: str(getattr(wanted, each)) for each in _FILTERS} | {name: value}
    return Wanted(**kept, unfinished=wanted.unfinished)


def _named_cars() -> Iterable[tuple[str, str]]:
    for path in (Shelf().demo(DEMO_CAR), *cars()):
        car = read_car(path)
        if isinstance(car, Car):
            yield car.reference, car.name


def _inked(text: str) -> tuple[str, Ink]:
    if not text.startswith(" "):
        return text, "strong"
    return text, "quiet" if text.lstrip().startswith("= ") else "plain"


def _held(line: str) -> tuple[str, Ink]:
    return line, "strong" if line.split()[1:2] == ["NO"] else "plain"


def _verdict_ink(line: str) -> Ink:
    return "fail" if "AT FAULT" in line else "pass" if ": whole: " in line else "plain"
