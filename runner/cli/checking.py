"""``check``, ``explain`` and ``list``: the author's desk."""

from __future__ import annotations

import argparse
import gc
import sys
from pathlib import Path

from runner.core.finding import Finding, clean, nearest
from runner.core.graph import Procedure
from runner.edge.reader import advice, read
from runner.edge.shelf import Loaded, Shelf
from runner.verify import CHECKS, Checked, explain, verify
from runner.verify.render import as_json, render


def check(options: argparse.Namespace) -> int:
    """Prove procedures; print what was found and count it."""
    gc.disable()  # one pass over much that stays: collecting would only cost
    shelf = Shelf()
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
        findings += advice(loaded.files)
        procedure = read(loaded.files, loaded.main)
        if not isinstance(procedure, Procedure):
            findings += procedure
            continue
        result = verify(procedure)
        findings += result.warnings if isinstance(result, Checked) else result
        proven += isinstance(result, Checked)
    unique = tuple(dict.fromkeys(findings))
    if options.json:
        print(as_json(unique))
    else:
        if unique:
            print(render(unique, texts))
        errors = sum(f.severity == "error" for f in unique)
        rest = len(unique) - errors
        print(f"{proven} of {len(paths)} procedures proven on every path; {errors} errors, {rest} remarks")
    if missing:
        return 2
    return 1 if any(f.severity == "error" for f in unique) else 0


def explain_one(options: argparse.Namespace) -> int:
    """The manual page of one check."""
    text = explain(options.check)
    if text is None:
        known = [c.name for c in CHECKS]
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
