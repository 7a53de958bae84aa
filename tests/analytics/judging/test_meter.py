"""A flow meter behind a tank that has lost its air."""

from __future__ import annotations

import pytest

from analytics.engine import Engine
from analytics.judging.brief import Brief
from analytics.judging.instruments import by_instruments, by_meter
from analytics.judging.watch import Claim
from analytics.plant.description import Measure
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.traces import PSI


def test_a_tank_without_air_tells_a_meter_no_dry_pump() -> None:
    """A second tap takes a third more than the pump gives: by the plate's air the tank gives it all."""
    judge = Engine(traces.plant()).judge
    usual = judge.usual
    q = usual.delivery_m3_s
    for k in range(24):
        brief = Brief(k, q, q, q, q, 0.05, 100.0, 0.0, 30 * PSI, 50 * PSI, 7.0, None)
        judge.signature.recent.append(brief)
        judge.signature.learned_runs, judge.signature.learned_us = 24, 1
    judge.signature.clean = {"kink_m3_s": judge.signature.now("kink_m3_s")}  # type: ignore[dict-item]
    judge.signature.recent = [
        Brief(k, 4 * q, 4 * q, 4 * q, 4 * q, 0.05, 25.0, 0.0, 30 * PSI, 50 * PSI, 7.0, None)
        for k in range(12)
    ]
    flow, falls = 4.0 / 3.0 * q, -4.0 * q / 3.0  # by the plate: four times the third that is missing
    look = Look(
        at_us=20_000_000, start_us=0, age_s=20.0, window_s=10.0, samples=10, entire=True, interval_s=1.0,
        pressure_start_pa=usual.start_pa, pressure_pa=40 * PSI, pressure_high_pa=45 * PSI,
        slope_m3_s=falls, slope_pa_s=0.0, slope_first_m3_s=falls, slope_before_m3_s=falls, noise_pa=500.0,
        motor_level=None, flow_m3_s=flow, discharge_pa=None, suction_pa=None,
    )  # fmt: skip
    judge.story.fastest_m3_s = 0.0
    assert by_meter(look, judge, usual, judge.story) == "dry"  # with all its air it would be
    judge._ledger.hear([Claim("short_cycling", 0, "high", 0.9, "", "lost_air_charge")], 1)
    as_it_is = judge._by_the_air(look)
    assert as_it_is.slope_m3_s == pytest.approx(falls / 4.0)
    assert by_meter(as_it_is, judge, judge.usual, judge.story) == "moves"


@pytest.mark.parametrize(("size", "says"), [(0.75, "dry"), (1.0, None)])
def test_a_tank_found_smaller_by_the_meter_in_its_lesson_gives_less_than_its_plate_says(
    size: float, says: str | None
) -> None:
    """Two thirds of the delivery run through the meter; by the plate the tank loses a third more."""
    judge = Engine(traces.plant()).judge
    usual = judge.usual
    judge.signature.tank_size = (size, 0.02)
    q = usual.now_m3_s
    look = Look(
        at_us=300_000_000, start_us=0, age_s=300.0, window_s=20.0, samples=10, entire=True, interval_s=2.0,
        pressure_start_pa=usual.start_pa, pressure_pa=40 * PSI, pressure_high_pa=45 * PSI,
        slope_m3_s=-0.85 * q, slope_pa_s=0.0, slope_first_m3_s=0.5 * q, slope_before_m3_s=-0.5 * q,
        noise_pa=500.0, motor_level=None, flow_m3_s=0.64 * q, discharge_pa=None, suction_pa=None,
    )  # fmt: skip
    judge.story.fastest_m3_s = 0.9 * q
    assert by_meter(look, judge, usual, judge.story) == says


@pytest.mark.parametrize(
    ("gains", "error", "samples", "says"),
    [
        (-0.95, 0.01, 10, "dry"),  # the tank gives what the meter passes, and that is sure
        (-0.95, 0.20, 4, None),  # a gauge so rough, or samples so few, tell nothing
        (0.05, 0.01, 10, "moves"),  # the tank fills beside the draw, whatever the pump is thought to give
    ],
)
def test_no_delivery_by_a_meter_is_beyond_the_errors_of_the_tank(
    gains: float, error: float, samples: int, says: str | None
) -> None:
    """A tenth of what the pump is thought to give runs through the meter, or, in the first two, all of it."""
    judge = Engine(traces.plant()).judge
    usual = judge.usual
    q = usual.now_m3_s
    look = Look(
        at_us=300_000_000, start_us=0, age_s=300.0, window_s=20.0, samples=samples, entire=True,
        interval_s=2.0, pressure_start_pa=usual.start_pa, pressure_pa=40 * PSI, pressure_high_pa=45 * PSI,
        slope_m3_s=gains * q, slope_pa_s=0.0, slope_first_m3_s=gains * q, slope_before_m3_s=gains * q,
        noise_pa=500.0, motor_level=None, flow_m3_s=q if gains < 0.0 else 0.09 * q, discharge_pa=None,
        suction_pa=None, slope_error_m3_s=error * q,
    )  # fmt: skip
    judge.story.fastest_m3_s = 0.9 * q
    assert by_meter(look, judge, usual, judge.story) == says


@pytest.mark.parametrize(
    ("kink", "slope", "flow", "says"),
    [
        (0.02, 0.0, 0.0, "shut"),  # nothing is passed on, nothing is stored: nothing is brought
        (0.95, 0.0, 0.0, "moves"),  # it began with its delivery: a meter that has died beside a steady draw
        (0.02, -1.2, 0.0, "moves"),  # the tank goes: a line may have burst before the meter
        (0.02, -0.5, 0.5, "moves"),  # somebody draws from the tank
    ],
)
def test_what_meter_and_tank_together_say_outweighs_a_motor_that_works_as_ever(
    kink: float, slope: float, flow: float, says: str
) -> None:
    """A jet pump's motor hardly minds what it moves: behind a closed valve it takes 0.97 of the usual."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge, usual = engine.judge, engine.judge.usual
    q, level = usual.now_m3_s, 0.97 * (usual.motor_level or 0.0)
    look = Look(
        at_us=300_000_000, start_us=0, age_s=60.0, window_s=20.0, samples=10, entire=True, interval_s=2.0,
        pressure_start_pa=usual.start_pa, pressure_pa=usual.start_pa, pressure_high_pa=usual.start_pa,
        slope_m3_s=slope * q, slope_pa_s=0.0, slope_first_m3_s=kink * q, slope_before_m3_s=0.0,
        noise_pa=200.0, motor_level=level, motor_now=level, flow_m3_s=flow * q, discharge_pa=None,
        suction_pa=None, slope_error_m3_s=0.02 * q,
    )  # fmt: skip
    judge.story.kink_share = kink
    assert by_instruments(look, judge, usual, judge.story) == says
