"""``catalogue``: the table of a folder's README and a picture of each procedure, made anew."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from runner.cli.writing import refused
from runner.core.finding import Finding, clean
from runner.core.graph import Procedure
from runner.core.render import render
from runner.edge.catalogue import BEGIN, END, PICTURES, readme
from runner.edge.diagram_svg import NoLayout, as_svg
from runner.edge.reader import read
from runner.edge.shelf import Loaded, Shelf
from runner.verify.drawing import drawing


def catalogue(options: argparse.Namespace) -> int:
    """Write README.md's table and the pictures; exit code 2 if something cannot be read or written."""
    from runner.cli.drawing import NO_LAYOUT

    folder: Path = options.folder
    made = procedures_of(folder)
    if not isinstance(made, list):
        print(render(made, {}), file=sys.stderr)
        return 2
    try:
        page = readme((folder / "README.md").read_text(encoding="utf-8"), made)
        if page is None:
            print(clean(f"{folder}/README.md: no place for the table: write '{BEGIN}' and '{END}'"), file=sys.stderr)
            return 2
        pictures = {f"{one.name}.svg": as_svg(drawing(one)) for one in made}
        (folder / PICTURES).mkdir(exist_ok=True)
        for old in (folder / PICTURES).glob("*.svg"):
            if old.name not in pictures:
                old.unlink()
        for name, picture in pictures.items():
            (folder / PICTURES / name).write_text(picture, encoding="utf-8")
        (folder / "README.md").write_text(page, encoding="utf-8")
    except NoLayout:
        print(NO_LAYOUT, file=sys.stderr)
        return 2
    except (OSError, ValueError) as error:
        print(clean(f"{folder}: the catalogue could not be written: {refused(error)}"), file=sys.stderr)
        return 2
    print(f"{len(made)} procedures in {clean(str(folder))}/README.md, their pictures in {PICTURES}/")
    return 0


def procedures_of(folder: Path) -> list[Procedure] | tuple[Finding, ...]:
    """Every procedure of a folder, fragments as well, by name; or what is wrong with the first that cannot be read."""
    shelf, made = Shelf((folder,)), list[Procedure]()
    known = shelf.available(fragments=True)
    for path in sorted(one for one in folder.glob("*.yaml") if one.stem in known):
        loaded = shelf.load(str(path))
        one = read(loaded.files, loaded.main) if isinstance(loaded, Loaded) else loaded
        if not isinstance(one, Procedure):
            return one
        made.append(one)
    return made
