"""JSON Schema 2020-12 over a tree whose texts stay as typed.

A text counts as a number, integer, boolean or null only where the schema asks for one and it stood without
quotes: the tree is never converted, so "1.10" keeps its zero. Numbers are compared exactly.
"""

import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cache
from operator import ge, gt, le, lt
from typing import TYPE_CHECKING, Any

from runner.edge.text import Map, Node, Scalar, Seq

if TYPE_CHECKING:
    from jsonschema import ValidationError
    from jsonschema.protocols import Validator

NUMBER = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?")
_INTEGER = re.compile(r"-?[0-9]{1,40}")
_KEPT = 8


class Text(str):
    """A text or key for the schema, with its node."""

    __slots__ = ("node",)
    node: Scalar


class Items(list[Any]):
    """A list for the schema, with its node."""

    __slots__ = ("node",)
    node: Seq


class Keys(dict[str, Any]):
    """A mapping for the schema, with its node."""

    __slots__ = ("node",)
    node: Map


_built: dict[int, tuple[Mapping[str, object], "Validator"]] = {}


def validator_of(schema: Mapping[str, object]) -> "Validator":
    """The validator of a schema object, built once and kept with it, so that its id stays its own."""
    if id(schema) not in _built:
        if len(_built) == _KEPT:
            _built.clear()
        _built[id(schema)] = (schema, _dialect()(schema))
    return _built[id(schema)][1]


@cache
def _dialect() -> Any:
    """JSON Schema 2020-12 over texts as typed; imported late, since most starts need no schema."""
    from jsonschema import Draft202012Validator, validators

    types = Draft202012Validator.TYPE_CHECKER.redefine_many(
        {
            "string": lambda _, value: isinstance(value, str) and not is_nothing(value),
            "null": lambda _, value: is_nothing(value),
            "boolean": lambda _, value: _is_plain(value) and value in {"true", "false"},
            "integer": lambda _, value: _is_plain(value) and bool(_INTEGER.fullmatch(value)),
            "number": lambda _, value: _is_plain(value) and bool(NUMBER.fullmatch(value)),
        }
    )
    keywords = {
        "minimum": _bound(ge),
        "exclusiveMinimum": _bound(gt),
        "maximum": _bound(le),
        "exclusiveMaximum": _bound(lt),
        "multipleOf": _bound(lambda value, step: value % step == 0),
        "enum": lambda _, allowed, value, __: _unless(any(_same(value, each) for each in allowed)),
        "const": lambda _, allowed, value, __: _unless(_same(value, allowed)),
        "additionalProperties": _additional,
    }
    return validators.extend(  # type: ignore[no-untyped-call]
        Draft202012Validator, validators=keywords, type_checker=types
    )


def placed(node: Node) -> Any:
    """The tree as texts, lists and dicts, each of which knows its node."""
    match node:
        case Scalar(value):
            made: Any = Text(value)
        case Seq(items):
            made = Items(placed(item) for item in items)
        case Map(entries):
            made = Keys((placed(key), placed(value)) for key, value in entries)
    made.node = node
    return made


def _is_plain(value: object) -> bool:
    return isinstance(value, Text) and value.node.plain


def is_nothing(value: object) -> bool:
    """Whether nothing was written where the value would stand."""
    return _is_plain(value) and not value


def _same(value: object, allowed: object) -> bool:
    match allowed:
        case bool():
            return _is_plain(value) and value == str(allowed).lower()
        case None:
            return is_nothing(value)
        case int() | float():
            number = _is_plain(value) and NUMBER.fullmatch(str(value))
            return bool(number) and Fraction(str(value)) == Fraction(str(allowed))
        case _:
            return value == allowed


def _unless(met: object) -> "Iterator[ValidationError]":
    from jsonschema import ValidationError

    if not met:
        yield ValidationError("not met")


def _bound(holds: Any) -> Any:
    def keyword(validator: Any, limit: Any, value: Any, _: object) -> "Iterator[ValidationError]":
        if validator.is_type(value, "number"):
            yield from _unless(holds(Fraction(value), Fraction(str(limit))))

    return keyword


def _additional(validator: Any, allowed: Any, value: Any, schema: Any) -> "Iterator[ValidationError]":
    """As the standard has it, but one error a key, placed at the key."""
    from jsonschema import ValidationError

    patterns = schema.get("patternProperties", {})
    for key in value if validator.is_type(value, "object") else ():
        if key in schema.get("properties", {}) or any(re.search(each, key) for each in patterns):
            continue
        if allowed is False:
            yield ValidationError("unknown", instance=key)
        else:
            yield from validator.descend(value[key], allowed, path=key)
