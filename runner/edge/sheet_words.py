"""The words of the handover sheet that stand on it in the browser and on paper alike."""

from __future__ import annotations

from runner.core.graph import CORNER_WORDS
from runner.core.handover import Handover, Pictured

VERDICTS = {
    "pass": "within the limit",
    "fail": "NOT within the limit",
    "cannot tell": "too close to the limit to tell",
    "taken": "noted, no limit",
}
DEMONSTRATION = "DEMONSTRATION: this is not work done on a car"
ABOUT = (
    "This sheet says what was done and read on that day, no more. It comes from an example procedure and a training"
    " aid."
)
FIRST_COME = "The car's own service literature, local codes and licensed practice come first, always."
LEFT_IS = (
    "Seen from above, front at the top. Left is the vehicle's left, as it is for somebody who sits in it and looks"
    " ahead."
)
SCALE = (
    "On each scale the filled stretch beside an upright mark is within the limit; a mark alone is the value that was"
    " asked for. The triangle is what was read, the line through it how far the instrument can be off."
)
KEEP = (
    "Keep this sheet. Whoever has the record of this work can see with these letters whether it is the same and whole."
)
AT_FAULT = "Do not rely on this sheet: the record behind it is at fault."


def minute(at: str) -> str:
    """A time of a record to the minute."""
    return f"{at[:10]} {at[11:16]} UTC"


def not_to_be_driven(sheet: Handover) -> str:
    """Why the car is not to be driven."""
    why = "Something on it is still open." if sheet.finished else "The work on it is not finished."
    return f"DO NOT DRIVE THIS CAR. {why}"


def picture_words(one: Pictured, *, shown: bool) -> str:
    """What a picture is of, when it was taken and by what it is known in the record."""
    at = f", {CORNER_WORDS.get(one.member, one.member)}" if one.member else ""
    missing = "" if shown else " The picture itself is not at hand, or is not the one that was taken."
    return f"{one.what.rstrip('.')}{at}: {minute(one.at)}, {one.who}; SHA-256 {one.digest}.{missing}"
