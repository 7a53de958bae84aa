"""A flow meter that gives a pulse for so many litres, read as a flow: mostly nothing, now and then much."""

from __future__ import annotations

import numpy as np

from analytics.readings import Readings
from tests.analytics import traces
from tests.analytics.faults.test_pump_runs import CONTACT, HOUR, STEADY, draws, named, told

PULSE_M3, EVERY_S = 0.008, 2.0
#: An hour in which a zone draws nearly what the pump gives in the middle of the band, from within a run on.
ZONE = draws((0.0, 12.0), (4.55, 30.0), (5.5, 12.0))


def pulsed(readings: Readings) -> Readings:
    """Each word of the meter is what came in whole pulses since the word before."""
    flow = readings.signal == 2
    passed_m3 = np.cumsum(readings.value[flow]) * EVERY_S
    pulses = np.diff(np.floor(passed_m3 / PULSE_M3), prepend=0.0)
    value = readings.value.copy()
    value[flow] = pulses * PULSE_M3 / EVERY_S
    return Readings(readings.signal, readings.time_us, value)


def test_a_pump_that_a_zone_stands_against_is_not_dry_by_a_meter_that_pulses() -> None:
    trace = traces.Trace(demand=ZONE, motor=CONTACT, every_s=EVERY_S, extra={"flow": 1.0})
    readings = pulsed(traces.readings(trace, 8 * HOUR, seed=3))
    words = readings.value[readings.signal == 2]
    assert 0.0 < np.count_nonzero(words) < 0.3 * len(words)
    assert named(told(traces.plant(trace), readings)) == []


def test_prime_that_is_lost_while_water_is_drawn_is_told_by_it() -> None:
    trace = traces.Trace(
        demand=STEADY, motor=CONTACT, every_s=EVERY_S, extra={"flow": 1.0},
        delivers=lambda s: 0.0 if s >= 5.0 * HOUR else 1.0,
    )  # fmt: skip
    found = told(traces.plant(trace), pulsed(traces.readings(trace, 7 * HOUR, seed=3)))
    assert named(found) == [("lost_prime", None)]
