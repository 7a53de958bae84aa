"""Where a run starts by a gauge that speaks on change: in steps, and seldom while little is drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.plant.description import Measure
from analytics.readings import Readings
from tests.analytics import traces

HOUR = 3600.0
DEAD_BAND_PA = 5000.0
HEARTBEAT_S = 300.0


def on_change(readings: Readings, dead_band_pa: float = DEAD_BAND_PA) -> np.ndarray:
    """Which words of the gauge a sensor with a dead-band sends: those a band away from the last it sent, and
    one whenever it has been silent for a heartbeat. The motor's: all that are new."""
    kept = np.zeros(len(readings.value), np.bool_)
    last: dict[int, tuple[float, float]] = {}
    for place, (signal, time_us, value) in enumerate(
        zip(readings.signal.tolist(), readings.time_us.tolist(), readings.value.tolist(), strict=True)
    ):
        before = last.get(signal)
        least = dead_band_pa if signal == 0 else 0.5
        if before is None or abs(value - before[0]) >= least or time_us - before[1] >= HEARTBEAT_S * 1e6:
            kept[place] = True
            last[signal] = (value, time_us)
    return kept


@pytest.mark.parametrize("litres_per_minute", [1.0, 2.0, 6.0, 12.0])
def test_a_run_starts_at_cut_in_however_fast_pressure_falls(litres_per_minute: float) -> None:
    trace = traces.Trace(
        demand=traces.steady(litres_per_minute * traces.LPM), motor=Measure.PUMP_RUNNING, motor_every_s=5.0
    )
    readings = traces.readings(trace, 12 * HOUR, seed=7)
    heard = readings[on_change(readings)]
    plant = traces.plant(trace)
    plant = replace(plant, signals=tuple(replace(one, every_s=HEARTBEAT_S) for one in plant.signals))
    engine = Engine(plant)
    cycles = [*engine.feed(heard).cycles, *engine.finish().cycles]
    starts = [one.pressure_start_pa for one in cycles[1:] if one.pressure_start_pa is not None]
    assert len(starts) >= 4
    # cut-in is passed within a dead-band after the last word, and the line through four words errs by as much
    assert np.abs(np.array(starts) - 30 * traces.PSI).max() < 2.0 * DEAD_BAND_PA


@pytest.mark.parametrize("litres_per_minute", [3.0, 6.0, 12.0])
def test_the_newest_of_words_far_apart_tell_where_a_rest_ended(litres_per_minute: float) -> None:
    """A gauge that tells 2 kPa is quick after a stop, when it falls as the air cools, and slow at a rest's
    end: the middle of its last three words lies two dead-bands above the start."""
    trace = traces.Trace(
        demand=traces.steady(litres_per_minute * traces.LPM), motor=Measure.PUMP_RUNNING, noise_pa=100.0
    )
    readings = traces.readings(trace, 6 * HOUR, seed=7)
    heard = readings[on_change(readings, 2000.0)]
    plant = traces.plant(trace)
    plant = replace(plant, signals=tuple(replace(one, every_s=HEARTBEAT_S) for one in plant.signals))
    engine = Engine(plant)
    cycles = [*engine.feed(heard).cycles, *engine.finish().cycles]
    starts = [one.pressure_start_pa for one in cycles[1:] if one.pressure_start_pa is not None]
    assert np.median(starts) == pytest.approx(30 * traces.PSI, abs=1000.0)


@pytest.mark.parametrize("every_s", [None, HEARTBEAT_S])
def test_a_contact_that_tells_changes_tells_how_long_runs_last_however_seldom_they_are(
    every_s: float | None,
) -> None:
    """A run every two hours: most of what it says is that it still rests, and its changes come no sooner than
    what it said on a day of many runs."""
    quiet_s = 4 * HOUR

    def draws(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
        return np.where(t < quiet_s, 8.0, 0.25) * traces.LPM

    trace = traces.Trace(demand=draws, motor=Measure.PUMP_RUNNING, motor_every_s=1.0)
    readings = traces.readings(trace, 60 * HOUR, seed=7)
    heard = readings[on_change(readings, 0.0)]
    plant = traces.plant(trace)
    contact = replace(plant.signals[1], every_s=every_s)
    engine = Engine(replace(plant, signals=(plant.signals[0], contact, *plant.signals[2:])))
    runs = []
    note = engine.judge.signature.learn
    engine.judge.signature.learn = lambda run, *more: (runs.append(run), note(run, *more))[1]  # type: ignore[method-assign]
    engine.feed(heard)
    seldom = [run for run in runs if run.cycle.start_us - runs[0].cycle.start_us > quiet_s * 1e6]
    seldom = seldom[6:]  # by then its manner is known
    assert len(seldom) >= 5
    assert max(run.interval_s for run in seldom) <= 1.0
    assert max(abs((run.motor_s or 0.0) - run.cycle.run_time_s) for run in seldom) <= 3.0
