"""What a record tells: expected rows and lines are those of the scripted run, worked out by hand."""

import msgspec

from runner.core import act as ac
from runner.core import event as ev
from runner.core.audit import GateRow, gate_line, gates, story, summary
from runner.core.entry import Entry
from runner.core.stamp import Stamp
from tests.edge.small import USUAL, Spans, begin, lines, procedure, typed

START = USUAL[:4]


def entries(*acts, **given):
    return lines(acts or USUAL, **given)[1]


def row_of(acts, kind, **given):
    [row] = [row for row in gates(entries(*acts, **given), procedure()) if row.kind == kind]
    return row


def test_each_gate_that_was_passed_is_a_row_with_who_when_how_long_and_what():
    rows = gates(entries(), procedure())
    assert [(r.line, r.kind, r.title) for r in rows] == [
        (2, "start", "the start"),
        (3, "step", "Put on the goggles."),
        (4, "safety message", "Pull the pads."),
        (5, "check", "Pull the pads."),
        (7, "reading", "Measure the thinner pad."),
        (8, "safety message", "Put the pads back."),
        (9, "step", "Put the pads back."),
        (11, "identification", "Read the number of the pads."),
    ]
    reading = rows[4]
    assert (reading.who, reading.at, reading.path) == ("AB", "2026-01-01T08:02:00.000Z", "measure")
    assert reading.seconds == 40.0  # shown at 08:01:20, counted at 08:02:00
    assert (reading.value, reading.unit, reading.limit) == ("4.51", "mm", "at least 3 mm (car's literature)")
    assert (reading.verdict, reading.instrument) == ("pass", "outside mike")
    assert rows[2].value == "WARNING Brake dust gets into the lungs"
    assert rows[6].marks == ("entered later, done at about 09:15",)
    assert rows[7].value == "AB-1234"


def test_without_the_procedure_the_rows_are_the_same_but_for_its_words():
    told = entries()
    bare, titled = gates(told), gates(told, procedure())

    def rest(row: GateRow) -> dict[str, object]:
        own = {"value": ""} if row.kind == "safety message" else {}
        return msgspec.to_builtins(row) | {"title": "", "kind": ""} | own

    assert [rest(row) for row in bare] == [rest(row) for row in titled]
    assert (bare[4].title, bare[2].value) == ("measure", "WARNING dust")


def test_a_confirmation_that_came_too_fast_is_marked():
    fast = Spans([20, 20, 20, 20, 20, 20, 0.2])
    told = entries(clock=fast)
    [row] = [r for r in gates(told) if r.marks == ("faster than it can be read",)]
    assert (row.value, row.seconds, row.verdict) == ("CAUTION spring", 0.2, "confirmed together")
    assert summary(told).fast == 1
    assert summary(entries()).fast == 0


def test_an_override_is_a_row_of_its_own_with_reason_and_initials():
    acts = (*USUAL[:5], ac.Override(reason="no micrometer", initials="CD"))
    row = row_of(acts, "reading")
    assert (row.path, row.verdict, row.value) == ("measure", "not met", "")
    assert row.marks == ("OVERRIDDEN by CD: no micrometer",)
    short = summary(entries(*acts))
    assert short.overrides == ("line 6: OVERRIDDEN at measure: reading; no micrometer; CD",)
    assert short.people == ("AB", "CD")


def test_a_correction_marks_the_row_of_the_value_and_keeps_the_old_one():
    acts = (*USUAL[:7], ac.Correct(line=5, typed=["4.6"], unit="mm", reason="misread"))
    row = row_of(acts, "reading")
    assert row.value == "4.51"
    assert row.marks == ("corrected in line 8 from '4.51' to '4.6': misread; same path",)
    assert summary(entries(*acts)).corrections == ("line 8: line 6 corrected from '4.51' to '4.6': misread; same path",)


def test_what_could_not_be_done_as_written_is_a_row_and_a_finding():
    acts = (*USUAL[:5], ac.Cannot(reason="the bolt is seized", way="stop"))
    row = row_of(acts, "reading")
    assert row.marks == ("could not be done as written: the bolt is seized; stop",)
    short = summary(entries(*acts))
    assert short.not_as_written == ("line 6: could not be done as written: measure; the bolt is seized; stop",)
    assert len(short.findings) == 1


