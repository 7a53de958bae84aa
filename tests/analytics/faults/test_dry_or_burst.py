"""A pump that gives nothing, one that runs out into a break, and a weak one: told apart by what is fitted.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults import blocked_discharge, burst_line, coverage
from analytics.faults.dry_supply import DrySupply
from analytics.judging.no_delivery import held_up, witness
from analytics.judging.story import follow
from analytics.judging.watch import Known
from analytics.judging.worked_out import Story, Witness
from analytics.plant.description import Measure, Plant
from analytics.readings import Readings
from analytics.records import Finding
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.traces import LPM, PSI

HOUR = 3600.0
CONTACT = Measure.PUMP_RUNNING
BEGINS = 5.0 * HOUR


def told(plant: Plant, readings: Readings) -> list[Finding]:
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


def of(hours: float, **changes: object) -> list[Finding]:
    trace = traces.Trace(**changes)  # type: ignore[arg-type]
    return told(traces.plant(trace), traces.readings(trace, hours * HOUR, seed=3))


def names(found: list[Finding]) -> list[str]:
    return [finding.fault for finding in found]


def late_s(finding: Finding, since_s: float) -> float:
    return (finding.raised_us - traces.START_US) / 1e6 - since_s


def draws(*steps: tuple[float, float]) -> Callable[..., np.ndarray]:
    """(hour, L/min) steps of the demand."""
    at, rate = [hour * HOUR for hour, _ in steps], [lpm * LPM for _, lpm in steps]
    return lambda rng, t: np.asarray(rate)[np.searchsorted(at, t, side="right") - 1]


def within(begin_s: float, end_s: float, value: float, otherwise: float) -> Callable[[float], float]:
    return lambda s: value if begin_s <= s < end_s else otherwise


STEADY = draws((0.0, 12.0))


def test_what_the_meter_passes_and_the_tank_gives_leaves_nothing_for_the_pump() -> None:
    """A contact and a flow meter: prime is lost within a run, with a third of the delivery drawn."""
    lost = within(BEGINS, BEGINS + HOUR, 0.0, 1.0)
    found = of(8.0, demand=STEADY, motor=CONTACT, extra={"flow": 1.0}, delivers=lost)
    assert names(found) == ["lost_prime"]
    assert late_s(found[0], BEGINS) < 400.0  # the tank is drawn down to cut-in first: some four minutes
    assert found[0].confidence > 0.8
    assert "burst" not in found[0].summary


def test_without_a_meter_the_finding_names_the_burst_beside_it() -> None:
    lost = within(BEGINS, BEGINS + HOUR, 0.0, 1.0)
    found = of(8.0, demand=STEADY, motor=CONTACT, delivers=lost)
    assert names(found) == ["lost_prime"]
    assert found[0].confidence < 0.8
    assert "burst line can look much the same" in found[0].summary
    assert "current would tell" in found[0].summary


def test_a_meter_that_passes_more_than_the_tank_gives_shows_a_burst_behind_it() -> None:
    broken = within(BEGINS, BEGINS + HOUR, 60 * LPM, 0.0)
    found = of(8.0, demand=STEADY, motor=CONTACT, extra={"flow": 1.0}, burst_m3_s=broken)
    assert names(found) == ["burst_line"]
    assert late_s(found[0], BEGINS) < 120.0


@pytest.mark.parametrize("every_s", [1.0, 5.0])
def test_a_drop_over_the_filter_is_a_flow(every_s: float) -> None:
    """A contact and a gauge on either side of the filter: twelve litres a minute drawn, then a break."""
    gauges = {"demand": STEADY, "motor": CONTACT, "extra": {"discharge": 1.0}, "every_s": every_s}
    burst = of(8.0, burst_m3_s=within(BEGINS, BEGINS + HOUR, 50 * LPM, 0.0), **gauges)
    assert names(burst) == ["burst_line"]
    dry = of(8.0, delivers=within(BEGINS, BEGINS + HOUR, 0.0, 1.0), **gauges)
    assert names(dry) == ["lost_prime"]


@pytest.mark.parametrize("litres", [48.0, 60.0, 90.0])
@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
def test_a_motor_at_work_makes_low_pressure_a_burst(every_s: float, litres: float) -> None:
    """From 1.4 times the delivery upward; pressure settles where the pump's curve crosses the orifice's."""
    broken = within(BEGINS, BEGINS + HOUR, litres * LPM, 0.0)
    found = of(8.0, demand=STEADY, every_s=every_s, burst_m3_s=broken)
    assert names(found) == ["burst_line"]
    assert late_s(found[0], BEGINS) < 120.0 + 10.0 * every_s


@pytest.mark.parametrize("motor", [Measure.PUMP_CURRENT, CONTACT])
def test_a_pump_too_weak_for_its_cut_out_is_not_dry(motor: Measure) -> None:
    """Worn until its shut-off head is just above cut-out: it creeps there, for minutes, at little load."""
    worn = traces.after(BEGINS, 52 * PSI, 75 * PSI)
    found = of(9.0, demand=STEADY, motor=motor, shut_off_pa=worn)
    assert not {"lost_prime", "dry_supply", "blocked_discharge", "burst_line"} & set(names(found))


def test_prime_lost_from_the_first_row_is_no_burst() -> None:
    """Nothing is learned yet, and the tank drains by what is drawn, then the line behind it."""
    for motor in (Measure.PUMP_CURRENT, CONTACT):
        found = of(3.0, demand=STEADY, motor=motor, delivers=traces.after(1.5 * HOUR, 1.0, 0.0))
        assert names(found)[:1] == ["lost_prime"]
        assert "burst_line" not in names(found)


def _shown(
    readings: Readings, signal: int, change: Callable[[np.ndarray, np.ndarray], np.ndarray]
) -> Readings:
    mine = readings.signal == signal
    seconds = (readings.time_us - traces.START_US) / 1e6
    value = np.where(mine, change(readings.value, seconds), readings.value)
    return Readings(readings.signal, readings.time_us, value)


def test_a_rotor_that_is_stuck_is_named_though_seen_each_ten_seconds() -> None:
    """It trips after half a minute and tries again: no run fills, each stands at five times the level."""
    trace = traces.Trace(
        demand=draws((0.0, 12.0), (5.4, 0.0)), every_s=5.0, motor_every_s=10.0,
        delivers=traces.after(BEGINS, 0.0),
    )  # fmt: skip

    def stuck(amps: np.ndarray, s: np.ndarray) -> np.ndarray:
        hums = (s > BEGINS) & (amps > 1.0)
        return np.where(hums, np.where(s % 240.0 < 30.0, 35.0, 0.0), amps)

    plant, readings = traces.plant(trace), traces.readings(trace, 6 * HOUR, seed=3)
    found = told(plant, _shown(readings, 1, stuck))
    assert [(one.fault, one.cause) for one in found] == [("motor_overload", "locked_rotor")]


@pytest.mark.parametrize("every_s", [10.0, 60.0])
def test_a_coarsely_sampled_switch_that_works_is_no_overpressure(every_s: float) -> None:
    """Samples a minute apart miss each stop: the usual one is learned too low."""
    assert "overpressure" not in names(of(30.0, demand=draws((0.0, 8.0)), every_s=every_s))


def test_a_switch_that_has_drifted_may_still_stick() -> None:
    """The drift is known; that the pump is not stopped any more is another fault, and the graver one."""
    moved, welded = traces.after(6 * HOUR, 56 * PSI, 50 * PSI), traces.after(30 * HOUR, 1.0, 0.0)
    found = of(34.0, demand=draws((0.0, 8.0)), cut_out_pa=moved, stuck=welded)
    stuck = [one for one in found if one.fault == "overpressure"]
    assert stuck
    assert late_s(stuck[-1], 30 * HOUR) > 0.0
    assert stuck[-1].cleared_us is None


def test_overflow_codes_are_no_pressure() -> None:
    """655.33 in kPa, a reading in ten minutes and a row of five."""
    trace = traces.Trace(demand=STEADY)
    plant, readings = traces.plant(trace), traces.readings(trace, 6 * HOUR, seed=3)
    signals = (replace(plant.signals[0], unit="kPa", si_factor=1e3), *plant.signals[1:])

    def codes(pa: np.ndarray, s: np.ndarray) -> np.ndarray:
        return np.where((s % 600.0 == 0.0) | ((s > BEGINS) & (s < BEGINS + 5.0)), 655_330.0, pa)

    assert told(replace(plant, signals=signals), _shown(readings, 0, codes)) == []


def test_coverage_says_what_a_contact_cannot_tell() -> None:
    said = coverage(traces.plant(traces.Trace(motor=CONTACT, extra={"level": 1.5})))
    for fault in ("lost_prime", "dry_supply", "burst_line"):
        assert "current" in said[fault].sentence
    measured = coverage(traces.plant(traces.Trace(extra={"level": 1.5})))
    assert "current" not in measured["lost_prime"].sentence


@pytest.mark.parametrize("motor", [Measure.PUMP_CURRENT, CONTACT])
@pytest.mark.parametrize("clog", [20.0, 60.0])
def test_a_filter_that_chokes_the_pump_is_neither_a_closed_valve_nor_a_burst(
    motor: Measure, clog: float
) -> None:
    """The outlet stands near its shut-off head in both, and the line goes down when much is drawn."""
    demand = draws((0.0, 12.0), (5.5, 4.0), (6.5, 30.0), (7.0, 12.0))
    found = of(8.0, demand=demand, motor=motor, extra={"discharge": 1.0}, clog=traces.after(BEGINS, clog))
    assert not {"blocked_discharge", "burst_line", "lost_prime", "dry_supply"} & set(names(found))


def test_a_closed_valve_stays_one_beside_an_outlet_gauge() -> None:
    """Shut while the pump rests: the line stands, and the outlet at the shut-off head."""
    trace = traces.Trace(demand=STEADY, motor=CONTACT, extra={"discharge": 1.0})
    shut = replace(trace, delivers=within(BEGINS, BEGINS + HOUR, 0.0, 1.0))
    plant, readings = traces.plant(shut), traces.readings(shut, 8 * HOUR, seed=3)
    true = traces.run(shut, 8 * HOUR, seed=3)

    def head(pa: np.ndarray, s: np.ndarray) -> np.ndarray:
        runs = np.interp(s, true["t"], true["on"]) > 0.5
        return np.where(runs & (s > BEGINS) & (s < BEGINS + HOUR), 75 * PSI, pa)

    found = told(plant, _shown(readings, 2, head))
    assert names(found) == ["blocked_discharge"]


@pytest.mark.parametrize("drawn", [1.5, 12.0])
def test_a_start_without_a_kink_is_told_by_a_contact_though_little_is_drawn(drawn: float) -> None:
    """Prime is lost while the pump rests. At a twentieth of the delivery drawn, pressure all but stands."""
    demand = draws((0.0, 12.0), (BEGINS / HOUR, drawn))
    trace = traces.Trace(demand=demand, motor=CONTACT)
    on = traces.run(trace, 6 * HOUR, seed=3)
    starts = on["t"][1:][np.diff(on["on"]) > 0]
    lost_s = float(starts[starts > BEGINS + 600.0][0])
    gone = replace(trace, delivers=lambda s: 0.0 if s >= lost_s - 20.0 else 1.0)
    found = told(traces.plant(gone), traces.readings(gone, lost_s + 180.0, seed=3))
    assert names(found) == ["lost_prime"]
    assert late_s(found[0], lost_s) < 60.0


@pytest.mark.parametrize(
    ("litres", "drawn", "later_s"),
    [(60, 3.0, 0), (60, 3.0, 30), (60, 8.0, 90), (75, 8.0, 30), (110, 8.0, 240)],
)
def test_a_line_that_bursts_just_before_a_start_hides_no_delivery(
    litres: int, drawn: float, later_s: int
) -> None:
    """The kink is taken from half a minute before the start, of which the break was there for a part."""
    begins = BEGINS + later_s
    broken = within(begins, begins + HOUR, litres * LPM, 0.0)
    found = of(6.2, demand=draws((0.0, drawn)), motor=CONTACT, burst_m3_s=broken)
    assert names(found) == ["burst_line"]
    assert late_s(found[0], begins) < 120.0


def test_one_wild_word_before_a_start_is_no_burst() -> None:
    """A minute between samples; prime is lost at rest; one word before says three times the pressure."""
    trace = traces.Trace(demand=STEADY, motor=CONTACT, every_s=60.0, extra={"flow": 1.0})
    on = traces.run(trace, 6 * HOUR, seed=3)
    starts = on["t"][1:][np.diff(on["on"]) > 0]
    lost_s = float(starts[starts > BEGINS + 600.0][0])
    gone = replace(trace, delivers=lambda s: 0.0 if s >= lost_s - 20.0 else 1.0)
    wild_s = 60.0 * (lost_s // 60.0) - 60.0

    def wild(pa: np.ndarray, s: np.ndarray) -> np.ndarray:
        return np.where(s == wild_s, 3.0 * pa, pa)

    found = told(traces.plant(gone), _shown(traces.readings(gone, lost_s + 1200.0, seed=3), 0, wild))
    assert names(found) == ["lost_prime"]


def test_a_pump_whose_load_falls_at_run_out_is_no_closed_valve() -> None:
    """A jet pump may take less beyond its best point; what says burst is how the tank emptied."""
    trace = traces.Trace(demand=STEADY, burst_m3_s=within(BEGINS, BEGINS + HOUR, 120 * LPM, 0.0))
    plant, readings = traces.plant(trace), traces.readings(trace, 8 * HOUR, seed=3)

    def lighter(amps: np.ndarray, s: np.ndarray) -> np.ndarray:
        return np.where((amps > 1.0) & (s > BEGINS) & (s < BEGINS + HOUR), 6.0, amps)

    assert names(told(plant, _shown(readings, 1, lighter))) == ["burst_line"]


def test_an_outlet_gauge_before_the_check_valve_falls_at_each_stop() -> None:
    """A motor whose last word is of before the stop makes no burst; an outlet that stays so low does."""
    trace = traces.Trace(demand=STEADY, motor=Measure.PUMP_CURRENT, extra={"discharge": 1.0}, every_s=10.0)
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, BEGINS, seed=3))
    judge = engine.judge
    usual, detector, said = judge.usual, burst_line.detector(engine.plant), []
    assert usual.motor_level is not None
    start_us = traces.START_US + int(BEGINS * 1e6)
    for age_s in (97.0, 117.0, 137.0, 157.0):
        look = Look(
            at_us=start_us + int(age_s * 1e6), start_us=start_us, age_s=age_s, window_s=40.0, samples=4,
            entire=True, interval_s=10.0,
            pressure_start_pa=usual.start_pa, pressure_pa=usual.stop_pa - 0.05 * usual.band_pa,
            pressure_high_pa=usual.stop_pa, slope_m3_s=0.0, slope_pa_s=0.0, slope_first_m3_s=0.0,
            slope_before_m3_s=-2.0e-4, noise_pa=500.0, motor_level=usual.motor_level, flow_m3_s=None,
            discharge_pa=-9.5e3, suction_pa=None,
        )  # fmt: skip
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        said.append(len(detector.look(look, judge)))
    assert said == [0, 0, 1, 1]


@pytest.mark.parametrize(
    ("drop", "lifted", "idle"), [(-1.2, 0.0, True), (-0.1, 0.0, False), (-1.2, 0.5, False)]
)
def test_an_outlet_that_stands_below_the_line_passes_no_water(drop: float, lifted: float, idle: bool) -> None:
    """By a contact: little air is left, and as it warms after a quick draw pressure rises as if it filled.
    Where the run has lifted the line it is the outlet's gauge that lies, or the contact's word is an old
    one."""
    engine = _learned(CONTACT)
    judge = engine.judge
    usual, seen = judge.usual, []
    for age_s in (20.0, 30.0, 40.0):
        look = _at_60_s(
            engine, age_s, interval_s=1.0, window_s=20.0, samples=20, pressure_pa=0.9 * usual.start_pa,
            slope_m3_s=0.6 * usual.delivery_m3_s, slope_first_m3_s=0.6 * usual.delivery_m3_s,
            slope_before_m3_s=-0.2 * usual.delivery_m3_s, filter_drop_pa=drop * usual.band_pa,
            discharge_pa=0.9 * usual.start_pa + drop * usual.band_pa,
            pressure_high_pa=usual.start_pa + lifted * usual.band_pa,
        )  # fmt: skip
        follow(judge.story, look, judge)
        told = witness(look, judge)
        seen.append(told is not None and told.idle)
    assert seen[-1] is idle


def _at_60_s(engine: Engine, age_s: float, **said: object) -> Look:
    """A look into a run that began at cut-in and stands, samples a minute apart."""
    usual, start_us = engine.judge.usual, traces.START_US + int(BEGINS * 1e6)
    shown: dict[str, object] = {
        "at_us": start_us + int(age_s * 1e6), "start_us": start_us, "age_s": age_s, "window_s": 120.0,
        "samples": 3, "entire": True, "interval_s": 60.0, "pressure_start_pa": usual.start_pa,
        "pressure_pa": usual.start_pa, "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0,
        "slope_pa_s": 0.0, "slope_first_m3_s": 0.0, "slope_before_m3_s": 0.0, "noise_pa": 500.0,
        "motor_level": None, "flow_m3_s": None, "discharge_pa": None, "suction_pa": None,
    }  # fmt: skip
    return Look(**(shown | said))  # type: ignore[arg-type]


def _learned(motor: Measure) -> Engine:
    trace = traces.Trace(demand=STEADY, motor=motor)
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, BEGINS, seed=3))
    return engine


@pytest.mark.parametrize("share", [0.06, 0.5])
def test_a_motor_that_is_off_runs_nothing(share: float) -> None:
    """Its last word before the stop may have been "on"; one that turns in air takes two fifths or more."""
    engine = _learned(Measure.PUMP_CURRENT)
    judge = engine.judge
    level = (judge.usual.motor_level or 0.0) * share
    idle = []
    for age_s in (185.0, 245.0, 305.0):
        look = _at_60_s(engine, age_s, motor_level=level, motor_now=level)
        follow(judge.story, look, judge)
        seen = witness(look, judge)
        idle.append(seen is not None and seen.idle)
    assert any(idle) is (share > 0.2)


def test_a_motor_of_which_nothing_is_heard_after_cut_out_has_stopped() -> None:
    """The word that it is off was lost; the house draws pressure down, and nothing lifts it."""
    engine = _learned(Measure.PUMP_CURRENT)
    judge = engine.judge
    for age_s in (185.0, 245.0, 305.0, 365.0, 425.0, 485.0):
        pressure_pa = judge.usual.start_pa - 0.2 * judge.usual.band_pa
        look = _at_60_s(
            engine, age_s, pressure_pa=pressure_pa, pressure_high_pa=judge.usual.stop_pa, slope_m3_s=-4e-4
        )
        follow(judge.story, look, judge)
        assert witness(look, judge) is None


@pytest.mark.parametrize(("stands_at", "held"), [(0.3, True), (0.1, False)])
def test_a_tank_that_runs_out_between_two_samples_has_run_out(stands_at: float, held: bool) -> None:
    """What then stands above every tap is fed by a pump, what stands lower is not."""
    engine = _learned(CONTACT)
    judge = engine.judge
    look = _at_60_s(engine, 125.0, pressure_pa=stands_at * judge.usual.start_pa)
    follow(judge.story, look, judge)
    assert judge.story.collapsed
    assert held_up(look, judge.usual, judge.story) is held


def test_what_stood_over_cut_out_before_the_start_has_not_leapt() -> None:
    """A gauge at its register's end says as much of the outlet as of anything: nothing."""
    engine = _learned(CONTACT)
    judge, detector = engine.judge, blocked_discharge.detector(engine.plant)
    high_pa = 2.0 * judge.usual.stop_pa
    said = []
    for began_pa in (high_pa, judge.usual.start_pa):
        for age_s in (6.0, 11.0):
            look = _at_60_s(
                engine, age_s, pressure_start_pa=began_pa, pressure_pa=high_pa, interval_s=1.0, samples=6
            )
            follow(judge.story, look, judge)
            judge.witness = witness(look, judge)
            said.append(len(detector.look(look, judge)))
    assert said[:2] == [0, 0]
    assert said[3] == 1


