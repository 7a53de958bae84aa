"""An outlet gauge at shut-off beside a line at cut-in: a closed valve moves nothing, a clog lets some by."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from analytics.engine import Engine
from analytics.faults.lost_prime import LostPrime
from analytics.judge import Judge
from analytics.judging.instruments import by_drop
from analytics.judging.no_delivery import _was_cut_out, witness
from analytics.judging.reference import _recent_level
from analytics.judging.signature import Signature
from analytics.judging.story import follow
from analytics.judging.supply import storage_low
from analytics.judging.watch import Claim
from analytics.judging.worked_out import Witness
from analytics.plant.description import Measure
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


@pytest.mark.parametrize(("days", "low"), [(0.04, True), (3.0, None)])
def test_a_storage_that_ran_out_faster_than_its_gauge_is_believed_is_empty(
    days: float, low: bool | None
) -> None:
    """A gauge found to lie and a pump that lifts nothing are one thing on one day, and two later."""
    trace = traces.Trace(extra={"level": 0.05})
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, days * 86_400.0))
    said = Claim("sensor_fault", 0, "low", 0.9, "", "implausible", "level")
    engine.judge._ledger.hear([said], traces.START_US)
    assert storage_low(engine.judge) is low


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


def _standing(judge: Judge, **said: object) -> Look:
    """A look five minutes into a run that has lifted pressure, and stands."""
    usual = judge.usual
    pressure_pa = usual.start_pa + 0.25 * usual.band_pa
    shown: dict[str, object] = {
        "at_us": 300_000_000, "start_us": 0, "age_s": 300.0, "window_s": 20.0, "samples": 5, "entire": True,
        "interval_s": 5.0, "pressure_start_pa": usual.start_pa, "pressure_pa": pressure_pa,
        "pressure_high_pa": pressure_pa, "slope_m3_s": 0.0, "slope_pa_s": 0.0,
        "slope_first_m3_s": 0.5 * usual.delivery_m3_s, "slope_before_m3_s": 0.0, "noise_pa": 200.0,
        "motor_level": None, "flow_m3_s": None, "discharge_pa": None, "suction_pa": None,
        "slope_error_m3_s": 0.0,
    }  # fmt: skip
    return Look(**(shown | said))  # type: ignore[arg-type]


def _learned(**changes: object) -> Judge:
    trace = traces.Trace(demand=traces.steady(12 * traces.LPM), motor=Measure.PUMP_RUNNING, **changes)  # type: ignore[arg-type]
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 5 * 3600.0, seed=3))
    return engine.judge


def _by_power(hours: float = 5.0, **changes: object) -> Engine:
    """Learned of a plant whose motor takes 700 W."""
    trace = traces.Trace(
        demand=traces.steady(12 * traces.LPM), motor=Measure.PUMP_POWER, amps=700.0, amps_noise=5.0, **changes  # type: ignore[arg-type]
    )  # fmt: skip
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, hours * 3600.0, seed=3))
    return engine


@pytest.mark.parametrize(("flow", "idle"), [(0.0, True), (0.5, False)])
def test_a_meter_that_stands_beside_a_tank_that_stands_speaks_before_half_a_kink(
    flow: float, idle: bool
) -> None:
    """The run began with half its delivery: a clogged filter's, or the last gulp."""
    judge = _learned(extra={"flow": 1.0})
    look = _standing(judge, flow_m3_s=flow * judge.usual.delivery_m3_s)
    for age_s in (60.0, 300.0):
        again = replace(look, age_s=age_s, at_us=int(age_s * 1e6))
        follow(judge.story, again, judge)
    seen = witness(look, judge)
    assert seen is not None
    assert seen.idle is idle


@pytest.mark.parametrize(("level_m", "seen"), [(0.05, True), (1.5, False)])
def test_a_contact_is_believed_beside_a_storage_at_its_outlet(level_m: float, seen: bool) -> None:
    """Pressure had come to cut-out and goes down: the switch has stopped the pump and its contact has missed
    it, unless there is no water to be pumped."""
    judge = _learned(extra={"level": level_m})
    look = _standing(judge, pressure_high_pa=judge.usual.stop_pa)
    follow(judge.story, look, judge)
    assert (witness(look, judge) is not None) is seen


