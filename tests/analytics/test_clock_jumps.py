"""Clocks that are put right, or that follow summer time, and sagging mains: no fault of anything."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.readings import Readings
from tests.analytics import traces

sys.path.insert(0, str(Path(__file__).parent / "faults"))
from holding import DAY_S, START_US, Holding, told

HOUR_S = 3600.0


@pytest.mark.parametrize("every_s", [10.0, 60.0])
@pytest.mark.parametrize("by_s", [5 * HOUR_S, -5 * HOUR_S, HOUR_S, -HOUR_S, 600.0])
def test_everybodys_clock_jumps_in_the_afternoon(by_s: float, every_s: float) -> None:
    holding = Holding(every_s=every_s, motor_every_s=every_s, demand_m3_s=4e-5)
    readings = holding.readings(4.0)
    after = readings.time_us >= START_US + int(1.6 * DAY_S * 1e6)
    time_us = np.where(after, readings.time_us + int(by_s * 1e6), readings.time_us)
    assert told(Engine(holding.plant()).feed(Readings.of(readings.signal, time_us, readings.value))) == []


def test_sagging_mains_are_the_mains() -> None:
    """Each evening the voltage sags by a tenth, current and head fall for three hours: nothing is wrong."""

    def evening(seconds: float) -> bool:
        return 17.0 < (seconds % DAY_S) / HOUR_S < 20.0

    trace = traces.Trace(
        demand=traces.household,
        step_s=1.0,
        sag=lambda s: 0.9 if evening(s) else 1.0,
        shut_off_pa=lambda s: (0.95 if evening(s) else 1.0) * 75 * traces.PSI,
    )
    assert told(Engine(traces.plant(trace)).feed(traces.readings(trace, 4 * DAY_S, seed=4))) == []