@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0])
def test_a_contact_that_misses_its_stop_is_no_lost_prime(every_s: float) -> None:
    """Pressure came to cut-out, where the switch has opened, and the meter passes what the tank gives."""
    trace = traces.Trace(demand=STEADY, motor=CONTACT, extra={"flow": 1.0}, every_s=every_s)
    true = traces.run(trace, 6 * HOUR, seed=3)
    stops = true["t"][1:][np.diff(true["on"]) < 0]
    stop_s = float(stops[stops > BEGINS][0])

    def sticks(on: np.ndarray, s: np.ndarray) -> np.ndarray:
        return np.where((s > stop_s - 60.0) & (s < stop_s + 0.8 * HOUR), 1.0, on)

    readings = _shown(traces.readings(trace, 6 * HOUR, seed=3, true=true), 1, sticks)
    assert "lost_prime" not in names(told(traces.plant(trace), readings))


def test_a_line_that_drained_by_a_usual_draw_has_no_break() -> None:
    """By a contact, twice what was ever drawn: a break that lets nothing stand empties the tank faster."""
    found = of(
        6.0, demand=draws((0.0, 12.0), (BEGINS / HOUR, 28.0)), motor=CONTACT, every_s=5.0,
        delivers=traces.after(BEGINS, 0.0),
    )  # fmt: skip
    assert names(found) == ["lost_prime"]
    assert late_s(found[0], BEGINS) < 300.0


