"""Small changes to a procedure, each of which may make it wrong in one way."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

from tests.oracle.edges import taken_out, targets
from tests.oracle.ordering import disordered
from tests.oracle.plan import Node, Plan, bodies, steps

Change = Callable[[Plan, Random], bool]
CHANGES: list[Change] = []


def change(make: Change) -> Change:
    """One of the changes; it says whether there was something to change."""
    CHANGES.append(make)
    return make


def spoil(plan: Plan, r: Random) -> None:
    """One change, of any kind that there is something for."""
    for make in r.sample(CHANGES, len(CHANGES)):
        if make(plan, r):
            break
    tidy(plan)


def ids(plan: Plan, body: list[Node]) -> list[str]:
    """Where a step of a body may lead."""
    return [n["id"] for n in body if "end" not in n or body is plan.body]


def any_step(plan: Plan, r: Random, fits: Callable[[Node], object]) -> tuple[Node, list[Node]] | None:
    """One of the steps that fit, and its body."""
    found = [(n, body) for body in bodies(plan) for n in body if "ways" in n and fits(n)]
    return r.choice(found) if found else None


def phases(plan: Plan) -> Iterator[Node]:
    """The phases of all beats."""
    return (p for n in steps(plan) if n.get("count") for p in n["count"]["beat"])


def plain(plan: Plan) -> list[str]:
    """The conditions without an index."""
    return [n for n, c in plan.conditions.items() if not c.get("index")]


@change
def drop_an_effect(plan: Plan, r: Random) -> bool:
    found = [(n, k) for n in (*steps(plan), *phases(plan)) for k in ("makes", "ends") if n[k]]
    if found:
        node, key = r.choice(found)
        node[key].pop()
    return bool(found)


@change
def add_an_effect(plan: Plan, r: Random) -> bool:
    r.choice(list(steps(plan)))[r.choice(("makes", "ends"))].append(r.choice(plain(plan)))
    return True


@change
def lead_an_edge_elsewhere(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: n["ways"])
    if chosen is not None:
        step, body = chosen
        value = r.choice(list(step["ways"]))
        step["ways"][value] = (r.choice(ids(plan, body)), *step["ways"][value][1:])
    return chosen is not None


@change
def swap_two_arms(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: len(n["ways"]) > 1)
    if chosen is not None:
        ways = chosen[0]["ways"]
        one, two = list(ways)[:2]
        ways[one], ways[two] = ways[two], ways[one]
    return chosen is not None


@change
def grant_an_override(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: "check" in n or "choice" in n or "count" in n)
    if chosen is not None:
        step, body = chosen
        step["override"] = r.choice(ids(plan, body))
    return chosen is not None


@change
def leave_a_step_undone(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: n["makes"] or n["ends"] or n.get("sets") or n.get("count") or r.random() < 0.2)
    if chosen is not None:
        step, body = chosen
        onward = next(iter(step["ways"].values()))[0]
        step["cannot"] = onward if r.random() < 0.6 else r.choice(ids(plan, body))
    return chosen is not None


@change
def leave_a_fill_undone(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: n.get("sets") and not n["needs"])
    if chosen is not None:
        chosen[0]["cannot"] = next(iter(chosen[0]["ways"].values()))[0]
    return chosen is not None


@change
def let_an_arm_end_something(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: len(n["ways"]) > 1 and n.get("subject", "gate") == "gate")
    if chosen is not None:
        ways = chosen[0]["ways"]
        value = r.choice(list(ways))
        ways[value] = (*ways[value][:2], [*ways[value][2], "a"])
    return chosen is not None


@change
def lead_a_bound_elsewhere(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: n.get("at_most") or n.get("count"))
    if chosen is not None:
        step, body = chosen
        if step.get("at_most"):
            step["at_most"] = (1, r.choice(ids(plan, body)))
        else:
            step["count"]["bound"] = r.choice(ids(plan, body))
    return chosen is not None


@change
def need_something(plan: Plan, r: Random) -> bool:
    name = r.choice(plain(plan))
    beats = list(phases(plan)) if r.random() < 0.4 else []
    r.choice(beats or list(steps(plan)))["needs"].append(r.choice((name, f"not {name}")))
    return True


@change
def drop_a_need(plan: Plan, r: Random) -> bool:
    found = [n["needs"] for n in (*steps(plan), *phases(plan)) if n["needs"]]
    if found:
        r.choice(found).pop()
    return bool(found)


@change
def do_something_unsaid(plan: Plan, r: Random) -> bool:
    """A deed whose duties are not restated."""
    names = [f"use_{n}" for n in plain(plan)] + (["pour"] if any(d["name"] == "pour" for d in plan.duties) else [])
    chosen = any_step(plan, r, lambda n: "look" not in n["id"])
    if chosen is not None:
        chosen[0]["deeds"].append(r.choice([*names, names[-1]]))
    return chosen is not None


@change
def unguard_a_draw(plan: Plan, r: Random) -> bool:
    moves = [n["moves"][0] for n in steps(plan) if n.get("moves")]
    moves += [n["count"]["draw"] for n in steps(plan) if n.get("count")]
    for move in r.sample(moves, min(1, len(moves))):
        move.pop("short", None)
    return bool(moves)


@change
def fix_a_corner(plan: Plan, r: Random) -> bool:
    every = (*steps(plan), *phases(plan))
    found = [(n, k, at) for n in every for k in ("makes", "ends", "needs") for at, t in enumerate(n[k]) if t in "nw"]
    if found:
        node, key, at = r.choice(found)
        node[key][at] += "@" + r.choice(("RR", "LF"))
    return bool(found)


@change
def need_another_corner(plan: Plan, r: Random) -> bool:
    blocks = [n for body in bodies(plan) for n in body if "each" in n and "w" in plan.conditions]
    for block in blocks:
        members = next(iter(plan.orders.values())) if isinstance(block["order"], str) else block["order"]
        inner = [n for n in block["body"] if "ways" in n and "w" not in n["makes"]]
        if inner:
            inner[-1]["needs"].append(f"w@{members[0]}")
            return True
    return False


@change
def rule_on_two_deeds(plan: Plan, r: Random) -> bool:
    told = [d for n in steps(plan) for d in n["deeds"]]
    if len(told) >= 2:
        one, two = r.sample(told, 2)
        plan.rules.append((r.choice(("only_after", "must_follow")), (f"deed {one}", f"deed {two}")))
    return len(told) >= 2


@change
def rule_on_the_end(plan: Plan, r: Random) -> bool:
    plan.rules.append(("at_end", (r.choice(plain(plan)),), r.random() < 0.5))
    return True


@change
def rule_on_openings(plan: Plan, r: Random) -> bool:
    """Nothing else is said against what stays open."""
    if {"o", "n"} <= plan.conditions.keys():
        plan.rules.append(("never_together", ("o", "n")))
    ended = [n for body in bodies(plan) if body is not plan.body for n in body if "n" in n.get("ends", ())]
    if ended and r.random() < 0.6:
        ended[0]["ends"].remove("n")
        plan.rules.append(("at_most_one", ("n",)))
        plan.carries.append("n")
        plan.conditions["n"]["if_left"] = "may stay"
    return {"o", "n"} <= plan.conditions.keys() or bool(ended)


@change
def drop_a_message(plan: Plan, r: Random) -> bool:
    chosen = any_step(plan, r, lambda n: n["cautions"])
    if chosen is not None:
        chosen[0]["cautions"].pop()
    return chosen is not None


@change
def shuffle_a_beat(plan: Plan, r: Random) -> bool:
    beats = [n["count"]["beat"] for n in steps(plan) if len((n.get("count") or {"beat": []})["beat"]) > 1]
    if beats:
        beat = r.choice(beats)
        beat.insert(1, beat.pop())
        for phase in beat if r.random() < 0.5 else ():
            phase["needs"].clear()
    return bool(beats)


@change
def ensure_something_else(plan: Plan, r: Random) -> bool:
    calls = [n for n in plan.body if "call" in n]
    for node in r.sample(calls, min(1, len(calls))):
        node["ensure"], node["skip"] = r.choice(plain(plan)), node["exits"]["ok"]
    return bool(calls)


@change
def swap_the_exits_of_a_call(plan: Plan, r: Random) -> bool:
    calls = [n for body in bodies(plan) for n in body if "call" in n]
    for node in r.sample(calls, min(1, len(calls))):
        node["exits"]["bad"] = node["exits"]["ok"]
    return bool(calls)


@change
def do_not_start_a_wait(plan: Plan, r: Random) -> bool:
    waits = [n for n in steps(plan) if n.get("starts")]
    for node in waits:
        node.pop("starts")
    return bool(waits)


@change
def ask_for_another_order(plan: Plan, r: Random) -> bool:
    return disordered(plan, r)


def tidy(plan: Plan) -> None:
    """Takes out what nothing leads to, and tests of what is never chosen."""
    for body in list(bodies(plan)):
        for n in body:
            if "each" in n and not any(t == "exit fault" for m in n["body"] for t in targets(m)):
                n["exits"] = {}
        while True:
            led = {t for n in body for t in targets(n)} | {body[0]["id"]}
            lost = [n for n in body if n["id"] not in led]
            if not lost:
                break
            for n in lost:
                taken_out(body, n)
    chosen = {n.get("as") for n in steps(plan)} | {*plan.modes, None, "gate"}
    for n in steps(plan):
        if n.get("subject") not in chosen:
            n["ways"] = {"": next(iter(n["ways"].values()))}
            n.pop("subject")
