"""Draws beyond what the pump gives: the owner's, that end by themselves, and those of a burst line.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults import burst_line
from analytics.judging.no_delivery import witness
from analytics.judging.reference import Reference
from analytics.judging.story import follow
from analytics.judging.watch import Claim
from analytics.plant.description import Measure, Plant
from analytics.readings import Readings
from analytics.records import Finding
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.traces import LPM

HOUR = 3600.0
BEGINS = 9.0 * HOUR


def told(plant: Plant, readings: Readings) -> list[Finding]:
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


def filling(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Half as much again as the pump gives, a quarter of an hour of each second hour from the third on."""
    rate = np.full(len(t), 9 * LPM)
    return np.where((t > 2 * HOUR) & (t % (2 * HOUR) < 900.0) & (t < BEGINS), 55 * LPM, rate)


@pytest.mark.parametrize("motor", [Measure.PUMP_CURRENT, Measure.PUMP_RUNNING])
def test_a_heavy_draw_that_ended_by_itself_is_the_owners_when_it_comes_again(motor: Measure) -> None:
    """Three more of them are passed over; a line that bursts after them, with thrice as much, is not."""
    broken = lambda s: 120 * LPM if BEGINS <= s < BEGINS + HOUR else 0.0  # noqa: E731
    trace = traces.Trace(demand=filling, motor=motor, burst_m3_s=broken)
    found = told(traces.plant(trace), traces.readings(trace, 11 * HOUR, seed=3))
    assert {finding.fault for finding in found} == {"burst_line"}
    late_s = [(finding.raised_us - traces.START_US) / 1e6 - BEGINS for finding in found]
    assert len([late for late in late_s if late < 0.0]) <= 1
    assert len([late for late in late_s if 0.0 <= late < 240.0]) == 1


def learned(**changes: object) -> Engine:
    demand = lambda rng, t: np.where(t % HOUR < 1200.0, 17 * LPM, 6 * LPM)  # noqa: E731
    trace = traces.Trace(demand=demand, **changes)  # type: ignore[arg-type]
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 20 * HOUR, seed=3))
    assert engine.judge.usual.draw_m3_s is not None
    return engine


def claims(engine: Engine, *looks: dict[str, object]) -> int:
    """How often a burst is claimed in looks each 10 s of a run, samples each 5 s."""
    judge, detector = engine.judge, burst_line.detector(engine.plant)
    usual, start_us = judge.usual, traces.START_US + int(20.1 * HOUR * 1e6)
    said = 0
    for k, changes in enumerate(looks):
        age_s = 300.0 + 10.0 * k
        shown: dict[str, object] = {
            "at_us": start_us + int(age_s * 1e6), "start_us": start_us, "age_s": age_s, "window_s": 20.0,
            "samples": 5, "entire": True, "interval_s": 5.0, "pressure_start_pa": usual.start_pa,
            "pressure_pa": 0.97 * usual.start_pa, "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0,
            "slope_pa_s": 0.0, "slope_first_m3_s": 0.45 * usual.delivery_m3_s, "slope_before_m3_s": 0.0,
            "noise_pa": 500.0, "motor_level": None, "flow_m3_s": None, "discharge_pa": None,
            "suction_pa": None, "slope_error_m3_s": 0.02 * usual.delivery_m3_s,
        }  # fmt: skip
        look = Look(**(shown | changes))  # type: ignore[arg-type]
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        said += len(detector.look(look, judge))
    return said


@pytest.mark.parametrize(("error", "bursts"), [(8.0, False), (0.1, True)])
def test_a_slope_within_its_error_is_no_draw(error: float, bursts: bool) -> None:
    """Where the tank runs out, or the gauge leaps, a line fitted through the samples says next to nothing."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level,
        "pressure_pa": 0.95 * usual.start_pa, "slope_m3_s": -1.2 * usual.delivery_m3_s,
        "slope_error_m3_s": error * usual.delivery_m3_s,
    }  # fmt: skip
    after = {**look, "pressure_pa": 0.85 * usual.start_pa}
    assert bool(claims(engine, *[look] * 3, *[after] * 2)) is bursts


@pytest.mark.parametrize(("before", "bursts"), [(1.3, True), (0.6, False)])
def test_more_than_the_delivery_at_rest_and_in_the_run_is_a_burst_before_a_large_tank_shows_it(
    before: float, bursts: bool
) -> None:
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    most = (usual.draw_m3_s or 0.0) / usual.delivery_m3_s
    assert 1.7 * most < 1.25
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level,
        "slope_m3_s": -0.3 * usual.delivery_m3_s, "slope_before_m3_s": -before * usual.delivery_m3_s,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 12)) is bursts


@pytest.mark.parametrize(("passes", "bursts"), [(1.6, True), (0.9, False)])
def test_a_meter_that_passes_more_than_a_pump_gives_shows_a_burst(passes: float, bursts: bool) -> None:
    """The contact closed late by its samples, so that the start seems to show a third of the delivery."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    usual = engine.judge.usual
    look = {
        "pressure_pa": 0.65 * usual.start_pa, "slope_first_m3_s": -0.7 * usual.delivery_m3_s,
        "slope_before_m3_s": -1.1 * usual.delivery_m3_s,
        "flow_m3_s": passes * usual.delivery_m3_s * 0.65**0.5,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 12)) is bursts