def test_the_summary_counts_what_went_otherwise():
    acts = (
        *START,
        ac.Answer(value="1"),
        ac.Done(),
        ac.Hold(),
        ac.Resume(clean=True, by="CD"),
        ac.Contradict(condition="pads_out", holds=True, reason="seen"),
        ac.Note(what="a cut hose", where="RR", severity="unsafe"),
        ac.Abandon(reason="called away"),
    )
    short = summary(entries(*acts))
    assert (short.mistaken, short.refused, short.breaks) == (1, 1, 1)
    assert short.people == ("AB", "CD")
    [told] = short.contradictions
    seen = "noted was 'pads out: not so', seen 'pads out: so'"
    assert told.startswith(f"line 9: the car is not as the record said: {seen}")
    assert short.findings[0] == "line 10: finding (unsafe): a cut hose at right rear"
    assert (short.finished, short.do_not_drive) == ("left open", True)
    assert short.open == ("pads out",)
    said = summary(entries(*acts), procedure())
    assert said.open == ("the pads are out",)
    assert "noted was 'the pads are in', seen 'the pads are out'" in said.contradictions[0]
    assert short.signatures == ()


def test_a_run_that_goes_on_is_not_finished():
    short = summary(entries(*START))
    assert (short.finished, short.do_not_drive, short.open) == ("", False, ())
    assert (short.procedure, short.revision, short.car, short.lines) == ("pad-look", "3", "0123456789abcdef", 4)
    assert summary(()).procedure == ""


def test_texts_that_are_owed_stand_in_the_summary_until_they_are_given():
    acts = (*USUAL[:9], ac.Instead(result="owed until sign-off"))
    assert summary(entries(*acts)).owed == ("number of the pads",)
    assert summary(entries(*acts, ac.Settle(owed="batch", text="AB-1"))).owed == ()


def test_how_long_is_left_open_where_the_clocks_contradict_each_other():
    told = entries(clock=Spans([], set_back={4: 3600}))
    [check] = [r for r in gates(told) if r.line == 5]
    assert check.seconds is None
    assert "after an unknown time" in gate_line(check)


def test_the_story_tells_every_line_and_every_gate():
    told = story(entries(), procedure())
    assert told[0] == "2026-01-01 (UTC)"
    starts = [line for line in told[1:] if line[:5].strip()]
    assert [int(line[:5]) for line in starts] == list(range(1, 14))
    assert "    5  08:01:20  AB    answered '2' to 'How many pads lie on the bench?'" in told
    gate = (
        "= reading at 'Measure the thinner pad.' after 40.0 s; 4.51 mm; limit at least 3 mm (car's literature); pass;"
        " with outside mike; by AB"
    )
    assert gate in [line.strip() for line in told]
    assert sum(line.strip().startswith("= ") for line in told) == len(gates(entries()))


def test_the_day_is_told_once_and_again_when_it_changes():
    told = story(entries(clock=Spans([20, 86_400])))
    assert [line for line in told if line.endswith("(UTC)")] == ["2026-01-01 (UTC)", "2026-01-02 (UTC)"]


def test_no_text_of_a_record_reaches_the_terminal_as_anything_but_text():
    hostile = "\x1b]0;x\x07\x9b31m\u202eevil\nline"
    acts = (
        begin(procedure=hostile, car=hostile),
        *USUAL[1:5],
        ac.Note(what=hostile, where=hostile, severity="unsafe"),
        ac.Override(reason=hostile, initials=hostile),
        ac.Abandon(reason=hostile),
    )
    told = entries(*acts, by=hostile)
    short = summary(told)
    shown = [*story(told, procedure()), *(gate_line(row) for row in gates(told))]
    for value in msgspec.to_builtins(short).values():
        shown += [value] if isinstance(value, str) else [*value] if isinstance(value, tuple | list) else []
    for text in shown:
        assert text.isprintable(), ascii(text)


def test_a_record_that_no_engine_wrote_is_still_told():
    nowhere = ev.Taken(
        path="nowhere/RR", name="pad@RR", typed=["x"], unit="mm", instrument="", dimension="no dimension",
        values=[["one", "two"]], twice_u="", limit="", limit_kind="", rule="", outcome="pass", label="",
        probability="", because="",
    )  # fmt: skip
    wild = (
        nowhere,
        ev.LevelIs(level="reservoir", enclosure=["one", "two"], why=""),
        ev.Restated(name="pad", nth=7, values=[], outcome="pass"),
        ev.Arrived(path="nowhere"),
    )
    told = (*entries(*START), Entry(4, Stamp("2026-01-01T08:02:00.000Z", 0, "x"), "AB", ac.Tick(), wild))
    assert gates(told, procedure())[-1].title == "nowhere, right rear"
    assert len(story(told, procedure())) > len(story(told[:-1], procedure())) + 3
    assert summary(told).lines == 5


def test_a_message_confirmed_again_and_a_second_taking_are_told_apart():
    near = (*USUAL[:5], typed("3.01"), ac.Accept(), typed("4.5"), ac.Accept())
    rows = [r for r in gates(entries(*near)) if r.kind == "reading"]
    assert [(r.value, r.verdict.split(" (")[0], r.marks) for r in rows] == [
        ("3.01", "cannot tell", ()), ("4.5", "pass", ("taking 2",)),
    ]  # fmt: skip
