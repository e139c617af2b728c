"""Which versions of the program judged otherwise than this one: what they wrote cannot be judged again here.

A new version that judges otherwise writes the versions before it into ``OTHERWISE``, with what changed. Every other
version judges as this one does: what it wrote must replay, whatever version a line says of itself.
"""

from __future__ import annotations

from runner.edge import VERSION

OTHERWISE: dict[str, str] = {}
"""The earlier versions that judged otherwise, each with what it judged otherwise."""


def excused(judge: str) -> str | None:
    """Why what this version of the program judged cannot be judged here; None where it must come out the same."""
    if judge in OTHERWISE:
        return f"judged by witnessmark {judge}, this is {VERSION}, which judges otherwise: {OTHERWISE[judge]}"
    later, own = _numbers(judge), _numbers(VERSION)
    return f"judged by witnessmark {judge}, this is {VERSION}" if later is not None and later > (own or ()) else None


def _numbers(version: str) -> tuple[int, ...] | None:
    parts = version.split(".")
    plain = all(part.isascii() and part.isdecimal() and len(part) < 6 for part in parts)
    return tuple(map(int, parts)) if plain else None
