"""A typed value becomes a reading: parsed, read back, judged against its limits with the instrument's error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from runner.core import event as ev
from runner.core.draft import Draft
from runner.core.graph import CANNOT_TELL, Books, Found, LimitBand, Reading, Step
from runner.core.measure import GUARD, Band, Bound, Instrument, Verdict, judge, standard_uncertainty
from runner.core.quantity import DIMENSIONS, Dimension, Quantity, Unit
from runner.core.rational import to_text
from runner.core.units import UNITS, Unclear, parse_quantity, parse_unit, show
from runner.core.values import owner_of, worth

INSTRUMENT_NOT_NAMED = "not named"


def instrument(name: str, card: Mapping[str, str], dimension: Dimension) -> Instrument | Unclear:
    """The instrument of the car's file: its error is ``4 %``, ``0.02 mm`` or both with a comma between."""
    unit = parse_unit(card.get("unit", ""), dimension)
    if isinstance(unit, Unclear):
        return unit
    absolute: Quantity | None = None
    relative: Fraction | None = None
    for part in card.get("error", "").split(","):
        if not part.strip():
            continue
        if part.strip().endswith("%"):
            share = parse_quantity(part.strip(), DIMENSIONS["ratio"])
            if isinstance(share, Unclear):
                return share
            relative = share.quantity.lo
        else:
            amount = _span(part.strip(), dimension, unit)
            if isinstance(amount, Unclear):
                return amount
            absolute = amount
    step = _span(card["resolution"], dimension, unit) if card.get("resolution") else None
    if isinstance(step, Unclear):
        return step
    return Instrument(
        id=name,
        what=card.get("what", name),
        unit=unit,
        mpe=absolute,
        mpe_relative=relative,
        expanded_k=Fraction(card["k"]) if card.get("k") else None,
        resolution=step,
        due=card.get("due"),
    )


def _span(text: str, dimension: Dimension, unit: Unit) -> Quantity | Unclear:
    """The size of an error or a step. On a temperature scale ``2 °C``, ``2 K`` and ``2 C deg`` are the same."""
    if not dimension.absolute:
        typed = parse_quantity(text, dimension, unit)
        return typed if isinstance(typed, Unclear) else typed.quantity
    apart = replace(dimension, absolute=False)
    as_difference = parse_quantity(text, apart)
    if not isinstance(as_difference, Unclear):
        return as_difference.quantity
    on_scale = parse_quantity(text, dimension, unit)
    if isinstance(on_scale, Unclear):
        return on_scale
    offset = on_scale.unit.offset
    return Quantity(on_scale.quantity.lo - offset, on_scale.quantity.hi - offset, apart)


def suited(draft_instruments: Mapping[str, Mapping[str, str]], reading: Reading) -> tuple[str, ...]:
    """The instruments of the car's file that this reading may be taken with, in the author's order."""
    return tuple(
        name
        for kind in reading.instruments
        for name, card in sorted(draft_instruments.items())
        if card.get("what") == kind and not isinstance(instrument(name, card, reading.dimension), Unclear)
    )


def unit_for(reading: Reading, chosen: Instrument | None) -> Unit:
    """The unit that is typed: that of the instrument in hand, else the author's."""
    return chosen.unit if chosen is not None else reading.unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed:
    """A value as typed, understood: one quantity a point, its unit, its instrument, how it is read back."""

    points: tuple[Quantity, ...]
    unit: Unit
    instrument: Instrument | None
    shown: str


