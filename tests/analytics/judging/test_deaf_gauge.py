"""A line gauge that dies away slowly, and other sensors that make a sound pump look as if it moved none."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judging.deaf_gauge import Deaf
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.readings import Readings
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces

sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))
from holding import CUT_IN, CUT_OUT, DAY_S, Floats, Holding, at_s, last_words, told

BAND = CUT_OUT - CUT_IN


def dying(made: Holding, until_s: float = np.inf) -> float:
    """The third evening, in a rest, the gauge sinks to nothing within minutes; it may come back in the next
    run. Gives when it begins to."""
    at, _, ran_s = made._knots(4.0)
    runs = np.flatnonzero((np.diff(ran_s) > 0.0) & (at[:-1] > 2.5 * DAY_S))
    since_s, back_s = at[runs[0] + 1] + 240.0, at[runs[1]] + until_s
    rng = np.random.default_rng(4)

    def sinks(t: Floats, true: Floats) -> Floats:
        shown = true * np.exp(-np.maximum(t - since_s, 0.0) / 60.0) + rng.normal(0.0, 300.0, len(t))
        return np.where((t > since_s) & (t < back_s), shown, true)

    made.spoil = {"pressure": sinks}
    return since_s


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
def test_gauge_that_dies_away_at_rest_is_blamed_and_neither_pump_nor_line(every_s: float) -> None:
    """The next run, and all after it, are like any other but for what it tells."""
    made = Holding(every_s=every_s, motor_every_s=every_s, demand_m3_s=5e-5)
    since_s = dying(made)
    found = last_words(made.outcome(3.5))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "pressure")]
    assert since_s < at_s(found[0].raised_us) < since_s + 6 * 3600.0


def test_line_that_was_let_down_while_the_power_was_off_and_is_filled_again_is_no_fault() -> None:
    made = Holding(every_s=2.0, motor_every_s=2.0, demand_m3_s=5e-5)
    dying(made, until_s=12.0)
    assert told(made.outcome(3.5)) == []


@pytest.mark.parametrize("at_rest", [0.24, 0.29])
def test_motor_meter_that_has_lost_its_zero_is_no_lost_prime(at_rest: float) -> None:
    """It says of a motor at rest a quarter of what it runs at: less than any pump that turns dry."""
    trace = traces.Trace(demand=traces.steady(4 * traces.LPM), amps_noise=0.1)
    words = traces.readings(trace, 10 * 3600.0, seed=3)
    late = (words.signal == 1) & (words.time_us > traces.START_US + 7 * 3600 * 1_000_000)
    value = np.where(late, np.maximum(words.value, at_rest * trace.amps + 0.1 * words.value), words.value)
    engine = Engine(traces.plant(trace))
    outcomes = [engine.feed(Readings(words.signal, words.time_us, value)), engine.finish()]
    assert {one.fault for outcome in outcomes for one in outcome.findings} <= {"sensor_fault"}


def test_contact_that_closes_a_little_above_cut_in_and_moves_nothing_cycles_no_pump() -> None:
    """Half a minute each time, too short for the motor; a switch that has closed opens at cut-out alone."""
    made = Holding(every_s=2.0, motor_every_s=2.0, demand_m3_s=2e-5)
    at, _, ran_s = made._knots(4.0)
    starts = at[:-1][(np.diff(ran_s) > 0.0) & (at[:-1] > DAY_S)]

    def closes(t: Floats, true: Floats) -> Floats:
        until_s = starts[np.minimum(np.searchsorted(starts, t), len(starts) - 1)] - t
        return np.where((until_s > 120.0) & (until_s < 145.0), 1.0, true)

    made.spoil = {"motor": closes}
    assert "short_cycling" not in {fault for fault, _, _ in told(made.outcome(2.5))}


@pytest.mark.parametrize("every_s", [60.0, 120.0, 300.0])
@pytest.mark.parametrize("to_m", [0.0, 2.3])
def test_level_that_leaps_is_blamed_wherever_in_ten_minutes_it_does(every_s: float, to_m: float) -> None:
    """Neither empty nor overflowing: the storage is as it was."""
    made = Holding(level_every_s=every_s, storage_m3=30.0)
    for minutes in (1.5, 5.5, 9.5):
        since_s = 1.5 * DAY_S + 60.0 * minutes
        made.spoil = {"level": lambda t, true, since_s=since_s: np.where(t > since_s, to_m, true)}  # type: ignore[misc]
        assert told(made.outcome(2.2)) == [("sensor_fault", "implausible", "level")]


def test_level_half_a_metre_below_the_floor_is_no_empty_storage() -> None:
    made = Holding()
    made.spoil = {"level": lambda t, true: np.where(t > 1.5 * DAY_S, -0.5, true)}
    assert told(made.outcome(2.0)) == [("sensor_fault", "out_of_range", "level")]


def test_machine_without_a_pressure_switch_has_no_cut_in_to_be_below() -> None:
    """A circulating pump that never stops, its line at one bar: no burst of a house's."""
    t = np.arange(0.0, 6 * 3600.0, 1.0)
    when = traces.START_US + (t * 1e6).astype(np.int64)
    rng = np.random.default_rng(3)
    pressure = 1.0e5 + 1.0e4 * np.sin(t / 10.0) + rng.normal(0.0, 500.0, len(t))
    amps = 7.0 + rng.normal(0.0, 0.1, len(t))
    parts = [Readings.of(np.full(len(t), k), when, value) for k, value in enumerate((pressure, amps))]
    plant = traces.plant(switch=None, pressure_tank=None)
    engine = Engine(plant)
    outcome = engine.feed(Readings.concatenate(parts).in_time_order())
    assert [one.fault for one in outcome.findings] == []


@pytest.mark.parametrize(
    ("every_s", "level", "knows", "deaf"),
    [(5.0, 1.0, True, True), (60.0, 1.0, True, False), (5.0, 5.0, False, False), (5.0, None, True, True)],
)
def test_rotor_that_stalls_for_seconds_is_no_run_that_a_dead_gauge_has_missed(
    every_s: float, level: float | None, knows: bool, deaf: bool
) -> None:
    """Twenty seconds that trip the protector, with the line run empty, are a minute to words a minute apart;
    and how high a motor's current is nobody knows whose usual one has not been learned."""
    plant = traces.plant(traces.Trace(every_s=every_s))
    water = Water.of(plant)
    usual = replace(reference(plant, water, Signature()), motor_level=1.0 if knows else None)
    fill_s = usual.drawdown_m3 / usual.delivery_m3_s
    assert 60.0 < fill_s < 120.0
    memory = Deaf()
    for at_us in range(traces.START_US, traces.START_US + 3 * 3_600_000_000, 3_600_000_000):
        cycle = Cycle(at_us, at_us + int(fill_s * 1e6), fill_s, 3000.0, motor_level=level)
        run = Run(at_us, cycle, True, every_s, pressure_low_pa=0.0, pressure_high_pa=500.0, rested_pa=500.0)
        memory.hear(run, usual)
    assert memory.convicts is deaf
