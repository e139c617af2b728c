"""What the sheet for the car's owner says: what was not done, not met or corrected is never left out."""

from __future__ import annotations

from dataclasses import replace

from runner.core import act as ac
from runner.core import event as ev
from runner.core.handover import Handover, Vehicle, handover
from tests.edge.small import USUAL, begin, lines, procedure, typed

AT_THE_READING = USUAL[:5]


def sheet(*acts: object, vehicle: Vehicle | None = None) -> Handover:
    return handover(lines(acts)[1], procedure(), vehicle or Vehicle())  # type: ignore[arg-type]


def test_a_run_that_went_well_is_told_in_order_with_its_date():
    told = sheet(*USUAL, vehicle=Vehicle(odometer="61000 mi"))
    assert (told.finished, told.do_not_drive, told.odometer) == ("done", False, "61000 mi")
    assert told.ended == "2026-01-01T08:03:40.000Z"
    assert told.done == (
        "Put on the goggles.",
        "Pull the pads.",
        "Measure the thinner pad.",
        "Put the pads back.",
        "Read the number of the pads.",
    )
    assert (told.not_done, told.found, told.overrides, told.corrections) == ((), (), (), ())
    assert [(one.name, one.meaning, one.key) for one in told.signatures] == [("AB", "performed", "no key")]


def test_the_last_safety_messages_are_what_a_driver_reads_first():
    told = sheet(*USUAL)
    assert told.cautions[0].word == "WARNING"
    assert [caution.name for caution in told.cautions] == ["dust"]


def test_what_stands_open_is_told_first_with_what_closes_it():
    told = sheet(*AT_THE_READING, ac.Abandon(reason="called away"))
    assert told.do_not_drive
    assert told.before_driving[:2] == ("The pads are out.", "Put the pads back.")
    assert told.not_done[0].startswith("The work was ended before it was finished")


def test_a_run_that_goes_on_is_not_finished_and_its_car_not_to_be_driven():
    told = sheet(*AT_THE_READING)
    assert (told.finished, told.do_not_drive) == ("", True)
    assert "The work is not finished." in told.not_done


def test_an_override_stands_in_the_open_with_reason_and_initials():
    told = sheet(*AT_THE_READING, ac.Override(reason="no micrometer", initials="CD"))
    [one] = told.overrides
    met = "This was not met, and the work went on all the same"
    assert one.startswith(f"Measure the thinner pad. {met}: no micrometer; CD")
    assert one.endswith("(line 6).")


def test_what_was_seen_otherwise_stands_in_the_open():
    told = sheet(*AT_THE_READING, ac.Contradict(condition="goggles_on", holds=False, reason="fell off"))
    assert told.overrides == (
        "The car was not as noted (line 6): noted was 'goggles are on', seen 'goggles are off'.",
    )


def test_a_correction_stands_with_both_values_its_reason_and_who():
    told = sheet(*USUAL, ac.Correct(line=5, typed=["4.15"], unit="mm", reason="digits swapped"))
    [one] = told.corrections
    for part in ("4.51", "4.15", "digits swapped", "AB"):
        assert part in one


def test_findings_are_told_by_how_bad_they_are_and_where():
    told = sheet(
        *AT_THE_READING,
        ac.Note(what="hose cracked", where="RR", severity="unsafe", follows="renew it"),
        ac.Note(what="pad half worn", where="LF", severity="advisory", follows="look again in a year"),
    )
    assert told.found[0] == "Dangerous, do not drive with it: Hose cracked, right rear. Renew it."
    assert told.found[0] in told.before_driving
    assert [(one.what, one.when) for one in told.due] == [
        ("To be watched: Pad half worn, left front.", "Look again in a year.")
    ]
    assert dict(told.corners)["RR"] == (told.found[0],)


def test_what_did_not_pass_and_was_found_by_a_person_stands_on_the_first_page_and_what_is_dangerous_first():
    told = sheet(
        *AT_THE_READING,
        ac.Note(what="leak at the damper", where="RR", severity="fail"),
        ac.Note(what="rack boot split", where="", severity="unsafe"),
        ac.Abandon(reason="called away"),
    )
    assert told.before_driving[:2] == ("Dangerous, do not drive with it: Rack boot split.", "The pads are out.")
    assert "Did not pass: Leak at the damper, right rear." in [one.what for one in told.due]
    assert not any("left undone" in text.lower() for text in (*told.found, *(one.what for one in told.due)))


def test_what_was_not_measured_is_named_in_the_words_of_its_author():
    entries = lines(AT_THE_READING)[1]
    named = ev.Named(path="measure", name="pad@RR", result="cannot be reached")
    last = replace(entries[-1], events=(*entries[-1].events, named))
    told = handover((*entries[:-1], last), procedure(), Vehicle())
    assert "Not measured: pad thickness, right rear: cannot be reached." in told.not_done


def test_an_instrument_is_named_with_its_error():
    [one] = sheet(*USUAL).instruments
    assert one == "micrometer (outside mike), error 0.02 mm"


def test_reading_speed_is_not_on_the_sheet():
    told = sheet(*USUAL)
    assert "fast" not in repr(told).lower()


def test_texts_of_people_are_on_one_line_and_without_controls():
    hostile = "\x1b[31m<b>one</b>\ntwo\u202e"
    told = sheet(
        begin(demonstration=True),
        *AT_THE_READING[1:],
        ac.Note(what=hostile, where="RR", severity="fail"),
        typed("4.51"),
        ac.Accept(),
        ac.Abandon(reason=hostile),
    )
    assert told.demonstration
    for text in (*told.found, *told.not_done, *dict(told.corners)["RR"]):
        assert text.isprintable(), text
