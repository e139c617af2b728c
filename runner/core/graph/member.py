"""Corners, axles and sides of the car, and which of them lies on which."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Index = Literal["corner", "axle", "side"]
CORNERS = ("LF", "RF", "LR", "RR")
MEMBERS: Mapping[str, tuple[str, ...]] = {
    "corner": CORNERS,
    "axle": ("front", "rear"),
    "side": ("left", "right"),
}
AXLE_OF = {"LF": "front", "RF": "front", "LR": "rear", "RR": "rear"}
SIDE_OF = {"LF": "left", "LR": "left", "RF": "right", "RR": "right"}
CORNER_WORDS = {"LF": "left front", "RF": "right front", "LR": "left rear", "RR": "right rear"}
HERE = "here"


def narrow(here: str | None, index: Index | None) -> str | None:
    """The member of ``index`` that ``here`` lies on: RR narrowed to axle is rear; None if it has none."""
    if index is None or here is None:
        return None
    if here in MEMBERS[index]:
        return here
    if index == "axle":
        return AXLE_OF.get(here)
    return SIDE_OF.get(here) if index == "side" else None


def spoken(member: str | None) -> str:
    """A corner, axle or side in the words of the shop: ``RR`` is ``right rear``."""
    return CORNER_WORDS.get(member or "", member or "")
