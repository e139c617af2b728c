"""From the bytes of YAML files to a procedure, or everything that stands against reading it.

Rules of this module
1. No file is opened here: what a procedure needs is looked for among the files that were handed in.
2. One run finds as much as it can: a mistake in one place does not hide those in another.
3. A procedure whose reading left a finding does not exist; nothing is guessed.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from runner.core.finding import Finding, Place, listed, quote
from runner.core.graph import Procedure, Vocabulary
from runner.edge.encoding import decode
from runner.edge.reader_desk import Desk, meant
from runner.edge.reader_procedure import procedure
from runner.edge.reader_scan import called
from runner.edge.reader_tree import scalar, under
from runner.edge.reader_vocabulary import vocabulary
from runner.edge.schema import schema
from runner.edge.shelf import VOCABULARY
from runner.edge.text import Map, Node, load, remarks
from runner.edge.trees import Trees

DEEPEST_CALL = 4
"""How many fragments may stand inside each other."""


def read(files: Mapping[str, bytes], main: str, trees: Trees | None = None) -> Procedure | tuple[Finding, ...]:
    """The procedure of one file, with its fragments and the vocabulary from the others, or what is wrong.

    A fragment NAME is the file NAME.yaml, looked for beside the main file first, then anywhere. What ``trees`` know is
    not read again.
    """
    library = _Library(files, trees or Trees())
    made = library.whole(main)
    found = listed(library.found)
    return found if found or made is None else made


def read_vocabulary(files: Mapping[str, bytes], name: str = VOCABULARY) -> Vocabulary | tuple[Finding, ...]:
    """The vocabulary of one file, or what is wrong with it."""
    library = _Library(files, Trees())
    made = library.vocabulary(name)
    found = listed(library.found)
    return found if found or made is None else made


_MAY_CUT = re.compile(rb"[ \t]#[^\s#]")
"""What a file holds at least where a '#' cut a text off; a file without it need not be read twice."""


def advice(files: Mapping[str, bytes]) -> tuple[Finding, ...]:
    """What may not be meant as it stands, such as a '#' that cut a text off; no reason to refuse a file."""
    roots = (load(data, name) for name, data in files.items() if _MAY_CUT.search(data))
    return listed(remark for root in roots if not isinstance(root, tuple) for remark in remarks(root))


def base(file: str) -> str:
    """The file's name without its folder."""
    return file.replace("\\", "/").rpartition("/")[2]


@dataclass(slots=True)
class _Library:
    """The files of one reading, and what was read from them already."""

    files: Mapping[str, bytes]
    trees: Trees
    found: list[Finding] = field(default_factory=list)
    read: dict[str, Procedure | None] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)

    def vocabulary(self, name: str) -> Vocabulary | None:
        root = self.tree(name, "vocabulary")
        desk = Desk(file=name, text=self.texts.get(name, ""))
        made = vocabulary(desk, root) if isinstance(root, Map) else None
        self.found += desk.found
        return made

    def whole(self, main: str) -> Procedure | None:
        name = self.named(VOCABULARY, main)
        shared = self.vocabulary(name) if name else None
        if name is None and main in self.files:
            text = f"the file {VOCABULARY}, which names the conditions, is not there"
            self.say(main, text, f"put it beside {base(main)}")
        if shared is None:
            # Without it nothing in the steps has a meaning, but their form can still be looked at.
            self.tree(main, "procedure")
            return None
        return self.procedure(main, shared, ())

    def procedure(self, file: str, shared: Vocabulary, chain: tuple[str, ...]) -> Procedure | None:
        if file not in self.read:
            root = self.tree(file, "procedure")
            desk = Desk(file=file, text=self.texts.get(file, ""))
            made = self.built(desk, root, shared, (*chain, file)) if isinstance(root, Map) else None
            self.found += desk.found
            self.read[file] = made
        return self.read[file]

    def tree(self, file: str, kind: str) -> Node | None:
        """The tree of a file, its form checked."""
        if file not in self.files:
            self.say(file, f"there is no file {base(file)}", meant(file, self.files))
            return None
        data = self.files[file]
        root = self.trees.found(kind, file, data) or self.loaded(file, kind)
        text = decode(data, file)
        self.texts[file] = text if isinstance(text, str) else ""
        return root

    def loaded(self, file: str, kind: str) -> Node | None:
        from runner.edge.shape import check_shape  # not needed where the tree is known

        root = load(self.files[file], file)
        if isinstance(root, tuple):
            self.found += root
            return None
        wrong = check_shape(root, schema(kind))
        if isinstance(root, Map) and not wrong:
            self.trees.keep(kind, file, self.files[file], root)
        self.found += wrong
        return root

    def named(self, name: str, beside: str) -> str | None:
        """The file of that name: beside the other one, else wherever there is one."""
        folder = beside[: len(beside) - len(base(beside))]
        every = sorted(file for file in self.files if base(file) == name)
        return folder + name if folder + name in self.files else next(iter(every), None)

    def say(self, file: str, text: str, mend: str) -> None:
        self.found.append(Finding(place=Place(file, 1, 1), check="file", text=text, help=mend))

    def fragments(self, desk: Desk, steps: Node | None, shared: Vocabulary, chain: tuple[str, ...]) -> None:
        """Lays the fragments that are called on the desk."""
        for name in called(steps):
            file = self.named(f"{name.value}.yaml", desk.file)
            if file is None:
                known = [base(one).removesuffix(".yaml") for one in self.files if base(one) != VOCABULARY]
                why = f"there is no fragment {quote(name.value)}"
                desk.say(name.place, "fragment", why, meant(name.value, set(known) - {base(desk.file)[:-5]}))
            elif file in chain:
                circle = [base(one).removesuffix(".yaml") for one in (*chain[chain.index(file) :], file)]
                why = f"a fragment calls itself: {' calls '.join(circle)}"
                desk.say(name.place, "fragment", why, "take one of the calls out")
            elif len(chain) > DEEPEST_CALL:
                why = f"more than {DEEPEST_CALL} calls stand inside each other"
                desk.say(name.place, "fragment", why, "call it from further out")
            elif (made := self.procedure(file, shared, chain)) is not None:
                if not made.is_fragment:
                    why = f"{quote(name.value)} is no fragment, so it cannot be called"
                    desk.say(name.place, "fragment", why, "write 'fragment: true' and a 'contract' in it")
                desk.fragments[name.value] = made

    def built(self, desk: Desk, root: Map, shared: Vocabulary, chain: tuple[str, ...]) -> Procedure:
        """The procedure of a tree, after the fragments that it calls."""
        desk.places, desk.deeds, desk.hazards = shared.places, shared.deeds, shared.hazards
        desk.conditions = dict(shared.conditions)
        name = scalar(under(root, "procedure"))
        if name is not None and f"{name.value}.yaml" != base(desk.file):
            why = f"the procedure {quote(name.value)} stands in the file {base(desk.file)}"
            desk.say(name.place, "name", why, "give both the same name")
        self.fragments(desk, under(root, "steps"), shared, chain)
        inner = [one.file for made in desk.fragments.values() for one in (made, *made.fragments.values())]
        texts: dict[str, str] = {}
        for file in dict.fromkeys((desk.file, shared.file, *inner)):
            if base(file) in texts:
                desk.say(desk.start, "file", f"two files called {base(file)} are needed", "rename one of them")
            texts[base(file)] = self.texts.get(file, "")
        return procedure(desk, root, shared, texts)
