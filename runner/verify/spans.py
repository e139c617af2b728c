"""Enclosures of a level, and what a move does to them.

A value is an enclosure [lo, hi] in coherent SI; ``known`` is False where the level may also not be known at all.
"""

from __future__ import annotations

from fractions import Fraction

import msgspec

from runner.core.graph import Move


class Span(msgspec.Struct, frozen=True):
    """The enclosures that a level may have; lo above hi where it has none."""

    lo: Fraction
    hi: Fraction
    known: bool = True

    def join(self, other: Span) -> Span:
        """Both."""
        # Most bounds are one and the same object: exact fractions are dear to compare.
        lo = self.lo if self.lo is other.lo else min(self.lo, other.lo)
        hi = self.hi if self.hi is other.hi else max(self.hi, other.hi)
        return Span(lo, hi, self.known and other.known)

    @property
    def empty(self) -> bool:
        """No enclosure is possible."""
        return self.lo > self.hi


NONE = Span(Fraction(10**12), Fraction(-(10**12)), known=False)
MOST = Fraction(10**9)


class Draw(msgspec.Struct, frozen=True, kw_only=True):
    """A move in numbers: what leaves and arrives at least and at most, and where the guards stand."""

    move: Move
    least: Fraction
    most: Fraction
    low: Fraction
    brim: Fraction
    measured: bool

    @property
    def any_amount(self) -> bool:
        """How much it is shows only when the work runs."""
        return self.most >= MOST


Spans = dict[str, Span]


def in_the_way(d: Draw, spans: Spans, kind: str) -> bool:
    """Whether the edge ``short`` or ``full`` of a move may be taken."""
    name = d.move.source if kind == "short" else d.move.target
    if name is None or (d.move.if_short if kind == "short" else d.move.if_full) is None:
        return False
    span = spans[name]
    if not span.known:
        return True
    return span.lo - d.most < d.low if kind == "short" else span.hi + d.most > d.brim


def guarded(d: Draw, spans: Spans, *, always: bool = False) -> Spans | None:
    """The spans with which the move is made, where its edges stop it otherwise; None if it is never made."""
    spans = dict(spans)
    if d.move.source is not None and (always or d.move.if_short is not None):
        old, least = spans[d.move.source], d.low + (d.least if d.any_amount else d.most)
        if old.empty or old.hi < least:
            return None
        spans[d.move.source] = Span(max(old.lo, least), old.hi)
    if d.move.target is not None and (always or d.move.if_full is not None):
        old, top = spans[d.move.target], d.brim - (d.least if d.any_amount else d.most)
        if old.empty or old.lo > top:
            return None
        spans[d.move.target] = Span(old.lo, min(old.hi, top))
    return spans


def flowed(d: Draw, spans: Spans) -> Spans:
    """The spans after a move."""
    spans = dict(spans)
    if d.move.source is not None and not spans[d.move.source].empty:
        old = spans[d.move.source]
        lo = d.low if d.any_amount and d.move.if_short is not None else max(Fraction(0), old.lo - d.most)
        spans[d.move.source] = Span(lo, max(Fraction(0), old.hi - d.least), old.known)
    if d.move.target is not None and not spans[d.move.target].empty:
        old = spans[d.move.target]
        hi = d.brim if d.any_amount and d.move.if_full is not None else min(MOST, old.hi + d.most)
        spans[d.move.target] = Span(old.lo + d.least, hi, old.known)
    return spans
