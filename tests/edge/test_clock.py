import time

import pytest

from runner.core.canonical import SAFE
from runner.core.stamp import MS, SECOND, Stamp, all_times, elapsed
from runner.edge import clock as module
from runner.edge.clock import DEMO_START, FixedClock, ShiftedClock, SteppedClock, SystemClock


def test_the_system_clock_says_when_now_is():
    clock = SystemClock()
    one, two = clock.now(), clock.now()
    assert all_times([one.at, two.at])
    assert abs(module.at_ms(one.at) - time.time_ns() // MS) < 5_000
    assert one.boot == two.boot
    assert two.mono >= one.mono
    assert not elapsed(one, two).doubtful


def test_another_process_sees_the_same_start_of_the_machine():
    assert SystemClock().now().boot == SystemClock().now().boot


def test_where_the_start_of_the_machine_cannot_be_told_each_process_stands_for_itself(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "_BOOT_ID", tmp_path / "none")
    assert SystemClock().now().boot != SystemClock().now().boot


def test_a_machine_that_is_up_for_104_days_begins_a_new_count_that_can_be_recorded(monkeypatch):
    clock = SystemClock()
    monkeypatch.setattr(time, "clock_gettime_ns", lambda _: SAFE)
    before = clock.now()
    monkeypatch.setattr(time, "clock_gettime_ns", lambda _: SAFE + 1 + SECOND)
    after = clock.now()
    assert (before.mono, after.mono) == (SAFE, SECOND)
    assert after.boot == f"{before.boot}+1"
    assert not elapsed(before, after).doubtful


def test_a_fixed_clock_stands_still():
    clock = FixedClock()
    assert clock.now() == clock.now() == Stamp("2026-01-01T08:00:00.000Z", 0, "demo-boot")


@pytest.mark.parametrize("step", [SECOND, 1_500 * MS, MS // 3])
def test_a_stepped_clock_moves_both_counts_alike(step):
    clock = SteppedClock(step_ns=step)
    stamps = [clock.now() for _ in range(50)]
    assert stamps[0] == DEMO_START
    assert not elapsed(stamps[0], stamps[-1]).doubtful
    assert elapsed(stamps[0], stamps[-1]).at_least_ns == 49 * step


def test_a_stepped_clock_can_let_a_wait_pass():
    clock = SteppedClock()
    before = clock.now()
    clock.advance(12 * 3_600 * SECOND)
    assert elapsed(before, clock.now()).at_least_ns == (12 * 3_600 + 1) * SECOND


def test_a_shifted_clock_runs_on_from_its_own_start_like_the_other() -> None:
    other = SteppedClock(Stamp(at="2030-05-05T05:05:05.000Z", mono=77, boot="other"), 1_500_000_000)
    shifted = ShiftedClock(other, DEMO_START)
    first, second = shifted.now(), shifted.now()
    assert (first.at, first.mono, first.boot) == ("2026-01-01T08:00:01.500Z", 1_500_000_000, DEMO_START.boot)
    assert second.mono - first.mono == 1_500_000_000