def test_a_start_at_half_the_delivery_says_nothing_of_a_line_that_is_empty_since() -> None:
    engine = _learned(CONTACT)
    judge = engine.judge
    half = 0.5 * judge.usual.delivery_m3_s
    idle = []
    for age_s in (300.0, 310.0, 320.0):
        look = _at_60_s(
            engine, age_s, interval_s=5.0, window_s=20.0, samples=5, pressure_pa=0.0, slope_first_m3_s=0.0,
            slope_before_m3_s=-half,
        )  # fmt: skip
        follow(judge.story, look, judge)
        seen = witness(look, judge)
        idle.append(seen is not None and seen.idle)
    assert all(idle)


def test_a_meter_that_stands_beside_a_tank_that_stands_below_cut_out_shows_no_delivery() -> None:
    """Prime is lost in mid-run with nobody drawing: a contact, and a flow meter that says nothing passes."""
    trace = traces.Trace(demand=STEADY, motor=CONTACT, extra={"flow": 1.0})
    true = traces.run(trace, 6 * HOUR, seed=3)
    starts = true["t"][1:][np.diff(true["on"]) > 0]
    start_s = float(starts[starts > BEGINS][0])
    gone = replace(
        trace,
        demand=draws((0.0, 12.0), ((start_s + 20.0) / HOUR, 0.0)),
        delivers=traces.after(start_s + 50.0, 0.0),
    )
    found = told(traces.plant(gone), traces.readings(gone, start_s + 600.0, seed=3))
    assert names(found) == ["lost_prime"]
    assert late_s(found[0], start_s + 50.0) < 60.0


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
def test_a_break_of_little_more_than_the_delivery_is_told_by_a_motor_at_work(every_s: float) -> None:
    """A fifth more than the pump gives at cut-in, where the most that was ever drawn is a third of it."""
    broken = within(BEGINS, BEGINS + HOUR, 41 * LPM, 0.0)
    demand = draws((0.0, 12.0), (BEGINS / HOUR, 0.0))
    found = of(5.9, demand=demand, every_s=every_s, burst_m3_s=broken)
    assert names(found) == ["burst_line"]
    # a tank that has just filled is drawn down by a fifth of the delivery first
    assert late_s(found[0], BEGINS) < 420.0


