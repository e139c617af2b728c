"""What a question over many runs costs beside the engine's own reading of the same files; interleaved in one run.

Run it as `python tests/benchmarks/bench_ask.py [events]`.
"""

import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import duckdb

sys.path.insert(0, str(Path(__file__).parents[2]))

from runner.edge.asking import QUESTIONS, audit_ask
from runner.edge.choosing import Wanted
from tests.edge.small import USUAL, lines

RUNS = 20
FLOOR = """select count(n), sum(strlen("at")), sum(strlen("by")), sum(strlen(events)) from read_json(?,
    format = 'newline_delimited', columns = {n: 'BIGINT', "at": 'VARCHAR', "by": 'VARCHAR', events: 'JSON'})"""


def write(folder: Path, count: int) -> list[str]:
    """Records of so many events in all; their chains are not asked for."""
    raws, told = lines(USUAL)
    times = count // RUNS // sum(len(one.events) for one in told[1:-2]) + 1
    for number in range(RUNS):
        (folder / f"run-{number}.jsonl").write_bytes(raws[0] + b"".join(raws[1:-2]) * times + b"".join(raws[-2:]))
    return [str(path) for path in sorted(folder.glob("*.jsonl"))]


def main(count: int) -> None:
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        folder = Path(name)
        files = write(folder, count)
        floors: list[float] = []
        tried = ("overrides", "corrections", "fast", "unfinished")
        asked: dict[str, list[float]] = {question: [] for question in tried}
        for _ in range(5):
            start = time.perf_counter()
            with duckdb.connect(":memory:") as engine:
                engine.execute(FLOOR, [files]).fetchall()
            floors.append(time.perf_counter() - start)
            for question, spans in asked.items():
                start = time.perf_counter()
                audit_ask(folder, question, "", Wanted(), False)
                spans.append(time.perf_counter() - start)
        print(f"{count} events, engine alone {median(floors):.2f} s")
        for question, spans in asked.items():
            ratio = median(spans) / median(floors)
            print(f"{question:<12} {median(spans):.2f} s, {ratio:.2f} times: {QUESTIONS[question].help}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
