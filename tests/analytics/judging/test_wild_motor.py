"""A motor meter whose words leap about beside a pressure that rests, and healthy words that lie between."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.records import Finding
from tests.analytics import traces
from tests.analytics.faults.test_dry_or_burst import HOUR, draws, names, told

DRAWS = draws(*[step for hour in range(60) for step in ((hour, 12.0), (hour + 0.1, 0.0))])
WILD_S = 30 * HOUR


def heard(every_s: float, wild: bool, means: bool = False) -> list[Finding]:
    trace = traces.Trace(demand=DRAWS, every_s=every_s)
    true = traces.run(trace, 60 * HOUR, seed=5)
    if means:  # a meter that gives the mean of its interval
        step = int(every_s / trace.step_s)
        true["amps"] = np.convolve(true["amps"], np.full(step, 1.0 / step))[: len(true["amps"])]
    if wild:
        late = true["t"] >= WILD_S
        true["amps"][late] = np.random.default_rng(7).uniform(0.0, 1.5 * trace.amps, late.sum())
    return told(traces.plant(trace), traces.readings(trace, 0.0, 5, true))


@pytest.mark.parametrize("every_s", [10.0, 60.0])
def test_a_motor_meter_gone_wild_is_named_and_not_the_pump_each_hour(every_s: float) -> None:
    found = heard(every_s, wild=True)
    ill = [finding for finding in found if finding.fault == "sensor_fault"]
    assert [(one.of, one.cause) for one in ill] == [("motor", "implausible")]
    assert ill[0].cleared_us is None
    assert (ill[0].raised_us - traces.START_US) / 1e6 < WILD_S + 3 * HOUR
    assert len(found) <= 4  # what was said before the meter was doubted


@pytest.mark.parametrize("means", [False, True])
def test_runs_of_a_healthy_motor_convict_no_meter(means: bool) -> None:
    assert names(heard(60.0, wild=False, means=means)) == []