def understand(
    draft: Draft, reading: Reading, typed: Sequence[str], unit_text: str, instrument_name: str
) -> Parsed | Unclear:
    """The typed points, or the first thing that is not clear about them."""
    chosen: Instrument | None = None
    fitting = suited(draft.state.instruments, reading)
    if reading.mode == "measured" and reading.instruments and not fitting:
        kinds = " or ".join(reading.instruments)
        return Unclear(" ".join(typed), f"no {kinds} stands in the car's file", "add it there, with its error")
    if reading.mode == "measured" and fitting:
        name = instrument_name or fitting[0]
        if name not in fitting:
            return Unclear(name, "this reading is not taken with that instrument", f"take one of: {', '.join(fitting)}")
        made = instrument(name, draft.state.instruments[name], reading.dimension)
        if isinstance(made, Unclear):
            return made
        chosen = made
    unit = unit_for(reading, chosen)
    if unit_text:
        other = parse_unit(unit_text, reading.dimension)
        if isinstance(other, Unclear):
            return other
        unit = other
    if len(typed) != reading.points:
        return Unclear(
            " ".join(typed), f"{len(typed)} values where {reading.points} are asked", "type every point, one by one"
        )
    points: list[Quantity] = []
    for text in typed:
        one = parse_quantity(text, reading.dimension, unit)
        if isinstance(one, Unclear):
            return one
        if reading.mode == "amount" and one.quantity.lo < 0:
            return Unclear(text, "an amount is not below nothing", "type how much it was, without a sign")
        points.append(one.quantity)
        unit = one.unit
    shown = ", ".join(show(p, unit) for p in points)
    return Parsed(points=tuple(points), unit=unit, instrument=chosen, shown=shown)


def overfull(draft: Draft, found: Found, step: Step, parsed: Parsed) -> Unclear | None:
    """Why an amount cannot be: more than what it goes into, or comes out of, holds at its brim. None where it can."""
    reading = step.gate
    if not isinstance(reading, Reading) or reading.mode != "amount":
        return None
    moves = (move for move in step.moves if reading.name in move.least.names | move.most.names)
    for name in dict.fromkeys(n for move in moves for n in (move.target, move.source) if n is not None):
        owner = owner_of(draft.procedure, found.procedure, name)
        level = owner.levels[name]
        brim = worth(owner, draft.state, level.brim, found.here)
        if isinstance(brim, Quantity) and parsed.points[0].lo > brim.hi:
            why = f"{parsed.shown} is more than there is room for: {level.what}, {show(brim, level.unit)} at its brim"
            return Unclear(parsed.shown, why, "read the amount and its unit once more")
    return None


def take(draft: Draft, found: Found, reading: Reading, back: ev.ReadBack) -> str | None:
    """Judge what was read back and let it count. The outcome, or None where something is not known (refused)."""
    parsed = understand(draft, reading, back.typed, back.unit, back.instrument)
    if isinstance(parsed, Unclear):
        draft.refuse(parsed.why, parsed.help)
        return None
    error = worth(found.procedure, draft.state, reading.error, found.here) if reading.error is not None else None
    half = error.hi if isinstance(error, Quantity) else Fraction(0)
    bands = _bands(draft, found, reading.bands)
    if isinstance(bands, Unclear):
        draft.refuse(bands.why, bands.help)
        return None
    rule = "simple" if reading.mode == "setting" else reading.rule
    verdicts: list[Verdict] = []
    twice_u = Fraction(0)
    for point in parsed.points:
        u = standard_uncertainty(parsed.instrument, point) if parsed.instrument is not None else half / GUARD
        twice_u = max(twice_u, GUARD * u)
        if bands:
            verdicts.append(judge(point, Fraction(0) if reading.mode == "setting" else u, bands, rule))
    worst = _worst(verdicts)
    outcome = worst.outcome if worst else "taken"
    if reading.mode == "setting" and outcome == CANNOT_TELL:
        outcome = "fail"  # the target is known too loosely for a setting to be surely it
    label, why = (worst.label, worst.why) if worst else ("", "kept, no limit is set")
    limit = limits_text(draft, found, reading)
    key = f"{reading.name}@{found.here}" if found.here else reading.name
    enclosed = [
        [to_text(max(Fraction(0), p.lo - half)), to_text(p.hi + half)]
        if half and reading.mode == "amount"
        else [to_text(p.lo), to_text(p.hi)]
        for p in parsed.points
    ]
    draft.emit(
        ev.Taken(
            path=draft.state.path,
            name=key,
            typed=back.typed,
            unit=parsed.unit.symbol,
            instrument=back.instrument or (parsed.instrument.id if parsed.instrument else INSTRUMENT_NOT_NAMED),
            dimension=_dimension_name(reading.dimension),
            values=enclosed,
            twice_u=to_text(_short(twice_u)),
            limit=limit,
            limit_kind=reading.limit_kind,
            rule=rule,
            outcome=outcome,
            label=label,
            probability="" if worst is None or worst.probability is None else f"{worst.probability:.4f}",
            because=f"{reading.what} {parsed.shown}: {why}",
            clicks=back.clicks,
            repeat=len(draft.state.readings.get(key, ())),
        )
    )
    return outcome


