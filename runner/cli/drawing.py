"""``draw``: the graph of a procedure as a picture or as text for other programs."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from runner.cli.writing import is_source, written
from runner.core.finding import clean
from runner.core.graph import Procedure
from runner.core.render import render
from runner.edge.diagram import as_dot, as_mermaid
from runner.edge.diagram_svg import NoLayout, as_svg
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf
from runner.verify.drawing import drawing

NO_LAYOUT = (
    "the picture needs the library pygraphviz, which finds the places of its boxes: pip install 'witnessmark[draw]'; "
    "without it '--to mermaid' and '--to dot' work"
)


def draw(options: argparse.Namespace) -> int:
    """Draw one procedure; exit code 2 if it cannot be read, drawn or written."""
    loaded = Shelf().load(options.procedure)
    procedure = read(loaded.files, loaded.main) if isinstance(loaded, Loaded) else loaded
    if not isinstance(procedure, Procedure):
        texts = {n: d.decode("utf-8", "replace") for n, d in loaded.files.items()} if isinstance(loaded, Loaded) else {}
        print(render(procedure, texts), file=sys.stderr)
        return 2
    writer = {"svg": as_svg, "mermaid": as_mermaid, "dot": as_dot}[options.to]
    try:
        text = writer(drawing(procedure))
    except NoLayout:
        print(NO_LAYOUT, file=sys.stderr)
        return 2
    out: Path | None = options.out
    if out is None:
        print(text, end="")
        return 0
    if is_source(out):
        why = f"{out}: a picture is not written over a procedure: name a file such as {out.stem}.svg"
        print(clean(why), file=sys.stderr)
        return 2
    return 0 if written(out, text, "the picture", "name another file") else 2
