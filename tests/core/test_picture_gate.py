"""The keys of an answer at a gate."""

from __future__ import annotations

from runner.core.picture_gate import CORNER_KEYS

KEYPAD = ("789", "456", "123")


def test_the_corners_lie_on_the_keypad_as_on_the_car_from_above_front_up() -> None:
    places = {
        corner: (row, keys.index(key))
        for corner, key in CORNER_KEYS.items()
        for row, keys in enumerate(KEYPAD)
        if key in keys
    }
    assert places == {"LF": (0, 0), "RF": (0, 2), "LR": (2, 0), "RR": (2, 2)}
