"""What a start shows by pressure and a contact alone: no gain, a zone that opened just then, a burst."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judge import Judge
from analytics.judging.no_delivery import false_start, witness
from analytics.judging.story import follow
from analytics.judging.worked_out import Story
from analytics.plant.description import Measure, PressureTank
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.traces import LPM, PSI


@cache
def _learned() -> Judge:
    """A house that draws a third of the delivery at most."""
    demand = lambda rng, t: np.where(t % 1800.0 < 600.0, 12 * LPM, 2 * LPM)  # noqa: E731
    trace = traces.Trace(demand=demand, motor=Measure.PUMP_RUNNING)
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 24 * 3600.0, seed=3))
    usual = engine.judge.usual
    assert usual.draw_m3_s is not None
    assert usual.draw_m3_s < 0.6 * usual.now_m3_s
    return engine.judge


def _idle(*ages_s: float, drawn: float | None = None, **said: object) -> bool:
    """Whether the last of looks of those ages into a run, samples each 2 s, finds that no water moves.
    `drawn`: the largest draw that is known, over the delivery."""
    judge = _learned()
    judge._usual = None
    usual, q = judge.usual, judge.usual.now_m3_s
    if drawn is not None:
        judge._usual = usual = dataclasses.replace(usual, draw_m3_s=drawn * q)
    shares = {name: share for name, share in said.items() if name.endswith("_q")}
    shown: dict[str, object] = {
        "at_us": 0, "start_us": 10**12, "age_s": 0.0, "window_s": 20.0, "samples": 10, "entire": True,
        "interval_s": 2.0, "pressure_start_pa": usual.start_pa, "pressure_pa": usual.start_pa,
        "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0, "slope_pa_s": 0.0, "slope_first_m3_s": 0.0,
        "slope_before_m3_s": 0.0, "noise_pa": 200.0, "motor_level": None, "flow_m3_s": None,
        "discharge_pa": None, "suction_pa": None, "slope_error_m3_s": 0.01 * q,
    }  # fmt: skip
    shown |= {name: value for name, value in said.items() if name not in shares}
    shown |= {name[:-2] + "_m3_s": share * q for name, share in shares.items()}  # type: ignore[operator]
    judge.story = Story()
    seen = None
    for age_s in ages_s:
        look = Look(**(shown | {"age_s": age_s, "at_us": 10**12 + int(age_s * 1e6)}))  # type: ignore[arg-type]
        follow(judge.story, look, judge)
        seen = witness(look, judge)
    return seen is not None and seen.idle


@pytest.mark.parametrize(("gains_psi", "idle"), [(0.0, True), (1.5, False)])
def test_a_start_that_brings_the_tank_nothing_is_told_though_a_tap_is_shut_just_then(
    gains_psi: float, idle: bool
) -> None:
    """Two fifths of the delivery were drawn before: shut, they look like a pump that gives as much."""
    pressure_pa = _learned().usual.start_pa + gains_psi * PSI
    assert _idle(12.0, 16.0, 22.0, 26.0, slope_before_q=-0.4, pressure_pa=pressure_pa) is idle


def test_a_zone_that_opened_in_the_last_seconds_before_a_start_is_no_lost_prime() -> None:
    """The last sample before the start stood above cut-in: what leaves began to after it."""
    start_pa = _learned().usual.start_pa + 0.5 * PSI
    ages = np.arange(12.0, 80.0, 5.0).tolist()
    assert not _idle(*ages, slope_before_q=-0.4, pressure_start_pa=start_pa)


def test_a_kink_within_a_gauges_noise_is_none() -> None:
    """A line through noise falls as fast as tank water would without a pump."""
    ages = np.arange(20.0, 120.0, 5.0).tolist()
    said = {"slope_before_q": -0.1, "slope_q": -0.3, "noise_pa": 2_000.0}
    assert not _idle(*ages, drawn=0.9, **said, slope_error_q=0.6)
    assert _idle(*ages, drawn=0.9, **said, slope_error_q=0.02)


def test_a_tank_that_stands_against_a_zone_goes_on_as_before_only_where_it_fell() -> None:
    """Next to nothing left before the start, and the tank stands since: so it does in a garden's hours."""
    usual = _learned().usual
    pressure_pa = usual.start_pa + 0.02 * usual.band_pa
    ages = np.arange(12.0, 110.0, 5.0).tolist()
    stands = {"slope_before_q": -0.05, "pressure_pa": pressure_pa, "pressure_high_pa": pressure_pa}
    assert not _idle(*ages, drawn=0.9, **stands)
    assert _idle(*ages, drawn=0.5, **stands)  # where no such zone was ever seen