def collapse(usual: Reference, stands_at: float, passes: float) -> list[dict[str, object]]:
    """Looks at a tank that empties in seconds and a line that then stands at a share of cut-in: the meter
    passes a share of the delivery, the outlet stays at its shut-off head, the motor works."""
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level,
        "discharge_pa": 1.2 * usual.stop_pa, "slope_before_m3_s": -0.5 * usual.delivery_m3_s,
        "slope_first_m3_s": -3.5 * usual.delivery_m3_s,
    }  # fmt: skip
    falls = {
        **look, "pressure_pa": 0.98 * usual.start_pa, "slope_m3_s": -3.5 * usual.delivery_m3_s,
        "fall_m3_s": 3.5 * usual.delivery_m3_s, "flow_m3_s": 4.0 * usual.delivery_m3_s,
    }  # fmt: skip
    stands = {
        **look, "pressure_pa": stands_at * usual.start_pa, "flow_m3_s": passes * usual.delivery_m3_s
    }  # fmt: skip
    return [*[falls] * 2, *[stands] * 12]


@pytest.mark.parametrize("clogged", [True, False])
@pytest.mark.parametrize("passes", [0.75, 0.0])
def test_behind_a_clogged_filter_a_break_leaves_the_outlet_at_its_shut_off_head(
    clogged: bool, passes: float
) -> None:
    """The tank has emptied in seconds, and the meter passes what the filter leaves: nothing is shut."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    if clogged:
        engine.judge._ledger.hear([Claim("clogged_filter", traces.START_US, "medium", 0.9, "It clogs.")], 1)
    looks = collapse(usual, stands_at=0.15, passes=passes)
    assert bool(claims(engine, *looks)) is (clogged and passes > 0.0)


@pytest.mark.parametrize(("zone", "bursts"), [(0.9, False), (0.4, True)])
def test_behind_a_clogged_filter_a_zone_of_the_garden_is_no_break(zone: float, bursts: bool) -> None:
    """What taps of that draw pass at half the pressure, the meter shows, as long as the zone is watered."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    engine.judge._ledger.hear([Claim("clogged_filter", traces.START_US, "medium", 0.9, "It clogs.")], 1)
    usual = engine.judge.usual
    engine.judge._usual = replace(usual, draw_m3_s=zone * usual.delivery_m3_s)
    assert bool(claims(engine, *collapse(usual, stands_at=0.49, passes=0.7))) is bursts


@pytest.mark.parametrize(("interval_s", "bursts"), [(5.0, True), (100.0, False)])
def test_where_a_run_is_a_sample_a_draw_beyond_the_learned_delivery_is_no_burst(
    interval_s: float, bursts: bool
) -> None:
    """A filter may have clogged meanwhile: nobody sees it at that pace, and garden and house draw as ever."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level, "interval_s": interval_s,
        "pressure_pa": 0.85 * usual.start_pa, "slope_first_m3_s": None, "slope_before_m3_s": None,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 60)) is bursts


@pytest.mark.parametrize(("stands", "bursts"), [(0.67, True), (0.8, False)])
def test_where_a_line_stands_is_held_against_what_the_pump_lately_gives(stands: float, bursts: bool) -> None:
    """A sixth less than by its lesson, for nothing that is called: a break lets the same line stand lower."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    gives = usual.delivery_m3_s
    engine.judge._usual = replace(usual, now_m3_s=0.84 * gives, draw_m3_s=0.82 * gives)
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level, "interval_s": 30.0,
        "pressure_pa": stands * usual.start_pa, "slope_first_m3_s": None, "slope_before_m3_s": None,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 24)) is bursts


def test_what_no_house_has_taps_for_is_never_taken_for_the_owners() -> None:
    """A break of four times the delivery, mended within minutes, comes again."""
    broken = lambda s: 140 * LPM if s >= BEGINS - HOUR and s % HOUR < 900.0 else 0.0  # noqa: E731
    trace = traces.Trace(demand=traces.steady(9 * LPM), burst_m3_s=broken)
    found = told(traces.plant(trace), traces.readings(trace, BEGINS + 0.5 * HOUR, seed=3))
    assert [finding.fault for finding in found] == ["burst_line"] * 2