def _short(value: Fraction) -> Fraction:
    return Fraction(-(-value * 10**12 // 1), 10**12)


def _worst(verdicts: Sequence[Verdict]) -> Verdict | None:
    """The verdict of a set of points: fail before cannot tell before pass; mixed bands cannot be told."""
    if not verdicts:
        return None
    outcomes = {v.outcome for v in verdicts}
    if len(outcomes) == 1:
        return verdicts[0]
    for name in ("fail", CANNOT_TELL):
        if name in outcomes:
            return next(v for v in verdicts if v.outcome == name)
    return Verdict(CANNOT_TELL, CANNOT_TELL, None, "the points fall in different bands")


def _bands(draft: Draft, found: Found, bands: Sequence[LimitBand]) -> tuple[Band, ...] | Unclear:
    made: list[Band] = []
    for band in bands:
        ends: list[Bound | None] = []
        for expr, inclusive in ((band.low, band.low_inclusive), (band.high, band.high_inclusive)):
            if expr is None:
                ends.append(None)
                continue
            value = worth(found.procedure, draft.state, expr, found.here)
            if isinstance(value, Unclear):
                return value
            ends.append(Bound(value, inclusive))
        made.append(Band(band.outcome, ends[0], ends[1]))
    return tuple(made)


def limits_text(draft: Draft, found: Found, reading: Reading) -> str:
    """The pass band in words, both ends, in the author's unit: ``at least 22 mm``, ``100 to 120 N m``."""
    passing = [b for b in reading.bands if b.outcome == "pass"] or list(reading.bands)
    texts = []
    for band in passing:
        ends = [
            None if e is None else worth(found.procedure, draft.state, e, found.here) for e in (band.low, band.high)
        ]
        low, high = (show(e, reading.unit) if isinstance(e, Quantity) else None for e in ends)
        name = "" if band.outcome == "pass" else f"{band.outcome}: "
        if low is not None and high is not None:
            texts.append(f"{name}{low}" if low == high else f"{name}{low} to {high}")
        elif low is not None:
            texts.append(f"{name}{'at least' if band.low_inclusive else 'more than'} {low}")
        elif high is not None:
            texts.append(f"{name}{'at most' if band.high_inclusive else 'less than'} {high}")
    return "; ".join(dict.fromkeys(texts))


def balanced(draft: Draft, found: Found, books: Books) -> tuple[str, str]:
    """Whether what went in is what came out and stayed: the outcome and why, in the unit of the levels."""
    rest, within = (worth(found.procedure, draft.state, e, found.here) for e in (books.imbalance, books.within))
    if not isinstance(rest, Quantity) or not isinstance(within, Quantity):
        why = rest.why if isinstance(rest, Unclear) else "something is not known"
        return (CANNOT_TELL, f"{books.what}: {why}")
    if -within.hi <= rest.lo and rest.hi <= within.hi:
        outcome = "closes"
    elif rest.lo > within.hi or rest.hi < -within.hi:
        outcome = "does not close"
    else:
        outcome = CANNOT_TELL
    levels = (*found.procedure.levels.values(), *draft.procedure.levels.values())
    unit = next((level.unit for level in levels), UNITS["mL"])
    return (outcome, f"{books.what}: {show(rest, unit)} against {show(within, unit)} either way")


def _dimension_name(dimension: Dimension) -> str:
    return next(name for name, d in DIMENSIONS.items() if d == dimension)
