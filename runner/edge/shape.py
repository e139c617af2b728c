"""Whether a tree has the form that a JSON Schema (2020-12) asks for, in an author's words.

In a schema, `title` on a subschema says in a noun phrase what is expected there, for instance
"a step name: small letters, digits and '-'"; without one the words come from the keyword.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import TYPE_CHECKING, Any

from runner.core.finding import Finding, listed, nearest, quote
from runner.edge.dialect import NUMBER, Items, Keys, Text, is_nothing, placed, validator_of
from runner.edge.text import Map, Node, Scalar

if TYPE_CHECKING:
    from jsonschema import ValidationError

_MOST = 5_000
_FEW = 3
_MANY = 20
_ANY = ("anyOf", "oneOf")
_TYPES = {
    "string": "a text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "object": "a mapping of keys",
    "array": "a list",
    "null": "nothing",
}
_PHRASES = {
    "pattern": "of the form {}",
    "minLength": "a text of at least {} characters",
    "maxLength": "a text of at most {} characters",
    "minItems": "a list of at least {}",
    "maxItems": "a list of at most {}",
    "minProperties": "a mapping of at least {} keys",
    "maxProperties": "a mapping of at most {} keys",
    "minimum": "at least {}",
    "maximum": "at most {}",
    "exclusiveMinimum": "more than {}",
    "exclusiveMaximum": "less than {}",
    "multipleOf": "a multiple of {}",
}
_MENDS = (
    ("characters", "make it shorter or longer"),
    ("name", "write a name such as look"),
    ("words of small letters", "write small letters, with a space between words"),
    ("list", "write it as a list: [.., ..]"),
    ("mapping", "write keys, each with a ':' and its value"),
    ("whole number", "write digits alone, such as 3"),
    ("at ", "write a number within these bounds"),
    ("a text", "write a text, in quotes if it holds a ':'"),
    ("true or false", "write true or false"),
    ("'", "write one of these words"),
)
"""What mends a form that is not met, by the first word that stands in what was expected."""
_LONGEST_NAME = 40
_YES_NO = {"yes": "true", "on": "true", "no": "false", "off": "false"}


def check_shape(root: Node, schema: Mapping[str, object]) -> tuple[Finding, ...]:
    """Everything in which the tree differs from the schema, in order of place; past 200 a count.

    Where a schema offers several forms (anyOf, oneOf), the finding speaks of the form that was probably
    meant, the one that got furthest: of the right type first, then with the constants that tell forms
    apart, then with fewest unknown keys, then the one whose first difference lies deepest, then with fewest
    differences. Forms that differ in plain values alone are named together ("must be a text or a list").
    At most 5,000 differences are looked for.
    """
    errors = islice(validator_of(schema).iter_errors(placed(root)), _MOST)
    return listed(finding for error in errors for finding in _findings(error))


def _findings(error: "ValidationError") -> Iterator[Finding]:
    value: Any = error.instance
    asked: Any = error.validator_value
    schema, subject = _keywords(error), _subject(error)
    known = [*schema.get("properties", {})]
    match error.validator:
        case "anyOf" | "oneOf" if error.context:
            yield from _furthest(error)
        case "additionalProperties":
            yield _unknown(value, subject, known)
        case "unevaluatedProperties":
            yield from (_unknown(key, subject, known) for key in value if repr(str(key)) in error.message)
        case "required":
            strange = [key for key in value if key not in known]
            # One error a missing key comes from the library, each with the whole list of required keys.
            missing = [key for key in asked if key not in value and error.message.startswith(repr(key))]
            yield from (_missing(key, value, subject, strange) for key in missing)
        case "dependentRequired":
            for key, others in asked.items():
                missing = [other for other in others if key in value and other not in value]
                yield from (_missing(other, value, f"{subject} with {quote(key)}", []) for other in missing)
        case "uniqueItems":
            again = next((each for index, each in enumerate(value) if each in value[:index]), value)
            yield _at(again, "value", f"{subject} holds {_shown(again)} twice", "keep one")
        case _:
            yield _differs(error, [_expected(error)])


def _furthest(error: "ValidationError") -> Iterator[Finding]:
    """The findings of the form that got furthest, see check_shape."""
    forms = list(_forms(error))
    if all(len(form) == 1 and _is_simple(form[0]) for form in forms):
        title = _keywords(error).get("title")
        yield _differs(error, [str(title)] if title else [_expected(form[0]) for form in forms])
        return
    best = max(map(_score, forms))
    ahead = [form for form in forms if _score(form) == best]
    lacking = [each for form in ahead for each in form]
    value: Any = error.instance
    if len(ahead) > 1 and all(each.validator == "required" and not _depth(each) for each in lacking):
        keys = dict.fromkeys(key for each in lacking for key in _strings(each) if key not in value)
        names = " or ".join(map(quote, keys))
        yield _at(error.instance, "missing-key", f"{_subject(error)} needs {names}", "write the one meant")
        return
    for each in ahead[0]:
        yield from _findings(each)


def _forms(error: "ValidationError") -> "Iterator[list[ValidationError]]":
    """The errors of each form; a form that again offers forms gives way to them."""
    groups: dict[object, list[ValidationError]] = {}
    for each in error.context or ():
        groups.setdefault(each.relative_schema_path[0], []).append(each)
    for group in groups.values():
        only = group[0]
        if len(group) == 1 and only.validator in _ANY and only.context and not _depth(only):
            yield from _forms(only)
        else:
            yield group


def _score(form: "list[ValidationError]") -> tuple[bool, bool, int, int, int]:
    right_type = not any(each.validator == "type" and not _depth(each) for each in form)
    right_constants = not any(each.validator in {"const", "enum"} and _depth(each) <= 1 for each in form)
    unknown = sum(each.validator == "additionalProperties" and not _depth(each) for each in form)
    return right_type, right_constants, -unknown, min(map(_depth, form)), -len(form)


def _depth(error: "ValidationError") -> int:
    return len(error.relative_path)


def _is_simple(error: "ValidationError") -> bool:
    return not _depth(error) and error.validator in {"type", "enum", "const", "pattern"}


def _differs(error: "ValidationError", expected: list[str]) -> Finding:
    subject = _subject(error)
    if "propertyNames" in error.relative_schema_path:
        subject = f"a key in {subject}"
    wanted = " or ".join(dict.fromkeys(expected))
    return _at(
        error.instance,
        "value",
        f"{subject} must be {wanted}, found {_shown(error.instance)}",
        _mend(error, expected),
    )


def _expected(error: "ValidationError") -> str:
    """What the schema asks for, as a noun phrase."""
    asked: Any = error.validator_value
    schema = _keywords(error)
    if "title" in schema:
        return str(schema["title"])
    match error.validator:
        case "type":
            return " or ".join(_TYPES[each] for each in ([asked] if isinstance(asked, str) else asked))
        case "enum":
            few = len(asked) <= _FEW
            return " or ".join(map(_constant, asked)) if few else f"one of {_names(_strings(error))}"
        case "const":
            return _constant(asked)
        case "oneOf":
            return "of one form only (it fits several)"
        case "not" | None:
            return "absent or of another form"
        case _:
            return _PHRASES.get(str(error.validator), f"as '{error.validator}' in the schema asks").format(asked)


def _constant(value: object) -> str:
    if value is None:
        return _TYPES["null"]
    return str(value).lower() if isinstance(value, bool) else f"'{value}'"


def _shown(value: object) -> str:
    match value:
        case Text():
            return "nothing" if is_nothing(value) else quote(value)
        case Keys():
            return f"a mapping with {_names(value)}" if value else "an empty mapping"
        case Items():
            return f"a list of {len(value)}" if value else "an empty list"
        case _:
            return quote(str(value))


def _mend(error: "ValidationError", expected: list[str]) -> str:
    types = " or ".join(expected)
    return _meant(error, types) or next((mend for word, mend in _MENDS if word in types), "write it as the words say")


def _meant(error: "ValidationError", types: str) -> str:
    """How to mend it where it shows what was meant."""
    value = error.instance
    if isinstance(value, Keys):
        sentence = _sentence(value.node) if error.validator in {"type", *_ANY} else ""
        return f"the ': ' made a key of it; quote the whole text: {sentence}" if sentence else ""
    if not isinstance(value, Text):
        return ""
    if is_nothing(value):
        return "write it after the ':' or '-', or take the line out"
    if near := nearest(value, _constants(error)):
        return f"did you mean '{near}'?"
    if value.lower() in _YES_NO and _TYPES["boolean"] in types:
        return f"write {_YES_NO[value.lower()]}"
    if not value.node.plain and NUMBER.fullmatch(value) and "number" in types:
        return "take the quotes away"
    if "name of small letters" in types and (name := _name(value, "-" if "'-'" in types else "_")):
        return f"write {name}"
    return f"write it as a list: [{value}]" if _TYPES["array"] in types and len(value) < 60 else ""


def _name(value: Text, between: str) -> str:
    """The text spelled as a name; empty where nothing of it is left, or where it is one as far as that goes."""
    made = between.join(re.findall(r"[a-z0-9]+", value.lower())).lstrip("0123456789_-")
    return made if made != value and len(made) <= _LONGEST_NAME else ""


def _constants(error: "ValidationError") -> list[str]:
    """The constants that the error asks for, in whatever form."""
    match error.validator:
        case "const":
            return [str(error.validator_value)]
        case "enum":
            return _strings(error)
        case _:
            return [each for form in error.context or () if not _depth(form) for each in _constants(form)]


def _strings(error: "ValidationError") -> list[str]:
    asked: Any = error.validator_value
    return [str(each) for each in asked]


def _sentence(node: Map) -> str:
    """A mapping of one pair as the sentence that it probably was, in double quotes; else nothing."""
    match node.entries:
        case ((Scalar(key, _, True), Scalar(value, _, _)),) if len(key) + len(value) < 200 and '"' not in key + value:
            return f'"{key}: {value}"'
    return ""


def _unknown(key: Text, owner: str, known: list[str]) -> Finding:
    if near := nearest(key, known):
        mend = f"did you mean '{near}'?"
    else:
        mend = f"the keys known here are {_names(known)}" if known else "no key is expected here"
        if key.node.plain and " " in key:
            mend = f"if this is a sentence, quote the whole of it; {mend}"
    return _at(key, "unknown-key", f"unknown key {quote(key)} in {owner}", mend)


def _missing(key: str, value: Keys, owner: str, strange: list[str]) -> Finding:
    near = nearest(key, strange)
    mend = f"{quote(near)} is not known here; was '{key}' meant?" if near else f"write '{key}: ' and its value"
    return _at(value, "missing-key", f"{owner} has no key '{key}'", mend)


def _names(keys: Iterable[str]) -> str:
    names = [quote(key, 30) for key in keys]
    more = f" and {len(names) - _MANY} more" if len(names) > _MANY else ""
    return ", ".join(names[:_MANY]) + more


def _subject(error: "ValidationError") -> str:
    """What the error speaks of: the key, or the entry of a list."""
    path = list(error.absolute_path)
    if not path:
        return "the file"
    if isinstance(path[-1], str):
        return quote(path[-1])
    keys = [step for step in path if isinstance(step, str)]
    return f"entry {path[-1] + 1} of {quote(keys[-1]) if keys else 'the list'}"


def _keywords(error: "ValidationError") -> Mapping[str, Any]:
    return error.schema if isinstance(error.schema, Mapping) else {}


def _at(value: Any, check: str, text: str, mend: str) -> Finding:
    """A finding at the node of the value; at the key for a key."""
    return Finding(place=value.node.place, check=check, text=text, help=mend)
