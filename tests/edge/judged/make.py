"""Runs as this version of the program judges them: ``python -m tests.edge.judged.make`` writes them once a version.

They are made by a random person on an injected clock, and chosen so that few runs hold many kinds of events.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import msgspec

from runner.core.engine import decide
from runner.core.event import AnyEvent
from runner.core.folding import fold
from runner.core.line import Head, seal
from runner.core.state import State
from runner.edge import VERSION

HERE = Path(__file__).parent
PLAYED = ("everything", "flush")
TRIED, MOST_ACTS, KEPT = 120, 90, 4


def written(name: str, seed: int) -> tuple[bytes, frozenset[str]]:
    """The record of one run, and the kinds of its events."""
    from tests.core.test_invariants import Walk  # it reads the whole library

    walk = Walk(name, seed)
    walk.run(MOST_ACTS)
    texts = dict(walk.procedure.texts)
    hashes = {file: sha256(text.encode()).hexdigest() for file, text in texts.items()}
    head, state, raws, kinds = Head(), State(), list[bytes](), set[str]()
    for now, by, given, _ in walk.lines:
        act = msgspec.structs.replace(given, version=VERSION, texts=texts, hashes=hashes) if not raws else given
        events: tuple[AnyEvent, ...] = decide(walk.procedure, state, act, now, by)
        state = fold(state, head.n, now, by, act, events)
        raws.append(seal(head, now, by, act, events))
        head = head.after(raws[-1])
        kinds |= {type(event).__name__ for event in events}
    return b"".join(raws), frozenset(kinds)


def main() -> None:
    """Write the runs of this version, unless there are some."""
    if any(HERE.glob(f"{VERSION}-*.jsonl")):
        raise SystemExit(f"the runs of {VERSION} are there, and what a version judged stays: raise the version")
    made = {
        f"{VERSION}-{name}-{seed}": written(name, seed) for name in ("everything", "flush") for seed in range(TRIED)
    }
    known: set[str] = set()
    for _ in range(KEPT):
        best = max(made, key=lambda name: len(made[name][1] - known))
        (HERE / f"{best}.jsonl").write_bytes(made[best][0])
        known |= made[best][1]
    print(len(known), "kinds of events:", ", ".join(sorted(known)))


if __name__ == "__main__":
    main()
