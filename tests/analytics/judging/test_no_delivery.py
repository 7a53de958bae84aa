"""An outlet gauge at shut-off beside a line at cut-in: a closed valve moves nothing, a clog lets some by."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judging.instruments import by_drop
from analytics.judging.no_delivery import witness
from analytics.judging.supply import storage_low
from analytics.judging.watch import Claim
from analytics.readings import Readings
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


def test_one_zero_of_a_level_is_no_empty_storage() -> None:
    """Gauges drop to nothing for a lone word; three in a row are a level."""
    trace = traces.Trace(extra={"level": 1.5})
    readings = traces.readings(trace, 1200.0)
    plain = Engine(traces.plant(trace))
    plain.feed(readings)
    plain.finish()
    asked_us = plain.judge._now_us  # of the last event
    level = np.flatnonzero((readings.signal == 2) & (readings.time_us <= asked_us))
    for zeros, low in ((1, False), (3, True)):
        value = readings.value.copy()
        value[level[-zeros:]] = 0.0
        engine = Engine(traces.plant(trace))
        engine.feed(Readings(readings.signal, readings.time_us, value))
        engine.finish()
        assert storage_low(engine.judge) is low


@pytest.mark.parametrize(("drop_psi", "moves"), [(2.0, False), (7.0, True)])
def test_an_outlet_that_stands_above_the_line_is_a_head(drop_psi: float, moves: bool) -> None:
    """No clean run has told its drop yet; a pump without water holds nothing above the line."""
    judge = Engine(traces.plant(traces.Trace(extra={"discharge": 1.0}))).judge
    usual = judge.usual
    line_pa = usual.start_pa - 0.3 * usual.band_pa
    look = Look(
        at_us=90_000_000, start_us=0, age_s=90.0, window_s=20.0, samples=20, entire=True, interval_s=1.0,
        pressure_start_pa=usual.start_pa, pressure_pa=line_pa, pressure_high_pa=usual.start_pa,
        slope_m3_s=0.0, slope_pa_s=0.0, slope_first_m3_s=None, slope_before_m3_s=None, noise_pa=500.0,
        motor_level=None, flow_m3_s=None, discharge_pa=line_pa + drop_psi * traces.PSI, suction_pa=None,
        filter_drop_pa=drop_psi * traces.PSI,
    )  # fmt: skip
    assert (by_drop(look, judge, usual) == "moves") is moves
