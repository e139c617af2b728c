"""A YAML text changed only where its content changes: every other byte stays as a person wrote it.

A round trip through a dumper would indent, wrap and quote anew. Here the parser only says where things stand; new
values are put in between, always in double quotes, so that no tag, alias or other meaning can come of them.
"""

import re
from collections.abc import Mapping
from typing import Any

import msgspec
from ruamel.yaml import YAML
from ruamel.yaml.nodes import CollectionNode, MappingNode, Node, ScalarNode, SequenceNode

from runner.core.finding import LINE_END

_PLAIN_KEY = re.compile(r"[a-z][a-z0-9_]*(?:[ -][a-z0-9_]+)*")
_BLOCK = ("|", ">")


class Unchangeable(ValueError):
    """The change asks for more than values replaced and entries added."""


def splice(text: str, wanted: Mapping[str, Any]) -> str:
    """The text with the content that is wanted; Unchangeable where something would have to be taken out.

    `text` has been read before: it holds one mapping and neither tags nor aliases. The caller reads the outcome
    again and compares.
    """
    root = YAML(typ="safe", pure=True).compose(text)
    if not isinstance(root, MappingNode):
        raise Unchangeable("the file does not begin with a key")
    edits = _Edits(text)
    edits.bring(root, wanted, 0)
    return edits.done()


class _Edits:
    def __init__(self, text: str) -> None:
        self.text = text
        first = LINE_END.search(text)
        self.newline = first[0] if first else "\n"
        self.found: list[tuple[int, int, str]] = []

    def done(self) -> str:
        text = self.text
        for start, end, new in sorted(self.found, reverse=True):
            text = text[:start] + new + text[end:]
        return text

    def bring(self, node: Node, wanted: Any, column: int) -> None:
        """Notes what makes the wanted out of what stands there; `column` is that of the key above it."""
        match node, wanted:
            case ScalarNode(), str():
                if node.value != wanted:
                    self.replace(node, _quoted(wanted))
            case MappingNode(), Mapping() if node.value:
                self.mapping(node, wanted)
            case SequenceNode(), list() if node.value:
                for each, (_, item) in enumerate(zip(wanted, node.value, strict=False)):
                    self.bring(item, wanted[each], node.start_mark.column)
                if len(wanted) < len(node.value):
                    raise Unchangeable("an entry would have to be taken out")
                self.append(node, [_flow(item) for item in wanted[len(node.value) :]], "- ")
            case _, Mapping() if wanted:
                self.replace(node, self.below(wanted, column + 2) if self.roomy(node) else _flow(wanted))
            case _:
                if _flow(wanted) != self.span(node):
                    self.replace(node, _flow(wanted))

    def mapping(self, node: MappingNode, wanted: Mapping[str, Any]) -> None:
        standing = {key.value: value for key, value in node.value}
        gone = [key for key in standing if key not in wanted]
        if gone:
            raise Unchangeable(f"the key '{gone[0]}' would have to be taken out")
        for key, value in node.value:
            self.bring(value, wanted[key.value], key.start_mark.column)
        column = node.start_mark.column
        fresh = {key: value for key, value in wanted.items() if key not in standing}
        self.append(node, [self.entry(node, key, value, column) for key, value in fresh.items()], "")

    def entry(self, node: MappingNode, key: str, value: Any, column: int) -> str:
        if node.flow_style or not (isinstance(value, Mapping) and any(isinstance(v, Mapping) for v in value.values())):
            return f"{_key(key)}: {_flow(value)}"
        return f"{_key(key)}:{self.below(value, column + 2)}"

    def below(self, value: Mapping[str, Any], column: int) -> str:
        """The entries on lines of their own."""
        return "".join(f"{self.newline}{' ' * column}{_key(k)}: {_flow(v)}" for k, v in value.items())

    def append(self, node: CollectionNode, entries: list[str], mark: str) -> None:
        """Puts entries after the last one that stands there, in its style."""
        if not entries:
            return
        last = node.value[-1][1] if isinstance(node, MappingNode) else node.value[-1]
        end = self.end(last)
        if node.flow_style:
            self.found.append((end, end, "".join(f", {entry}" for entry in entries)))
            return
        line_end = LINE_END.search(self.text, end)
        at = line_end.start() if line_end else len(self.text)
        lines = [f"{' ' * node.start_mark.column}{mark}{entry}" for entry in entries]
        if end and self.text[end - 1] in "\r\n":
            # A block text ends with its own line end: the entries stand before what follows.
            self.found.append((end, end, "".join(line + self.newline for line in lines)))
        else:
            self.found.append((at, at, "".join(self.newline + line for line in lines)))

    def end(self, node: Node) -> int:
        """Where the last character of the node's content ends; the parser counts what follows a block to it."""
        if not isinstance(node, CollectionNode) or node.flow_style or not node.value:
            return int(node.end_mark.index)
        last = node.value[-1]
        return self.end(last[1] if isinstance(last, tuple) else last)

    def span(self, node: Node) -> str:
        return self.text[node.start_mark.index : self.end(node)]

    def roomy(self, node: Node) -> bool:
        """Whether the rest of the line is free, so that a mapping may go on below it."""
        line = self.text[self.text.rfind("\n", 0, node.start_mark.index) + 1 : node.start_mark.index]
        rest = LINE_END.split(self.text[self.end(node) :], maxsplit=1)[0]
        return not rest.strip() and not re.search(r"[{\[,]", line)

    def replace(self, node: Node, new: str) -> None:
        start = node.start_mark.index
        end = self.end(node)
        if isinstance(node, ScalarNode) and node.style in _BLOCK and end < len(self.text):
            new += self.newline
        if start == end and self.text[start - 1 : start] == ":":
            new = f" {new}"
        if new.startswith(("\r", "\n")):
            start = len(self.text[:start].rstrip(" "))
        self.found.append((start, end, new))


def _flow(value: Any) -> str:
    match value:
        case Mapping():
            return "{" + ", ".join(f"{_key(k)}: {_flow(v)}" for k, v in value.items()) + "}"
        case list():
            return "[" + ", ".join(_flow(item) for item in value) + "]"
        case _:
            return _quoted(str(value))


def _key(key: str) -> str:
    return key if _PLAIN_KEY.fullmatch(key) else _quoted(key)


def _quoted(text: str) -> str:
    """In double quotes; what JSON escapes, YAML escapes alike."""
    return msgspec.json.encode(text).decode()
