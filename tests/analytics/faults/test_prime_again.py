"""A pump that has its prime again says so, also by runs that end before they are sampled.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.engine import Engine
from analytics.plant.description import PressureTank
from analytics.records import Finding
from tests.analytics import traces
from tests.analytics.traces import LPM, PSI

HOUR = 3600.0
LOST = 6.2 * HOUR
TANK_M3 = 0.020  # it fills within some nine seconds


def told(lasts_s: float, hours: float) -> list[Finding]:
    trace = traces.Trace(
        volume_m3=TANK_M3,
        every_s=30.0,
        demand=lambda rng, t: 1.5 * LPM * (t % 1800.0 < 900.0),
        delivers=lambda s: 0.0 if LOST <= s < LOST + lasts_s else 1.0,
    )
    plant = traces.plant(trace, pressure_tank=PressureTank(TANK_M3, 28 * PSI))
    plant = replace(plant, pump=replace(plant.pump, min_run_time_s=5.0))
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(traces.readings(trace, hours * HOUR, seed=3)), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return [finding for finding in found.values() if finding.fault == "lost_prime"]


@pytest.mark.parametrize("lasts_s", [2 * HOUR, 20 * HOUR])
def test_runs_of_nine_seconds_clear_a_lost_prime_by_the_tank_they_leave_full(lasts_s: float) -> None:
    (found,) = told(lasts_s, 14.0)
    assert (found.cleared_us is not None) == (lasts_s < 8 * HOUR)
    if found.cleared_us is not None:
        assert (found.cleared_us - traces.START_US) / 1e6 - LOST - lasts_s < 3 * HOUR
