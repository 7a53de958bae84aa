"""What the newest runs say is worked out once for as long as the runs are the same."""

from __future__ import annotations

import pytest

from analytics.judging.signature import Signature
from analytics.records import Cycle
from analytics.seeing.events import Run

LOW, HIGH, FLOW = 200_000.0, 340_000.0, 5e-4
MINUTE_US, BEGIN_US = 60_000_000, 1_900_000_000_000_000


def learn(
    signature: Signature,
    minute: int,
    run_time_s: float,
    drawn: float = 0.0,
    grown: float | None = 1.0,
    healthy: bool = True,
    tank_sound: bool = True,
) -> None:
    """A run, the draw beside it, and how much more than its delivery it shows (None: no kink is seen)."""
    stop_us = BEGIN_US + minute * MINUTE_US
    start_us = stop_us - int(run_time_s * 1e6)
    kink = FLOW * grown if grown is not None else None
    cycle = Cycle(start_us, stop_us, run_time_s, 3600.0, LOW, HIGH, 0.02, kink, kink, drawn, kink, 4.0)
    run = Run(stop_us, cycle, True, 1.0, -drawn, FLOW, -drawn, pressure_low_pa=LOW, pressure_high_pa=HIGH)
    signature.learn(run, healthy, 0.5 * (HIGH - LOW), tank_sound)


def test_runs_an_hour_apart_say_the_same_until_the_next_hour() -> None:
    signature = Signature()
    for hour in range(8):
        learn(signature, 60 * hour, 60.0 + hour)
    hourly, newest = signature.now("run_time_s", 3, hourly=True), signature.now("run_time_s", 3)
    assert hourly is not None
    assert hourly.middle == 66.0
    assert newest == hourly
    learn(signature, 430, 90.0)
    assert signature.now("run_time_s", 3, hourly=True) is hourly
    newest = signature.now("run_time_s", 3)
    assert newest is not None
    assert newest.middle == 67.0
    learn(signature, 480, 95.0)
    later = signature.now("run_time_s", 3, hourly=True)
    assert later is not None
    assert later.middle == 67.0


@pytest.mark.parametrize(("grown", "learned"), [(4.0, 0.8), (1.1, 0.8)])
def test_a_draw_seen_by_a_tank_short_of_air_is_no_larger_than_it_was(grown: float, learned: float) -> None:
    """Each flow looks four times as large, the pump's kink as well; a tenth more is a kink's own error."""
    signature = Signature()
    for hour in range(24):
        learn(signature, 60 * hour, 60.0, drawn=0.5 * FLOW)
    for hour in range(24, 32):
        learn(signature, 60 * hour, 15.0, drawn=learned * FLOW * (grown if grown > 1.3 else 1.0), grown=grown)
    assert signature.largest_draw_m3_s() == pytest.approx(learned * FLOW, rel=1e-6)


def test_a_draw_beside_a_fault_is_passed_over_where_no_kink_tells_of_the_air() -> None:
    signature = Signature()
    for hour in range(24):
        learn(signature, 60 * hour, 60.0, drawn=0.5 * FLOW)
    for hour in range(24, 32):
        learn(signature, 60 * hour, 15.0, drawn=9.0 * FLOW, grown=None, healthy=False)
    assert signature.largest_draw_m3_s() == pytest.approx(0.5 * FLOW)


@pytest.mark.parametrize("tank_sound", [True, False])
def test_what_a_tank_that_is_not_sound_runs_out_by_is_no_draw(tank_sound: bool) -> None:
    """Charged above cut-in it collapses before each start: so fast it fell, and nobody drew that."""
    signature = Signature()
    for hour in range(24):
        learn(signature, 60 * hour, 60.0, drawn=0.5 * FLOW)
    for hour in range(24, 32):
        learn(signature, 60 * hour, 15.0, drawn=2.0 * FLOW, healthy=False, tank_sound=tank_sound)
    assert signature.largest_draw_m3_s() == pytest.approx((2.0 if tank_sound else 0.5) * FLOW)
    assert signature.fastest_fall_m3_s() == pytest.approx(2.0 * FLOW)


def test_nothing_from_before_a_repair_is_said_after_it() -> None:
    signature = Signature()
    for hour in range(8):
        learn(signature, 60 * hour, 60.0)
    assert signature.now("run_time_s", 4, hourly=True) is not None
    assert signature.now("run_time_s", 6) is not None
    signature.repaired()
    assert signature.now("run_time_s", 4, hourly=True) is None
    assert signature.now("run_time_s", 6) is None
