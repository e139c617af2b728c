"""One question in general tools: does every path to the guarded points pass the gate?

Each tool gets the same graph and answers in a process of its own, so that its time can be bounded and its memory told.
Run as `python tests/benchmarks/dominance.py TOOL GRAPH`; prints JSON: seconds, MiB, and whether the gate holds.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

Targets = list[list[int]]


def own(to: Targets, gate: int, guarded: list[int]) -> bool:
    """The checker's first pass with one field: the gate is not passed yet, or passed."""
    from runner.verify.flow import spread

    not_yet, passed = 1, 2
    states = spread(
        tuple(
            tuple((t, 0, 0 if at == gate else -1, passed if at == gate else 0, ()) for t in ts)
            for at, ts in enumerate(to)
        ),
        0,
        not_yet,
    )
    return not any(states[at] & not_yet for at in guarded)


def networkx(to: Targets, gate: int, guarded: list[int]) -> bool:
    """Immediate dominators of a general graph library."""
    import networkx as nx

    graph = nx.DiGraph([(at, t) for at, ts in enumerate(to) for t in ts])
    above = dict(nx.immediate_dominators(graph, 0))
    return _all_under(above, gate, guarded)


def rustworkx(to: Targets, gate: int, guarded: list[int]) -> bool:
    """Immediate dominators of a graph library in Rust."""
    import rustworkx as rx

    graph = rx.PyDiGraph()
    graph.add_nodes_from(range(len(to)))
    graph.add_edges_from_no_data([(at, t) for at, ts in enumerate(to) for t in ts])
    return _all_under(dict(rx.immediate_dominators(graph, 0)), gate, guarded)


def _all_under(above: dict[int, int], gate: int, guarded: list[int]) -> bool:
    known = {0: gate == 0, gate: True}
    for start in guarded:
        way, at = [], start
        while at not in known:
            way.append(at)
            at = above[at]
        known |= dict.fromkeys(way, known[at])
    return all(known[at] for at in guarded)


def clingo(to: Targets, gate: int, guarded: list[int]) -> bool:
    """Reachability around the gate in answer set programming."""
    import clingo as asp

    control = asp.Control(["--warn=none"])
    facts = [f"edge({at},{t})." for at, ts in enumerate(to) for t in ts] + [f"guarded({at})." for at in guarded]
    rules = f"reach(0). reach(Y) :- reach(X), edge(X,Y), X != {gate}. bad :- reach(X), guarded(X). :- not bad."
    control.add("base", [], "\n".join(facts) + rules)
    control.ground([("base", [])])
    return not control.solve().satisfiable


def z3(to: Targets, gate: int, guarded: list[int]) -> bool:
    """Reachability around the gate in the Datalog engine of an SMT solver."""
    import z3 as smt

    width = max(1, len(to).bit_length())

    def bits(n: int) -> str:
        return f"(_ bv{n} {width})"

    lines = [f"(declare-rel edge ((_ BitVec {width}) (_ BitVec {width})))", f"(declare-rel reach ((_ BitVec {width})))"]
    lines += [f"(declare-rel guarded ((_ BitVec {width})))", "(declare-rel bad ())"]
    lines += [f"(declare-var {v} (_ BitVec {width}))" for v in "xy"]
    lines += [f"(rule (edge {bits(at)} {bits(t)}))" for at, ts in enumerate(to) for t in ts if at != gate]
    lines += [f"(rule (guarded {bits(at)}))" for at in guarded]
    lines += [f"(rule (reach {bits(0)}))", "(rule (=> (and (reach x) (edge x y)) (reach y)))"]
    lines += ["(rule (=> (and (reach x) (guarded x)) bad))", "(query bad)"]
    fixed = smt.Fixedpoint()
    fixed.set(engine="datalog")
    (query,) = fixed.parse_string("\n".join(lines))
    return bool(fixed.query(query) == smt.unsat)


def spin(to: Targets, gate: int, guarded: list[int]) -> bool:
    """A model checker: its verifier is written, compiled and run."""
    under = set(guarded)
    lines = ["int at = 0; bool passed = false;", "active proctype work() {", "  do"]
    for at, targets in enumerate(to):
        then = ("assert(passed); " if at in under else "") + ("passed = true; " if at == gate else "")
        lines += [f"  :: d_step {{ at == {at} -> {then}at = {t} }}" for t in targets]
        if not targets:
            lines.append(f"  :: at == {at} -> {then}break")
    lines += ["  od", "}"]
    with tempfile.TemporaryDirectory() as name:
        Path(name, "model.pml").write_text("\n".join(lines) + "\n", encoding="utf-8")
        for words in (["spin", "-a", "model.pml"], ["gcc", "-O0", "-DSAFETY", "-o", "pan", "pan.c"]):
            done = subprocess.run(words, cwd=name, capture_output=True, text=True, check=False)
            if done.returncode:
                raise RuntimeError(f"{words[0]} gave up: {(done.stdout + done.stderr).strip()[-200:]}")
        deep = str(10 * len(to) + 1000)
        told = subprocess.run(["./pan", f"-m{deep}"], cwd=name, capture_output=True, text=True, check=False).stdout
    if "error: max search depth" in told or "errors:" not in told:
        raise RuntimeError("the search was not complete")
    return "errors: 0" in told


TOOLS: dict[str, Callable[[Targets, int, list[int]], bool]] = {
    "own": own,
    "rustworkx": rustworkx,
    "networkx": networkx,
    "clingo": clingo,
    "z3": z3,
    "spin": spin,
}


def installed(tool: str) -> bool:
    """Whether the tool can be asked here."""
    if tool == "spin":
        return all(shutil.which(word) for word in ("spin", "gcc"))
    return tool == "own" or find_spec(tool) is not None


def asked(tool: str, graph: Path, limit: float) -> dict[str, Any]:
    """What a tool answers within the limit in seconds: seconds, mib, holds; or ``failed`` with the reason."""
    words = [sys.executable, __file__, tool, str(graph)]
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=limit, check=False)
    except subprocess.TimeoutExpired:
        return {"failed": f"more than {limit:.0f} s"}
    if done.returncode:
        return {"failed": ((done.stderr.strip() or "ended").splitlines()[-1])[:100]}
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def main() -> None:
    """Answer in this process."""
    from tests.benchmarks.measure import busy_s, peak_mib

    tool, (to, gate, guarded) = sys.argv[1], json.loads(Path(sys.argv[2]).read_text("utf-8"))
    ask = TOOLS[tool]
    ask([[1], [2], []], 1, [2])  # imports and first use are no part of the question
    seconds = []
    began = time.perf_counter()
    while not seconds or (len(seconds) < 5 and time.perf_counter() - began < 1):
        start = busy_s()
        holds = ask(to, gate, guarded)
        seconds.append(busy_s() - start)
    print(json.dumps({"seconds": sorted(seconds)[len(seconds) // 2], "mib": peak_mib(), "holds": holds}))


if __name__ == "__main__":
    main()
