"""Making the small file of a car, by question and answer."""

from __future__ import annotations

import argparse
from pathlib import Path

from runner.cli.places import cars_folder
from runner.cli.proving import load, understood
from runner.core.graph import Procedure
from runner.edge.newcar import make_car


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
    print("There is no car's file yet. It holds who the car is, its values with their sources, and who works on it.")
    print("Answer line by line; an empty answer to a value means: not known yet. Ctrl+C stops, what was entered stays.")
    try:
        path = make_car(_ask, folder, procedure)
    except (KeyboardInterrupt, EOFError):
        print("\nstopped; what was entered is kept")
        return None
    print(f"the car's file: {path}")
    return path


def _ask(prompt: str, mend: str, options: tuple[str, ...]) -> str:
    if mend:
        print(f"  {mend}")
    for number, option in enumerate(options, start=1):
        print(f"  {number}  {option}")
    typed = input(f"{prompt}: ").strip()
    if options and typed.isdigit() and 1 <= int(typed) <= len(options):
        return options[int(typed) - 1]
    return typed