def test_what_a_motor_draws_is_learned_of_runs_too_short_to_measure() -> None:
    """A minute between samples and a tank that fills in less: a word a run. At that level a pump works."""
    trace = traces.Trace(volume_m3=20 * traces.GAL, demand=draws((0.0, 9.0)), every_s=60.0)
    engine = Engine(traces.plant(trace))
    engine.feed(traces.readings(trace, BEGINS, seed=3))
    judge = engine.judge
    assert not judge.signature.recent
    level = judge.usual.motor_level
    assert level is not None
    assert 5.0 < level < 8.0
    idle = []
    for share in (1.0, 0.6):
        for age_s in (185.0, 245.0, 305.0, 365.0, 425.0):
            look = _at_60_s(
                engine, age_s, pressure_pa=0.2 * judge.usual.start_pa, motor_level=share * level,
                motor_now=share * level,
            )  # fmt: skip
            follow(judge.story, look, judge)
            seen = witness(look, judge)
            idle.append(seen is not None and seen.idle)
    assert not any(idle[:5])
    assert idle[-1]


def test_what_a_motor_said_on_change_holds_until_it_says_more() -> None:
    """Prime is lost at rest; motor and gauge speak on change, and the motor at the start only."""
    trace = traces.Trace(demand=draws((0.0, 12.0), (BEGINS / HOUR, 3.0)), amps_noise=0.0)
    true = traces.run(trace, 7 * HOUR, seed=3)
    starts = true["t"][1:][np.diff(true["on"]) > 0]
    lost_s = float(starts[starts > BEGINS + 900.0][0])
    gone = replace(trace, delivers=lambda s: 0.0 if s >= lost_s - 20.0 else 1.0)
    readings = traces.readings(gone, lost_s + 900.0, seed=3)
    keep = np.zeros(len(readings), np.bool_)
    for signal, band in ((0, 0.4 * PSI), (1, 1.0)):
        said = None
        for at in np.flatnonzero(readings.signal == signal).tolist():
            if said is None or abs(readings.value[at] - said) >= band:
                said, keep[at] = float(readings.value[at]), True
    plant = traces.plant(gone)
    plant = replace(plant, signals=tuple(replace(one, every_s=None) for one in plant.signals))
    found = told(plant, readings[keep])
    assert names(found) == ["lost_prime"]
    assert "motor_share_1" in found[0].evidence
    assert late_s(found[0], lost_s) < 180.0  # the gauge speaks twice in a minute