@pytest.mark.parametrize(("fall_q", "idle"), [(0.5, True), (1.5, False)])
def test_more_than_a_pump_gives_leaves_a_tank_by_a_break(fall_q: float, idle: bool) -> None:
    """The line is empty. A break that lets no more stand would have drawn the tank down faster yet, had it
    held enough to show it; but no house draws that much."""
    ages = (12.0, 16.0, 22.0, 26.0, 32.0)
    assert _idle(*ages, fall_q=fall_q, pressure_pa=3.0 * PSI, slope_q=-5.0, slope_first_q=-5.0) is idle


@pytest.mark.parametrize(("below_psi", "lies"), [(-1.0, True), (5.0, False)])
def test_a_contact_that_closed_above_cut_in_lies_until_the_pump_is_wanted(
    below_psi: float, lies: bool
) -> None:
    """A line that bursts drops through the whole band between two samples."""
    judge = _learned()
    usual = judge.usual
    look = Look(
        at_us=20_000_000, start_us=0, age_s=20.0, window_s=10.0, samples=10, entire=True, interval_s=2.0,
        pressure_start_pa=usual.stop_pa, pressure_pa=usual.start_pa - below_psi * PSI,
        pressure_high_pa=usual.stop_pa, slope_m3_s=0.0, slope_pa_s=0.0, slope_first_m3_s=None,
        slope_before_m3_s=None, noise_pa=200.0, motor_level=None, flow_m3_s=None, discharge_pa=None,
        suction_pa=None,
    )  # fmt: skip
    assert false_start(look, usual, Story()) is lies


def test_a_line_that_bursts_in_the_first_seconds_of_a_run_is_told_by_how_the_tank_ran_out() -> None:
    """What a tank holds about cut-in is gone within some seconds: too few for a slope over ten."""
    trace = traces.Trace(volume_m3=15 * traces.GAL, demand=traces.steady(6 * LPM), motor=Measure.PUMP_RUNNING)
    true = traces.run(trace, 6 * 3600.0, seed=3)
    starts = true["t"][1:][np.diff(true["on"]) > 0]
    burst_s = float(starts[starts > 5 * 3600.0][0]) + 1.0
    broken = dataclasses.replace(trace, burst_m3_s=lambda s: 100 * LPM if s >= burst_s else 0.0)
    plant = traces.plant(broken, pressure_tank=PressureTank(15 * traces.GAL, 28 * PSI))
    engine = Engine(dataclasses.replace(plant, pump=dataclasses.replace(plant.pump, min_run_time_s=5.0)))
    told = engine.feed(traces.readings(broken, burst_s + 300.0, seed=3)).findings
    assert [finding.fault for finding in told] == ["burst_line"]


def test_a_line_on_its_way_down_says_nothing_until_it_stands() -> None:
    """The run had filled before; with the tank run out, a heavy draw that a pump feeds yet stands higher
    than a line that drains, but both fall to there."""
    usual = _learned().usual
    falls = {"pressure_pa": 0.6 * usual.start_pa, "slope_pa_s": -2000.0, "slope_q": -0.4}
    high_pa = usual.stop_pa - 0.3 * usual.band_pa
    lifted = {"slope_before_q": -0.3, "slope_first_q": 0.7, "pressure_high_pa": high_pa}
    ages = np.arange(60.0, 120.0, 5.0).tolist()
    assert not _idle(*ages, **lifted, **falls)


@pytest.mark.parametrize(("interval_s", "idle"), [(2.0, True), (10.0, False)])
def test_a_tank_that_is_gone_between_two_samples_did_not_go_too_slowly_for_a_break(
    interval_s: float, idle: bool
) -> None:
    """It held a few litres: seen each two seconds they went slowly, each ten they may have gone at once."""
    ages = (12.0, 16.0, 22.0, 26.0, 32.0, 36.0, 42.0)
    said = {"pressure_pa": 3.0 * PSI, "slope_q": -5.0, "slope_first_q": -5.0, "slope_before_q": -0.3}
    assert _idle(*ages, **said, fall_q=0.75, interval_s=interval_s) is idle
