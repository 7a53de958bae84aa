"""Breaks of little more than the pump gives, and pumps that lose their water while somebody draws.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judging.story import fell_fast
from analytics.plant.description import Measure, Plant
from analytics.readings import Readings
from analytics.records import Finding
from tests.analytics import traces
from tests.analytics.faults.test_heavy_draws import claims, learned
from tests.analytics.traces import LPM

HOUR = 3600.0
BEGINS = 20.1 * HOUR


def told(plant: Plant, readings: Readings) -> list[Finding]:
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


def late_s(finding: Finding) -> float:
    return (finding.raised_us - traces.START_US) / 1e6 - BEGINS


def from_then(value: float, before: float) -> Callable[[float], float]:
    return lambda s: value if s >= BEGINS else before


def garden(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Half of the delivery for twenty minutes of each hour, a sixth in the others."""
    return np.where(t % HOUR < 1200.0, 17 * LPM, 6 * LPM)


@pytest.mark.parametrize(("stands", "bursts"), [(0.8, True), (0.95, False)])
def test_a_break_of_a_third_more_than_the_pump_gives_shows_by_a_contact_alone(
    stands: float, bursts: bool
) -> None:
    """Twice what was ever drawn, and the line stands where only a pump holds it with the tank run out."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    usual = engine.judge.usual
    look = {"pressure_pa": stands * usual.start_pa, "slope_first_m3_s": 0.0}
    runs_out = {**look, "slope_m3_s": -1.5 * usual.delivery_m3_s}
    assert bool(claims(engine, *[runs_out] * 2, *[look] * 12)) is bursts


@pytest.mark.parametrize("rated", [1.0, 1.6])
def test_where_the_line_stands_shows_a_break_whatever_the_plates_say(rated: float) -> None:
    """A plate that promises half as much again, or a tank smaller than its plate: the ratio is the same."""
    trace = traces.Trace(demand=garden, every_s=60.0, burst_m3_s=from_then(38 * LPM, 0.0))
    plant = traces.plant(trace)
    pump = replace(plant.pump, rated_flow_m3_s=rated * (plant.pump.rated_flow_m3_s or 0.0))
    found = told(replace(plant, pump=pump), traces.readings(trace, BEGINS + 0.5 * HOUR, seed=3))
    assert [finding.fault for finding in found] == ["burst_line"]


@pytest.mark.parametrize(("lifted", "bursts"), [(0.0, True), (0.5, False)])
def test_what_left_before_the_pump_filled_the_tank_again_is_no_break(lifted: float, bursts: bool) -> None:
    """Twice the delivery leaves; then pressure is lifted through half the band, by looks that nobody needed;
    then it lies below cut-in once more."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level,
        "pressure_pa": 0.95 * usual.start_pa, "slope_m3_s": -1.2 * usual.delivery_m3_s,
    }  # fmt: skip
    high_pa = usual.start_pa + lifted * usual.band_pa
    after = {**look, "pressure_pa": 0.85 * usual.start_pa, "pressure_high_pa": high_pa, "slope_m3_s": 0.0}
    assert bool(claims(engine, *[look] * 3, after)) is bursts


@pytest.mark.parametrize(("works", "bursts"), [(0.97, True), (0.87, False)])
def test_a_pump_that_runs_out_into_an_empty_line_works_as_usual(works: float, bursts: bool) -> None:
    """At its shut-off head, behind a closed valve, a motor's current may stand at 0.87 of the usual, and the
    tank that people draw from goes down more slowly than into any break that leaves the line empty."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    level = works * (usual.motor_level or 0.0)
    look = {
        "motor_level": level, "motor_now": level, "pressure_pa": 0.95 * usual.start_pa,
        "slope_m3_s": -0.6 * usual.delivery_m3_s,
    }  # fmt: skip
    empty = {**look, "pressure_pa": 0.02 * usual.start_pa, "slope_m3_s": 0.0}
    assert bool(claims(engine, *[look] * 3, *[empty] * 6)) is bursts


@pytest.mark.parametrize(("looks", "fast"), [(1, False), (2, True)])
def test_the_slope_of_one_look_that_meets_the_tanks_emptying_is_no_fall(looks: int, fast: bool) -> None:
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    level = usual.motor_level
    look = {"motor_level": level, "motor_now": level, "pressure_pa": 0.95 * usual.start_pa}
    slow = {**look, "slope_m3_s": -0.3 * usual.delivery_m3_s}
    away = {**look, "slope_m3_s": -12.0 * usual.delivery_m3_s, "slope_error_m3_s": usual.delivery_m3_s}
    claims(engine, *[slow] * 2, *[away] * looks)
    assert fell_fast(engine.judge.story, usual) is fast
