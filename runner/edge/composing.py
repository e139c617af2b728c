"""A tree from the events of the YAML parser, in the order of the file; what is not read is a finding at its place."""

import re
from bisect import bisect_right
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    Event,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
    SequenceStartEvent,
)

from runner.core.finding import LINE_END, Finding, Place, clean, listed, quote
from runner.edge.syntax import explain
from runner.edge.text import DEEPEST, MOST_NODES, Map, Node, Scalar, Seq

_QUOTE = "if it belongs to the text, put the whole text in quotes"
_CUT_OFF = re.compile(r"[ \t]+(#[^\s#][^\r\n]*)")
_BEYOND = re.compile(r"\\U(?!0010|000[0-9a-fA-F])[0-9a-fA-F]{8}")
_DIRECTIVE = re.compile(r"(?<![^\r\n])%(?!YAML 1\.2[ \t]*[\r\n])")


def compose(text: str, name: str) -> Node | tuple[Finding, ...]:
    """The tree of a text, or everything that stands against reading it, in order of place."""
    return _Builder(text, name).tree()


@dataclass(slots=True)
class _Open:
    """A list or mapping that is not closed yet."""

    place: Place
    keyed: bool
    items: list[Node] = field(default_factory=list)
    pairs: list[tuple[Scalar, Node]] = field(default_factory=list)
    seen: dict[str, Scalar] = field(default_factory=dict)
    key: Scalar | None = None

    def closed(self) -> Node:
        return Map(tuple(self.pairs), self.place) if self.keyed else Seq(tuple(self.items), self.place)


class _Builder:
    def __init__(self, text: str, name: str) -> None:
        self.text = text
        self.name = name
        self.open: list[_Open] = []
        self.found: list[Finding] = []
        self.root: Node | None = None
        self.nodes = 0
        self.end = 0
        self.lines: list[int] = []

    def tree(self) -> Node | tuple[Finding, ...]:
        for match in _DIRECTIVE.finditer(self.text):
            text = "a line that starts with '%' is a YAML directive and changes how the file is read"
            self.report(self.at(match.start()), "directive", text, "delete it, or indent it if it belongs to a text")
        if self.found:
            return listed(self.found)
        try:
            for event in YAML(typ="safe", pure=True).parse(self.text):
                if not self.take(event):
                    break
        except YAMLError as error:
            self.found.append(explain(error, self.text, self.name))
        except (ValueError, OverflowError):
            # The parser makes a character of "\UFFFFFFFF" without looking whether there is one.
            beyond = _BEYOND.search(self.text)
            place = self.at(beyond.start() if beyond else 0)
            self.report(place, "syntax", "this '\\U' escape is no character", "use single quotes, or write '\\\\'")
        if self.found:
            return listed(self.found)
        if self.root is None or self.root == Scalar("", self.root.place, plain=True):
            self.report(Place(self.name, 1, 1), "empty", "the file is empty", "write the keys of a procedure")
            return tuple(self.found)
        return self.root

    def take(self, event: Event) -> bool:
        """Whether to go on after the event."""
        match event:
            case DocumentStartEvent():
                return self.document(event)
            case CollectionEndEvent():
                self.put(self.open.pop().closed())
            case AliasEvent():
                place = self.place(event)
                self.report(place, "alias", f"{quote('*' + event.anchor)} is a YAML alias", f"write it out; {_QUOTE}")
                self.put(Scalar("", place, plain=False))
            case ScalarEvent():
                self.properties(event)
                self.put(self.scalar(event))
            case MappingStartEvent() | SequenceStartEvent():
                self.properties(event)
                self.open.append(_Open(self.place(event), isinstance(event, MappingStartEvent)))
                if len(self.open) > DEEPEST:
                    self.report(self.place(event), "depth", f"more than {DEEPEST} levels stand inside each other", "")
                    return False
            case _:
                pass
        return self.counted(event)

    def counted(self, event: Event) -> bool:
        self.nodes += isinstance(event, NodeEvent)
        if self.nodes > MOST_NODES:
            self.report(self.place(event), "size", f"more than {MOST_NODES:,} entries", "split the file")
        return self.nodes <= MOST_NODES

    def document(self, event: DocumentStartEvent) -> bool:
        if self.root is not None:
            self.report(self.place(event), "document", "a second document starts here", "put it in a file of its own")
            return False
        return True

    def properties(self, event: ScalarEvent | CollectionStartEvent) -> None:
        """Reports a tag or an anchor on a node."""
        place = self.place(event)
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self.report(place, "tag", f"{quote(tag)} is a YAML tag", f"delete it; {_QUOTE}")
        if event.anchor is not None:
            self.report(place, "alias", f"{quote('&' + event.anchor)} is a YAML anchor", f"delete it; {_QUOTE}")

    def scalar(self, event: ScalarEvent) -> Scalar:
        plain = event.style is None
        place = self.place(event)
        self.end = end = event.end_mark.index
        if not plain:
            return Scalar(clean(event.value), place, plain=False)
        if not event.value:
            # The parser puts an empty value where the next token starts; its key or dash is what is seen.
            key = self.open[-1].key if self.open else None
            end = self.text.find(":", self.end) + 1 if key else self.text.rfind("-", 0, event.start_mark.index) + 1
            place = key.place if key else self.at(max(end - 1, 0))
        self.end = end
        cut = _CUT_OFF.match(self.text, end)
        return Scalar(clean(event.value), place, plain=True, cut_off=clean(cut[1]) if cut else "")

    def put(self, node: Node) -> None:
        """Gives the node to the list or mapping that is open."""
        if not self.open:
            self.root = node
            return
        parent = self.open[-1]
        if not parent.keyed:
            parent.items.append(node)
        elif parent.key is None:
            parent.key = self.key(node, parent)
        else:
            if parent.seen.setdefault(parent.key.value, parent.key) is parent.key:
                parent.pairs.append((parent.key, node))
            parent.key = None

    def key(self, node: Node, parent: _Open) -> Scalar:
        if not isinstance(node, Scalar):
            what = "list" if isinstance(node, Seq) else "mapping"
            self.report(node.place, "key", f"a {what} stands where a key was expected", f"write a name; {_QUOTE}")
            return Scalar("", node.place, plain=False)
        if not node.value:
            self.report(node.place, "key", "a key is missing before this ':'", "write a name before the ':'")
        elif node.value == "<<" and node.plain:
            self.report(node.place, "alias", "'<<' is a YAML merge key", "write the keys out")
        elif first := parent.seen.get(node.value):
            related = ((first.place, "it stood here first"),)
            self.report(node.place, "duplicate", f"the key {quote(node.value)} stands twice", "keep one", related)
        return node

    def at(self, index: int) -> Place:
        """The place of a character of the text."""
        self.lines = self.lines or [0, *(match.end() for match in LINE_END.finditer(self.text))]
        line = bisect_right(self.lines, index)
        return Place(self.name, line, index - self.lines[line - 1] + 1)

    def place(self, event: Event) -> Place:
        return Place(self.name, event.start_mark.line + 1, event.start_mark.column + 1)

    def report(
        self, place: Place, check: str, text: str, mend: str, related: tuple[tuple[Place, str], ...] = ()
    ) -> None:
        self.found.append(Finding(place=place, check=check, text=text, help=mend, related=related))
