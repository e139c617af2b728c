"""Views as a run gives them, made by hand: one for each thing that a screen must show. Values are invented.

As a program it shows one of them on the terminal: ``python tests/screen/looks.py warning``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from runner.core import act as acts
from runner.core.act import AnyAct
from runner.core.stamp import Stamp
from runner.core.view import CarPlan, CautionView, Field, Gauge, Line, Option, Timer, View

HEADLINE = "Pump the granted strokes, one beat each."
SPRAY = CautionView(
    word="WARNING", avoid="Keep your eyes out of the line of the nipple.",
    hazard="Fluid can spray from the nipple under pressure.", consequence="It can blind you.",
    key="4", state="owed", wait_s=2.4, act=acts.Confirm(hazard="spray", key="4"),
)  # fmt: skip
PAINT = CautionView(
    word="NOTICE", avoid="Do not let fluid touch paint.", hazard="Brake fluid dissolves paint.",
    consequence="The panel must be painted anew.", key="", state="together", wait_s=0,
)  # fmt: skip
SLIP = CautionView(
    word="CAUTION", avoid="Do not let the spanner slip.", hazard="The nipple is tight.",
    consequence="You can bruise your hand.", key="", state="together", wait_s=0,
)  # fmt: skip
CRUSH = CautionView(
    word="DANGER", avoid="Stay out from under a car that stands on a jack alone.",
    hazard="A jack lets go without notice.", consequence="The car will kill you.",
    key="8", state="owed", wait_s=0, act=acts.Confirm(hazard="crush", key="8"),
)  # fmt: skip
RESERVOIR = Gauge(
    name="reservoir", text="between 96 and 150 mL, MIN is 60 mL", least=0.48, most=0.75,
    marks=(("MIN", 0.3), ("MAX", 0.9)),
)  # fmt: skip
PLAN = CarPlan(now="RR", marks=(("RR", "wheel off, hose on"), ("LR", "wheel off")), steering="left")
REASONS = tuple(
    Option(key="", text=text, act=acts.Cannot(reason=text, way="stop"))
    for text in ("tool missing", "part seized", "no access", "weather", "time is up", "not understood")
)
MENU = (
    Option(key="", text="cannot do this as written", sub=REASONS),
    Option(key="", text="the car is not as you say", sub=REASONS),
    Option(key="", text="a finding", sub=REASONS),
    Option(key="", text="confirm again", act=acts.ConfirmAgain(path="pump")),
    Option(key="", text="done before, entered now", field=Field(
        what="the time when it was done", kind="time of day", base=acts.Done())),
    Option(key="", text="override", note="not allowed at this step"),
    Option(key="", text="far view", turn="far"),
    Option(key="", text="close the lid: leave the program, the run stays", turn="leave"),
)  # fmt: skip
DONE = Option(key="enter", text="done", act=acts.Done())

BASE = View(
    token="t1", title="Brake fluid exchange", revision="3", car="unit 7", by="KR",
    demonstration="DEMONSTRATION", section="right rear", where="pedal", step_n=12, steps=31, kind="do",
    headline=HEADLINE, text=(), short=("PUMP 6 STROKES", "ONE BEAT EACH"), big="", take=(), cautions=(), question="",
    options=(), field=None, enter=DONE, gauges=(), timers=(), plan=PLAN, because=(), alert=(), alert_kind="",
    group=(), trail=(
        Line(status="DONE", path="a", title="Push the hose on the nipple."),
        Line(status="N/A", path="b", title="Free a seized nipple.", note="it moved"),
        Line(status="DONE", path="c", title="Measure the disc.", note="22.4 mm, PASS"),
    ), ahead=(
        Line(status="NEXT", path="d", title="Look at the fluid.", hazards=("NOTICE: do not let fluid touch paint",)),
        Line(status="NEXT", path="e", title="Torque the nipple."),
        Line(status="NEXT", path="f", title="Put the cap on the nipple."),
    ), menu=MENU, readings=("disc 22.4 mm, PASS",), open_now=("hose on, RR", "reservoir cap off"),
    owed=(), speak="", head="41 9f2c61d0a7b3", ended=False,
)  # fmt: skip

LOOKS: dict[str, View] = {
    "do": BASE,
    "warning": replace(
        BASE, token="t2", kind="own caution", cautions=(SPRAY, replace(PAINT, state="later")), enter=None, big="4",
        question="WARNING: read it, then press the key that is printed in its text.",
        headline="Open the nipple by a quarter turn.", short=("WARNING", "PRESS 4"),
    ),
    "danger": replace(
        BASE, token="t3", kind="own caution", cautions=(CRUSH,), enter=None, big="8",
        headline="Lower the car on the stands.", short=("DANGER", "PRESS 8"),
    ),
    "cautions": replace(
        BASE, token="t4", kind="cautions", cautions=(SLIP, PAINT),
        enter=Option(key="enter", text="read: both", act=acts.ConfirmRest()),
    ),
    "reading": replace(
        BASE, token="t5", kind="read", headline="Measure the disc at its thinnest place.", section="left front",
        short=("MEASURE THE DISC", "THINNEST PLACE"), where="wheel", enter=None, plan=replace(PLAN, now="LF"),
        cautions=(replace(SLIP, state="confirmed"),), question="Read: thickness of the disc.", big="22.0 mm",
        text=("Limit: 22.0 mm or more (marked on the part)",),
        field=Field(
            what="thickness of the disc", kind="value", ways=(("vernier caliper", "mm"), ("micrometer", "mm")),
            limit="22.0 mm or more (marked on the part)", base=acts.Enter(typed=[]),
        ),
    ),
    "count": replace(
        BASE, token="t6", kind="grant", big="6", gauges=(RESERVOIR,), text=("6 strokes, then look at the reservoir.",),
        cautions=(replace(SPRAY, state="in effect", key=""),),
        enter=Option(key="enter", text="start: 6 strokes are granted", act=acts.Done()),
    ),
    "corner": replace(
        BASE, token="t7", kind="check", headline="Put the spanner on the nipple.", enter=None,
        question="At which corner is the spanner?", options=tuple(
            Option(key=key, text=text, act=acts.Answer(value=corner))
            for key, text, corner in (
                ("7", "LF left front", "LF"), ("9", "RF right front", "RF"),
                ("1", "LR left rear", "LR"), ("3", "RR right rear", "RR"),
            )
        ),
    ),
    "fail": replace(
        BASE, token="t8", kind="choose", headline="Decide what is done about the disc.", enter=None,
        alert=("FAIL: 21.7 mm is below 22.0 mm", "A new disc is needed, or the car stays here."), alert_kind="fail",
        because=("because: reading 21.7 mm < 22.0 mm",), question="What is done?",
        options=(Option(key="1", text="fit a new disc", act=acts.Answer(value="new")),
                 Option(key="2", text="measure again, with the micrometer", act=acts.Answer(value="again"))),
    ),
    "held": replace(
        BASE, token="t9", kind="held", headline="Close the nipple at the right rear.", enter=Option(
            key="enter", text="closed", act=acts.MadeSafe(condition="nipple_open@RR")),
        timers=(Timer(text="hold of the pedal", left_s=75),),
    ),
}  # fmt: skip


def stamp() -> Stamp:
    """A real moment, for the guard against held keys."""
    at = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return Stamp(at=at, mono=time.monotonic_ns(), boot="here")


def turning(views: list[View]) -> tuple[list[AnyAct], Callable[[AnyAct], View], Callable[[], View]]:
    """A caller in small: each act brings the next of the views, round and round."""
    done: list[AnyAct] = []

    def seen() -> View:
        view = views[len(done) % len(views)]
        return replace(view, token=f"{view.token}/{len(done)}", step_n=1 + len(done) % view.steps)

    def do(act: AnyAct) -> View:
        done.append(act)
        return seen()

    return done, do, seen


def main(names: list[str]) -> int:
    from runner.screen.app import Runner
    from runner.screen.surface import show

    _, do, peek = turning([LOOKS[name] for name in names])
    return show(Runner(peek(), do, peek, stamp))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or list(LOOKS)))
