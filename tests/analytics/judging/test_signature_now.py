"""What the newest runs say is worked out once for as long as the runs are the same."""

from __future__ import annotations

from analytics.judging.signature import Signature
from analytics.records import Cycle
from analytics.seeing.events import Run

LOW, HIGH, FLOW = 200_000.0, 340_000.0, 5e-4
MINUTE_US, BEGIN_US = 60_000_000, 1_900_000_000_000_000


def learn(signature: Signature, minute: int, run_time_s: float) -> None:
    stop_us = BEGIN_US + minute * MINUTE_US
    start_us = stop_us - int(run_time_s * 1e6)
    cycle = Cycle(start_us, stop_us, run_time_s, 3600.0, LOW, HIGH, 0.02, FLOW, FLOW, 0.0, FLOW, 4.0)
    run = Run(stop_us, cycle, True, 1.0, 0.0, FLOW, 0.0, pressure_low_pa=LOW, pressure_high_pa=HIGH)
    signature.learn(run, True, 0.5 * (HIGH - LOW))


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


def test_nothing_from_before_a_repair_is_said_after_it() -> None:
    signature = Signature()
    for hour in range(8):
        learn(signature, 60 * hour, 60.0)
    assert signature.now("run_time_s", 4, hourly=True) is not None
    assert signature.now("run_time_s", 6) is not None
    signature.repaired()
    assert signature.now("run_time_s", 4, hourly=True) is None
    assert signature.now("run_time_s", 6) is None