@pytest.mark.parametrize(("share", "shut"), [(0.72, True), (0.62, False), (0.5, False)])
def test_a_meter_that_stands_leaves_it_to_the_motor_what_stops_the_water(share: float, shut: bool) -> None:
    """By power, against a closed outlet a pump takes some seven tenths, turning in air a half; between the
    two a lost prime is the likelier."""
    engine = _by_power(extra={"flow": 1.0})
    judge = engine.judge
    level = share * (judge.usual.motor_level or 0.0)
    look = _standing(
        judge, flow_m3_s=0.0, motor_level=level, motor_now=level, slope_first_m3_s=0.0, age_s=60.0,
        start_us=10**12, at_us=10**12 + 60_000_000,
        pressure_pa=judge.usual.start_pa, pressure_high_pa=judge.usual.start_pa,
    )  # fmt: skip
    follow(judge.story, look, judge)
    seen = witness(look, judge)
    assert seen is not None
    assert seen.idle
    assert seen.shut is shut


@pytest.mark.parametrize(("share", "both"), [(0.62, True), (0.5, False)])
def test_a_lost_prime_names_the_closed_valve_where_power_leaves_both_open(share: float, both: bool) -> None:
    engine = _by_power()
    judge, detector, said = engine.judge, LostPrime(engine.plant), []
    level = share * (judge.usual.motor_level or 0.0)
    for age_s in (40.0, 50.0, 60.0):
        look = _standing(
            judge, motor_level=level, motor_now=level, slope_first_m3_s=0.0, age_s=age_s, start_us=10**12,
            at_us=10**12 + int(age_s * 1e6), pressure_pa=judge.usual.start_pa,
            pressure_high_pa=judge.usual.start_pa,
        )  # fmt: skip
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        said += detector.look(look, judge)
    assert said
    assert ("valve closed" in said[-1].summary) is both


@pytest.mark.parametrize(("share", "shut"), [(0.84, True), (0.5, False)])
def test_of_an_emptied_line_the_power_says_whether_the_way_is_shut(share: float, shut: bool) -> None:
    """Half a minute between samples shows no kink. A pump that turns in air takes half of its power, and no
    pump takes a sixth less than ever and lets its line run empty but against what is shut."""
    judge = _by_power().judge
    level = share * (judge.usual.motor_level or 0.0)
    seen = None
    for nth in range(4, 12):
        look = _shown(
            judge, interval_s=30.0, samples=4, window_s=90.0, age_s=30.0 * nth, motor_level=level,
            at_us=60_000_000_000 + 30_000_000 * nth, motor_now=level, pressure_pa=1500.0,
            slope_first_m3_s=None, slope_before_m3_s=None,
        )  # fmt: skip
        follow(judge.story, look, judge)
        seen = witness(look, judge)
    assert seen is not None
    assert seen.idle
    assert seen.shut is shut


def test_one_word_that_met_the_inrush_is_not_what_the_motor_draws() -> None:
    signature = _learned().signature
    kept = [replace(brief, motor_level=None) for brief in signature.recent]
    few = [replace(kept[-1], motor_level=30.0)]
    assert _recent_level(Signature(recent=[*kept[:-1], *few])) is None
    assert _recent_level(Signature(recent=[*kept[:-3], *few * 3])) == 30.0


