"""The text of a formula read into postfix operations: numbers with units, names, brackets, + - * / ^.

sum := product (("+" | "-") product)*         product := signed (("*" | "/") signed)*
signed := "-" signed | power                  power := primary ("^" whole number)?
primary := number unit? | name | "total of" name | "pi" | function "(" sum ("," sum)* ")" | "(" sum ")"
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from runner.core.enclose import PI
from runner.core.finding import nearest, quote
from runner.core.quantity import PLAIN, Quantity
from runner.core.unitlist import ONE, REFUSED, UNITS
from runner.core.units import Unclear, parse_unit

Kind = Literal["literal", "name", "total", "negate", "add", "subtract", "multiply", "divide", "power", "call"]

ONE_ARGUMENT = ("floor", "ceil", "sqrt", "abs", "sin", "asin")
FUNCTIONS = ("min", "max", "mean", "spread", *ONE_ARGUMENT)
_LONGEST = 2_000
_DEEPEST = 60
_MOST_POWER = 12
_RESERVED = frozenset({*FUNCTIONS, "pi", "total", "of"})


@dataclass(frozen=True, slots=True)
class Op:
    """One postfix operation; `count` is the power or the number of arguments."""

    kind: Kind
    column: int
    name: str = ""
    value: Quantity | None = None
    count: int = 0


@dataclass(frozen=True, slots=True)
class Expr:
    """A formula: its text, its operations in postfix order, and the names that it uses."""

    text: str
    ops: tuple[Op, ...]
    names: frozenset[str]
    totals: frozenset[str]


def parse(text: str) -> Expr | Unclear:
    """The formula in that text; Unclear carries the column, from 0."""
    if len(text) > _LONGEST:
        return Unclear(text, f"the formula has more than {_LONGEST} characters", "split it in two", _LONGEST)
    try:
        ops = tuple(_Reader(tuple(_tokens(text))).whole())
    except _WrongError as wrong:
        return wrong.unclear
    names = frozenset(op.name for op in ops if op.kind == "name")
    return Expr(text, ops, names, frozenset(op.name for op in ops if op.kind == "total"))


class _WrongError(Exception):
    def __init__(self, text: str, column: int, why: str, mend: str) -> None:
        super().__init__(why)
        self.unclear = Unclear(text, why, mend, column)


@dataclass(frozen=True, slots=True)
class _Token:
    kind: Literal["number", "name", "mark", "end"]
    text: str
    column: int
    value: Quantity | None = None
    unit: str = ""


_MARKS = {**{mark: mark for mark in "+-*/^(),"}, "−": "-", "×": "*", "÷": "/"}
_NUMBER = re.compile(r"\d+(?:\.\d+)?|\.\d+", re.ASCII)
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(?:@[A-Za-z][A-Za-z0-9_]*)?")
_WORD = re.compile(r"[^\W\d_][\w./°%]*|[°%'\"#]\S*")
# The longest spelling wins; a hyphen is a minus here, and min( is the function.
_SPELLINGS = sorted((s for s in {*UNITS, *REFUSED} if "-" not in s), key=len, reverse=True)
_UNIT = re.compile("(?:" + "|".join(re.escape(s).replace(r"\ ", r"\s+") for s in _SPELLINGS) + r")(?![\w@])(?!\s*\()")


def _tokens(text: str) -> Iterator[_Token]:
    at = _skip(text, 0)
    while at < len(text):
        if number := _NUMBER.match(text, at):
            token, at = _number(text, number)
        elif name := _NAME.match(text, at):
            token, at = _Token("name", name[0], at), name.end()
        elif text[at] in _MARKS:
            token, at = _Token("mark", _MARKS[text[at]], at), at + 1
        else:
            raise _strange(text[at], at)
        yield token
        at = _skip(text, at)
    yield _Token("end", "", len(text))


def _skip(text: str, at: int) -> int:
    return len(text) - len(text[at:].lstrip())


def _strange(char: str, at: int) -> _WrongError:
    if char in "²³":
        return _WrongError(char, at, f"{quote(char)} is not taken as a power", f"write ^{2 if char == '²' else 3}")
    if char.isnumeric():
        return _WrongError(char, at, f"{quote(char)} is not a plain digit", "write the digits 0 to 9")
    return _WrongError(char, at, f"{quote(char)} has no place in a formula", "use + - * / ^ ( ) and names")


def _number(text: str, found: re.Match[str]) -> tuple[_Token, int]:
    at, end = found.start(), found.end()
    if re.match(r"[.\d]|[eE][-+]?\d", text[end : end + 3]):
        raise _WrongError(found[0], at, "this cannot be read as a number", "write digits and at most one point")
    start = _skip(text, end)
    unit = _UNIT.match(text, start) or _WORD.match(text, start)
    if unit is None or text[_skip(text, unit.end()) :].startswith("("):
        return _Token("number", found[0], at, Quantity.point(found[0], ONE)), end
    known = parse_unit(unit[0])
    if isinstance(known, Unclear):
        raise _WrongError(unit[0], start, known.why, known.help)
    return _Token("number", found[0], at, Quantity.point(found[0], known), known.symbol), unit.end()


class _Reader:
    """Precedence climbing; `out` grows in postfix order."""

    def __init__(self, tokens: tuple[_Token, ...]) -> None:
        self._tokens = tokens
        self._at = 0
        self._depth = 0
        self._out: list[Op] = []

    def whole(self) -> list[Op]:
        if self._now().kind == "end":
            raise _WrongError("", 0, "the formula is empty", "write a value or a name")
        self._sum()
        if self._now().kind != "end":
            raise self._left_over()
        return self._out

    def _now(self) -> _Token:
        return self._tokens[self._at]

    def _take(self, *marks: str) -> _Token | None:
        token = self._now()
        if token.kind != "mark" or token.text not in marks:
            return None
        self._at += 1
        return token

    def _deeper(self) -> None:
        self._depth += 1
        if self._depth > _DEEPEST:
            token, why = self._now(), f"brackets are nested more than {_DEEPEST} deep"
            raise _WrongError(token.text, token.column, why, "split the formula")

    def _sum(self) -> None:
        self._deeper()
        self._product()
        while sign := self._take("+", "-"):
            self._product()
            self._out.append(Op("add" if sign.text == "+" else "subtract", sign.column))
        self._depth -= 1

    def _product(self) -> None:
        self._signed()
        while sign := self._take("*", "/"):
            self._check_fraction(sign)
            self._signed()
            self._out.append(Op("multiply" if sign.text == "*" else "divide", sign.column))

    def _check_fraction(self, sign: _Token) -> None:
        before, after = self._tokens[self._at - 2], self._now()
        if sign.text == "*" and self._now().text == "*":
            raise _WrongError("**", sign.column, "'**' is not taken as a power", "write ^")
        bare = before.kind == after.kind == "number" and not before.unit
        if sign.text == "/" and bare and after.unit:
            both = f"{before.text}/{after.text} {after.unit}"
            mend = f"write the decimal, or {before.text} / ({after.text} {after.unit})"
            raise _WrongError(both, before.column, f"{quote(both)} can be read in two ways", mend)

    def _signed(self) -> None:
        sign = self._take("-")
        if sign is None:
            self._power()
            return
        token = self._now()
        if token.value and token.value.dimension.absolute:
            # Below zero on its scale: -40 °C is one temperature, not a negated one.
            self._at += 1
            below = Quantity.point(-Fraction(token.text), UNITS[token.unit])
            self._out.append(Op("literal", sign.column, value=below))
            return
        self._deeper()
        self._signed()
        self._depth -= 1
        self._out.append(Op("negate", sign.column))

    def _power(self) -> None:
        base = self._now()
        self._primary()
        sign = self._take("^")
        if sign is None:
            return
        if base.unit and self._tokens[self._at - 2] is base:
            both = f"{base.text} {base.unit}^"
            raise _WrongError(both, base.column, f"{quote(both)} can be read in two ways", "put the base in brackets")
        minus, power = self._take("-"), self._now()
        if power.kind != "number" or power.unit or not power.text.isdigit() or int(power.text) > _MOST_POWER:
            why = f"a power is a whole number up to {_MOST_POWER}"
            raise _WrongError(power.text, power.column, why, "write it so; for a root write sqrt(...)")
        self._at += 1
        if self._now().text == "^":
            raise _WrongError("^", self._now().column, "two powers follow each other", "put one in brackets")
        self._out.append(Op("power", sign.column, count=-int(power.text) if minus else int(power.text)))

    def _primary(self) -> None:
        token = self._now()
        if token.kind == "number":
            self._at += 1
            self._out.append(Op("literal", token.column, value=token.value))
        elif token.kind == "name":
            self._at += 1
            self._named(token)
        elif self._take("("):
            self._sum()
            self._close(token)
        else:
            what = f"before {quote(token.text)}" if token.text else "at the end"
            raise _WrongError(token.text, token.column, f"a value is missing {what}", "write a number or a name there")

    def _close(self, opened: _Token) -> None:
        if self._take(")"):
            return
        if self._now().kind == "end":
            raise _WrongError("(", opened.column, "this bracket is not closed", "add )")
        raise self._left_over()

    def _named(self, token: _Token) -> None:
        if self._take("("):
            self._call(token)
        elif token.text == "pi":
            self._out.append(Op("literal", token.column, value=Quantity(*PI, PLAIN)))
        elif token.text == "total" and self._now().text == "of":
            self._at += 1
            named = self._now()
            if named.kind != "name" or named.text in _RESERVED:
                raise _WrongError(named.text, named.column, "a name is missing after 'total of'", "write the reading")
            self._at += 1
            self._out.append(Op("total", token.column, named.text))
        elif token.text in _RESERVED:
            kept = f"write {token.text}(...)" if token.text in FUNCTIONS else "write total of, then a name"
            raise _WrongError(token.text, token.column, f"{quote(token.text)} is a word of formulas", kept)
        else:
            self._out.append(Op("name", token.column, token.text))

    def _call(self, token: _Token) -> None:
        if token.text not in FUNCTIONS:
            near = nearest(token.text, FUNCTIONS)
            mend = f"did you mean {near}" if near else f"known are {', '.join(FUNCTIONS)}"
            raise _WrongError(token.text, token.column, f"{quote(token.text)} is no function", mend)
        self._sum()
        count = 1
        while self._take(","):
            self._sum()
            count += 1
        self._close(token)
        if count > 1 and token.text in ONE_ARGUMENT:
            why = f"{token.text} takes one value, not {count}"
            raise _WrongError(token.text, token.column, why, "a decimal number takes a point, not a comma")
        self._out.append(Op("call", token.column, token.text, count=count))

    def _left_over(self) -> _WrongError:
        token = self._now()
        if token.text == ",":
            why = "a comma stands only between the arguments of a function"
            return _WrongError(",", token.column, why, "a decimal number takes a point")
        if token.text == ")":
            return _WrongError(")", token.column, "this bracket was never opened", "remove it")
        if token.text in UNITS:
            why = f"the unit {quote(token.text)} stands after something that is not a number"
            return _WrongError(token.text, token.column, why, "a name has its unit already; write * 1 and the unit")
        why = f"an operator is missing before {quote(token.text)}"
        return _WrongError(token.text, token.column, why, "write + - * / or ^ there")