@pytest.mark.parametrize(("at_share", "bursts"), [(1.0, False), (0.85, True)])
def test_a_cut_in_that_coarse_samples_put_too_high_makes_no_burst(at_share: float, bursts: bool) -> None:
    """A heavy draw holds pressure at the plate's cut-in, a fifth of it below the one that was learned."""
    engine = _learned(Measure.PUMP_CURRENT)
    judge, detector = engine.judge, burst_line.detector(engine.plant)
    usual = judge.usual
    judge._usual = usual = replace(usual, start_pa=1.2 * usual.start_pa)
    assert engine.plant.switch is not None
    said = []
    for age_s in (185.0, 245.0, 305.0):
        look = _at_60_s(
            engine, age_s, pressure_pa=at_share * engine.plant.switch.cut_in_pa, samples=4, window_s=180.0,
            slope_m3_s=-1.2 * usual.delivery_m3_s, motor_level=usual.motor_level, motor_now=usual.motor_level,
        )  # fmt: skip
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        said += detector.look(look, judge)
    assert bool(said) is bursts


@pytest.mark.parametrize(("low", "flat_s", "dry"), [(True, 60, True), (False, 60, False), (True, 20, False)])
def test_at_its_outlet_a_run_that_fills_nothing_for_a_minute_is_dry_whatever_its_kink(
    low: bool, flat_s: int, dry: bool
) -> None:
    """A tap was shut as the pump began: what looks like more than half of the delivery stands for a minute.
    Over a storage with water a draw may balance it."""
    plant = traces.plant(traces.Trace(motor=CONTACT, extra={"level": 0.05}))
    judge, at_us = Engine(plant).judge, 10**12
    look = Look(
        at_us=at_us, start_us=at_us - 80_000_000, age_s=80.0, window_s=20.0, samples=20, entire=True,
        interval_s=1.0, pressure_start_pa=judge.usual.start_pa, pressure_pa=judge.usual.start_pa,
        pressure_high_pa=judge.usual.start_pa, slope_m3_s=0.0, slope_pa_s=0.0, slope_first_m3_s=None,
        slope_before_m3_s=None, noise_pa=200.0, motor_level=None, flow_m3_s=None, discharge_pa=None,
        suction_pa=None,
    )  # fmt: skip
    seen = Witness(False, False, False, 0.58, None, look.start_us, low)
    story = Story(run_us=look.start_us, flat_since_us=at_us - flat_s * 1_000_000)
    known = SimpleNamespace(witness=seen, story=story, usual=judge.usual, plant=plant)
    detector = DrySupply(plant)
    said = [word for _ in range(3) for word in detector.look(look, cast(Known, known))]
    assert bool(said) is dry