def _shown(judge: Judge, **changes: object) -> Look:
    usual = judge.usual
    shown: dict[str, object] = {
        "at_us": 60_020_000_000, "start_us": 60_000_000_000, "age_s": 20.0, "window_s": 15.0, "samples": 8,
        "entire": True, "interval_s": 2.0, "pressure_start_pa": usual.start_pa, "pressure_pa": usual.start_pa,
        "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0, "slope_pa_s": 0.0, "slope_first_m3_s": 0.0,
        "slope_before_m3_s": -0.45 * usual.delivery_m3_s, "noise_pa": 500.0, "motor_level": None,
        "flow_m3_s": None, "discharge_pa": None, "suction_pa": None,
    }  # fmt: skip
    return Look(**(shown | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(("works", "idle"), [(0.62, True), (0.83, False)])
def test_a_motor_without_load_meets_no_draw(works: float, idle: bool) -> None:
    """A tap is shut at the very start: what it drew is no delivery of a motor that turns in air."""
    trace = traces.Trace(demand=traces.steady(6 * traces.LPM))
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 6 * 3600.0))
    judge = engine.judge
    level = works * (judge.usual.motor_level or 0.0)
    look = _shown(judge, motor_level=level, motor_now=level)
    follow(judge.story, look, judge)
    seen = witness(look, judge)
    assert seen is not None
    assert seen.idle is idle


@pytest.mark.parametrize(("reached", "may_be"), [(0.5, False), (0.8, True)])
def test_a_run_comes_to_cut_out_between_two_samples_only_if_it_can_come_back(
    reached: float, may_be: bool
) -> None:
    """Up at the pump's delivery, and down at the largest draw: both take their time."""
    trace = traces.Trace(demand=traces.steady(12 * traces.LPM), motor=Measure.PUMP_RUNNING)
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, 20 * 3600.0))
    judge = engine.judge
    high_pa = judge.usual.start_pa + reached * judge.usual.band_pa
    look = _shown(judge, interval_s=45.0, age_s=300.0, at_us=60_300_000_000, pressure_high_pa=high_pa)
    follow(judge.story, look, judge)
    assert _was_cut_out(look, judge, judge.usual) is may_be


def _seen_through(
    judge: Judge, ages_s: tuple[float, ...], start_pa: float, stands_pa: float, **said: object
) -> Witness | None:
    """What the last of these looks says of a run that began at one pressure and stands at another, its meter
    at nought."""
    seen = None
    for age_s in ages_s:
        look = _standing(
            judge, flow_m3_s=0.0, age_s=age_s, start_us=10**12, at_us=10**12 + int(age_s * 1e6),
            pressure_start_pa=start_pa, pressure_pa=stands_pa, pressure_high_pa=stands_pa, **said,
        )  # fmt: skip
        follow(judge.story, look, judge)
        seen = witness(look, judge)
    return seen


@pytest.mark.parametrize(("lifted", "idle"), [(0.0, None), (0.4, True)])
def test_a_start_a_little_above_all_others_that_has_lifted_pressure_is_one(
    lifted: float, idle: bool | None
) -> None:
    """The motor takes half of its power since. Had nothing been lifted from where no switch starts it, its
    meter would have lost its zero."""
    judge = _by_power(8.0, extra={"flow": 1.0}).judge
    usual, level = judge.usual, 0.5 * (judge.usual.motor_level or 0.0)
    assert usual.start_top_pa is not None
    start_pa = usual.start_top_pa + 0.02 * usual.band_pa
    stands_pa = start_pa + lifted * usual.band_pa
    seen = _seen_through(
        judge, (20.0, 60.0, 120.0), start_pa, stands_pa, motor_level=level, motor_now=level,
        slope_before_m3_s=0.0,
    )  # fmt: skip
    assert (seen.idle if seen is not None else None) is idle


@pytest.mark.parametrize(("above", "shut"), [(0.4, None), (0.0, True)])
def test_a_gauge_that_is_stuck_above_cut_in_shuts_no_outlet_before_a_motor_at_full_load(
    above: float, shut: bool | None
) -> None:
    """A meter that stands and a tank that seems to: so does a pump that fills the tank behind such a gauge,
    with all taps shut."""
    judge = _by_power(8.0, extra={"flow": 1.0}).judge
    usual, level = judge.usual, judge.usual.motor_level
    stuck_pa = usual.start_pa + above * usual.band_pa
    seen = _seen_through(
        judge, (20.0, 30.0), stuck_pa, stuck_pa, motor_level=level, motor_now=level, slope_first_m3_s=0.0
    )
    assert (seen.shut if seen is not None else None) is shut
