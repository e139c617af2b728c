"""``check``, ``explain`` and ``list``: the author's desk."""

from __future__ import annotations

import argparse
import gc
import sys
from collections.abc import Iterable
from pathlib import Path

from runner.cli.places import home
from runner.cli.writing import is_source, written
from runner.core.finding import Finding, clean, nearest
from runner.core.render import as_json, as_sarif, render
from runner.edge import VERSION
from runner.edge.shelf import Loaded, Shelf
from runner.edge.told import told
from runner.edge.trees import Trees

STANDARD_OUTPUT = "-"


def check(options: argparse.Namespace) -> int:
    """Prove procedures; print what was found and count it."""
    if options.sarif is not None and is_source(Path(options.sarif)):
        said = f"{options.sarif}: SARIF is not written over a procedure: name a file such as check.sarif"
        print(clean(said), file=sys.stderr)
        return 2
    gc.disable()  # one pass over much that stays: collecting would only cost
    shelf, trees = Shelf(), Trees(home() / "kept")
    named = [Path(f) for f in options.files] or [Path(shelf.path_of(n)) for n in shelf.available()]
    paths: list[Path] = []
    for path in named:
        if path.is_dir():
            paths += [p for p in sorted(path.glob("*.yaml")) if p.name != "vocabulary.yaml"]
        else:
            paths.append(path)
    if not paths:
        print("no procedure to check: name a .yaml file or a folder that holds some", file=sys.stderr)
        return 2
    findings: list[Finding] = []
    texts: dict[str, str] = {}
    proven = 0
    missing = False
    for path in paths:
        loaded = shelf.load(str(path))
        if not isinstance(loaded, Loaded):
            findings += loaded
            missing = True
            continue
        texts |= {name: data.decode("utf-8", "replace") for name, data in loaded.files.items()}
        answer = told(loaded, trees)
        findings += answer.findings
        proven += answer.proven
    unique = tuple(dict.fromkeys(findings))
    errors = sum(f.severity == "error" for f in unique)
    if options.json:
        print(as_json(unique))
    elif options.sarif == STANDARD_OUTPUT:
        print(_sarif(unique))
    else:
        if unique:
            print(render(unique, texts))
        rest = len(unique) - errors
        print(f"{proven} of {len(paths)} procedures proven on every path; {errors} errors, {rest} remarks")
    if options.sarif not in (None, STANDARD_OUTPUT):
        mend = "name another file, or - for none"
        if not written(Path(options.sarif), _sarif(unique) + "\n", "SARIF", mend):
            return 2
    if missing:
        return 2
    return 1 if errors else 0


def _sarif(findings: Iterable[Finding]) -> str:
    from runner.verify import CHECKS  # not needed where the answer was kept

    return as_sarif(findings, {c.name: c.manual for c in CHECKS}, VERSION)


def explain_one(options: argparse.Namespace) -> int:
    """The manual page of one check."""
    from runner.edge.manual import PAGES
    from runner.verify import CHECKS, explain

    text = explain(options.check) or PAGES.get(options.check)
    if text is None:
        known = [*(c.name for c in CHECKS), *PAGES]
        guess = nearest(options.check, known)
        print(f"no check '{clean(options.check)}'; there are: {', '.join(known)}", file=sys.stderr)
        if guess:
            print(f"did you mean '{guess}'?", file=sys.stderr)
        return 2
    print(clean(text))
    return 0


def library(_options: argparse.Namespace) -> int:
    """The procedures that can be run, by name."""
    for name in Shelf().available():
        print(name)
    return 0
