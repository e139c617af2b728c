"""``witnessmark`` and ``python -m runner``."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and leave with its exit code."""
    from runner.cli import command

    sys.exit(command(sys.argv[1:]))


if __name__ == "__main__":
    main()
