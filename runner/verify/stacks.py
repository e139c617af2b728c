"""A part is not slid on twice, and one that is for single use is new each time.

What the order of a stack asks for stands among the needs of a step that slides a part, and is proven as such. Here
stands the rest: the part is not on already, and if it is for single use, a new one is in hand (`have` counts them).
A loop that comes back to the same circlip needs a second circlip. The same holds for a part of no stack that a step
`uses`.

Bad:
    parts: {circlip: {what: circlip of the joint, have: 1, single_use: true}, ring: {what: ring of the joint, have: 1}}
    stack: {shaft: [ring, circlip]}
    assumes: [fitted_ring, not fitted_circlip]
    steps:
      "on": {do: Push the circlip on., place: wheel, slides_on: circlip, next: seat}
      seat: {do: Feel whether it is seated., place: wheel, choose: {ask: Is it seated?, options: ["yes", "no"]}, next: {"yes": end, "no": "off"}}
      "off": {do: Pull the circlip off., place: wheel, slides_off: circlip, at_most: {times: 1, then: safe stop}, next: "on"}
      end: {end: done, say: It is done.}

Good:
    parts: {circlip: {what: circlip of the joint, have: 2, single_use: true}, ring: {what: ring of the joint, have: 1}}
    stack: {shaft: [ring, circlip]}
    assumes: [fitted_ring, not fitted_circlip]
    steps:
      "on": {do: Push the circlip on., place: wheel, slides_on: circlip, next: seat}
      seat: {do: Feel whether it is seated., place: wheel, choose: {ask: Is it seated?, options: ["yes", "no"]}, next: {"yes": end, "no": "off"}}
      "off": {do: Pull the circlip off., place: wheel, slides_off: circlip, at_most: {times: 1, then: safe stop}, next: "on"}
      end: {end: done, say: It is done.}
"""  # noqa: E501  (examples stand as they are written)

from __future__ import annotations

from collections.abc import Iterator

from runner.verify.claim import ENTRY, Case, Claim
from runner.verify.station import Station


def claims(case: Case, station: Station) -> Iterator[Claim]:
    """What taking a part asks for beside the order of its stack."""
    if station.step is None or station.kind != "step":
        return
    for part in station.step.taken:
        fitted = case.layout.fields.get(f"fitted_{part}")
        hand = case.layout.fields.get(f"in hand {part}")
        if fitted is not None:
            yield _claim(
                station, fitted.bits("T"), part, f"'{part}' may be on already", "lead that path past this step"
            )
        if hand is not None:
            text = f"no new '{part}' may be left here: it is for single use"
            yield _claim(
                station, hand.bits("0"), part, text, "have more of it, or lead the path that comes back elsewhere"
            )


def _claim(station: Station, bad: int, part: str, text: str, mend: str) -> Claim:
    return Claim(check="stack", edge=ENTRY, bad=(bad,), place=station.place, key=f"{part} {text}", text=text, help=mend)
