"""The pump-run faults on traces of a second physics: silent when healthy, each called by its own name and
by no other, whatever gaps and drop-outs there are.

Traces come from `tests.analytics.traces` (Boyle's law and a pump curve), not from the simulator.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.plant.description import Measure
from analytics.readings import Readings
from analytics.records import Finding
from tests.analytics import traces

DAY_S = 86_400.0
BEGIN_S = 2 * DAY_S + 5.5 * 3600.0  # within the drip line's hours: the pump has work
PSI, GAL, LPM = traces.PSI, traces.GAL, traces.LPM


def for_hours(hours: float, value: float, otherwise: float) -> object:
    return lambda s: value if BEGIN_S <= s < BEGIN_S + hours * 3600.0 else otherwise


def since(value: float, otherwise: float) -> object:
    return traces.after(BEGIN_S, value, otherwise)


#: fault, cause, what to change in the trace, most hours from onset to call
CASES = {
    "lost air": ("short_cycling", "lost_air_charge", {"charge_pa": since(0.0, 28 * PSI)}, 3.0),
    "waterlogged": ("short_cycling", "lost_air_charge", {"volume_m3": since(4.4 * GAL, 44 * GAL)}, 3.0),
    "narrow band": ("short_cycling", "narrow_switch_band", {"cut_out_pa": since(36 * PSI, 50 * PSI)}, 6.0),
    "chatter": ("short_cycling", "switch_chatter", {"chatter": for_hours(2, 1.0, 0.0)}, 2.0),
    "lost prime": ("lost_prime", None, {"delivers": for_hours(2, 0.0, 1.0)}, 1.5),
    "burst": ("burst_line", None, {"burst_m3_s": for_hours(1, 60 * LPM, 0.0)}, 2.0 / 60 + 0.02),
    "stuck switch": ("overpressure", "switch_stuck", {"stuck": for_hours(2, 1.0, 0.0)}, 2.0),
    "clog": ("clogged_filter", None, {"clog": since(10.0, 1.0)}, 40.0),
    "wear": ("pump_wear", None, {"shut_off_pa": since(60 * PSI, 75 * PSI)}, 40.0),
    "switch moved": ("switch_drift", None, {"cut_out_pa": since(45 * PSI, 50 * PSI)}, 30.0),
}


@cache
def integrated(case: str) -> dict[str, np.ndarray]:
    """What happens: the same whatever the sensors are."""
    return traces.run(traces.Trace(**CASES[case][2] if case in CASES else {}), 4 * DAY_S, seed=5)


@cache
def recorded(
    case: str, every_s: float = 1.0, motor: Measure = Measure.PUMP_CURRENT
) -> tuple[object, Readings]:
    changes = CASES[case][2] if case in CASES else {}
    trace = traces.Trace(every_s=every_s, motor=motor, **changes)
    return traces.plant(trace), traces.readings(trace, 4 * DAY_S, seed=5, true=integrated(case))


def told(plant: object, chunks: list[Readings]) -> dict[tuple[str, str, int], Finding]:
    engine, found = Engine(plant), {}
    for outcome in [*map(engine.feed, chunks), engine.finish()]:
        found |= {finding.key: finding for finding in outcome.findings}
    return found


@pytest.mark.parametrize("every_s", [1.0, 10.0])
@pytest.mark.parametrize("motor", [Measure.PUMP_CURRENT, Measure.PUMP_RUNNING])
def test_says_nothing_of_a_healthy_plant(every_s: float, motor: Measure) -> None:
    assert not told(*_chunked("healthy", every_s, motor))


def _chunked(
    case: str, every_s: float = 1.0, motor: Measure = Measure.PUMP_CURRENT
) -> tuple[object, list[Readings]]:
    plant, readings = recorded(case, every_s, motor)
    return plant, [readings]


@pytest.mark.parametrize("case", CASES)
def test_calls_a_fault_by_its_name_and_nothing_else(case: str) -> None:
    fault, cause, _, most_hours = CASES[case]
    found = told(*_chunked(case))
    assert [(f.fault, f.cause) for f in found.values()] == [(fault, cause)]
    finding = next(iter(found.values()))
    delay_h = (finding.raised_us - traces.START_US) / 3.6e9 - BEGIN_S / 3600.0
    assert 0.0 < delay_h < most_hours


@pytest.mark.parametrize("case", ["chatter", "lost prime", "burst", "stuck switch"])
def test_clears_what_is_over(case: str) -> None:
    assert all(f.cleared_us is not None for f in told(*_chunked(case)).values())


def test_gaps_nan_and_zero_drop_outs_raise_nothing() -> None:
    plant, readings = recorded("healthy")
    rng = np.random.default_rng(3)
    value = readings.value.copy()
    bad = rng.choice(len(value), 300, replace=False)
    value[bad[:100]] = np.nan
    pressure = bad[100:][readings.signal[bad[100:]] == 0]
    value[pressure[::2]] = 0.0
    value[pressure[1::2]] = 655.33 * PSI
    keep = np.ones(len(value), dtype=bool)
    for gap in (0.3, 0.55, 0.8):
        keep[int(gap * len(value)) : int(gap * len(value)) + 20_000] = False
    spoiled = Readings(readings.signal, readings.time_us, value)[keep]
    before = spoiled.value.copy()
    found = told(plant, [spoiled])
    assert not [f for f in found.values() if f.fault != "sensor_fault"]
    np.testing.assert_array_equal(spoiled.value, before)


def test_state_does_not_grow() -> None:
    plant, readings = recorded("healthy")
    engine, sizes = Engine(plant), []
    for part in range(8):
        engine.feed(readings[part * len(readings) // 8 : (part + 1) * len(readings) // 8])
        sizes.append(len(engine.snapshot()))
    assert max(sizes[4:]) < 1.5 * max(sizes[:4])
    assert max(sizes) < 200_000
