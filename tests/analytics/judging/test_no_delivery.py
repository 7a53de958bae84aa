"""An outlet gauge at shut-off beside a line at cut-in: a closed valve moves nothing, a clog lets some by."""

from __future__ import annotations

import pytest

from analytics.engine import Engine
from analytics.judging.no_delivery import witness
from analytics.judging.supply import storage_low
from analytics.judging.watch import Claim
from analytics.seeing.events import Look
from tests.analytics import traces


@pytest.mark.parametrize(("moves", "shut"), [(0.0, True), (0.05, True), (0.25, False), (0.4, False)])
def test_what_moves_at_the_start_speaks_before_the_outlet_gauge(moves: float, shut: bool) -> None:
    judge = Engine(traces.plant()).judge
    usual = judge.usual
    drawn = 0.3 * usual.delivery_m3_s
    slope = moves * usual.delivery_m3_s - drawn
    look = Look(
        at_us=20_000_000, start_us=0, age_s=20.0, window_s=10.0, samples=10, entire=True, interval_s=1.0,
        pressure_start_pa=usual.start_pa, pressure_pa=usual.start_pa, pressure_high_pa=usual.start_pa,
        slope_m3_s=slope, slope_pa_s=0.0, slope_first_m3_s=slope, slope_before_m3_s=-drawn, noise_pa=500.0,
        motor_level=None, flow_m3_s=None, discharge_pa=usual.stop_pa + 0.5 * usual.band_pa, suction_pa=None,
    )  # fmt: skip
    seen = witness(look, judge)
    assert seen is not None
    assert seen.shut is shut


def test_a_level_that_is_not_believed_says_nothing_of_the_storage() -> None:
    trace = traces.Trace(extra={"level": 1.5})
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 600.0))
    assert storage_low(engine.judge) is False
    engine.judge._ledger.hear([Claim("sensor_fault", 0, "low", 0.9, "", "stuck", "level")], 1)
    assert storage_low(engine.judge) is None
