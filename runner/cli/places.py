"""Where things are kept: records, cars, the invented car of the demonstration."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def home() -> Path:
    """The user's folder of this program; ``WITNESSMARK_HOME`` puts it elsewhere."""
    chosen = os.environ.get("WITNESSMARK_HOME")
    return Path(chosen) if chosen else Path(platformdirs.user_data_dir("witnessmark", appauthor=False))


def records_folder(chosen: Path | None, *, demo: bool) -> Path:
    """The folder of the records: the one that was named, else the user's; demonstrations have their own."""
    return chosen if chosen is not None else home() / ("demonstration" if demo else "records")


def keys_folder() -> Path:
    """The folder of the signing key: in the user's configuration, apart from the records that it signs."""
    chosen = os.environ.get("WITNESSMARK_HOME")
    return Path(chosen) / "keys" if chosen else Path(platformdirs.user_config_dir("witnessmark", appauthor=False))


def cars_folder() -> Path:
    """The folder of the cars' files."""
    return home() / "cars"


def cars() -> tuple[Path, ...]:
    """The cars' files that there are."""
    return tuple(sorted(cars_folder().glob("*.yaml"))) if cars_folder().is_dir() else ()
