"""Making the small file of a car, by question and answer."""

from __future__ import annotations

import argparse
from pathlib import Path
from shutil import get_terminal_size
from textwrap import fill, wrap

from runner.cli.places import cars_folder
from runner.cli.proving import load, understood
from runner.core.graph import Procedure
from runner.edge.newcar import make_car

_NARROWEST = 30
_ROOM = 8
"""Columns that stay free behind a prompt, so that a short answer stands on its line."""
_BEFORE = (
    "There is no car's file yet. It holds who the car is, its values with their sources, and who works on it.",
    "Answer line by line; an empty answer to a value means: not known yet. Ctrl+C stops, what was entered stays.",
)


def make(options: argparse.Namespace) -> int:
    """``witnessmark car PROCEDURE``."""
    loaded = load(options.procedure)
    procedure = understood(loaded) if loaded is not None else None
    if procedure is None:
        return 2
    path = make_here(procedure, options.folder or cars_folder())
    return 0 if path is not None else 2


def make_here(procedure: Procedure, folder: Path) -> Path | None:
    """Ask for what a car's file needs; None where the person stopped."""
    columns = max(get_terminal_size().columns, _NARROWEST)
    for text in _BEFORE:
        print(fill(text, columns))
    try:
        path = make_car(_ask, folder, procedure)
    except (KeyboardInterrupt, EOFError):
        print("\nstopped; what was entered is kept")
        return None
    print(f"the car's file: {path}")
    return path


def _ask(prompt: str, mend: str, options: tuple[str, ...]) -> str:
    columns = max(get_terminal_size().columns, _NARROWEST)
    if mend:
        print(fill(mend, columns, initial_indent="  ", subsequent_indent="  "))
    for number, option in enumerate(options, start=1):
        print(fill(option, columns, initial_indent=f"  {number}  ", subsequent_indent="     "))
    *before, last = wrap(f"{prompt}:", columns - _ROOM) or [":"]
    for line in before:
        print(line)
    typed = input(f"{last} ").strip()
    if options and typed.isdigit() and 1 <= int(typed) <= len(options):
        return options[int(typed) - 1]
    return typed
