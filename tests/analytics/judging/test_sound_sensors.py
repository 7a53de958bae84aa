"""What looks like a lying sensor, and is the plant's doing or the sampling's; and the other way round."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judging.climbs import Witness
from analytics.judging.contradiction import _delivered
from analytics.judging.flutter import goes_on, is_stray
from analytics.judging.wild_gauge import turns_back
from analytics.records import Cycle
from analytics.seeing.events import Run
from tests.analytics import traces

sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))
from holding import CUT_IN, CUT_OUT, DAY_S, Floats, Holding, told

BAND = CUT_OUT - CUT_IN


def a_run(start: float, stop: float, low: float, high: float, lasts_s: float = 60.0) -> Run:
    """Pressures as shares of the band above cut-in, of the plate's plant."""
    usual = Engine(traces.plant()).judge.usual
    start, stop, low, high = (usual.start_pa + share * usual.band_pa for share in (start, stop, low, high))
    cycle = Cycle(0, int(lasts_s * 1e6), lasts_s, 600.0, pressure_start_pa=start, pressure_stop_pa=stop)
    return Run(
        at_us=0, cycle=cycle, entire=True, interval_s=2.0, pressure_low_pa=low, pressure_high_pa=high
    )  # fmt: skip


def test_motor_signal_that_sees_one_run_of_three_may_miss_five_in_a_row() -> None:
    """Of runs of 25 s a word a minute meets two in five; of a steady draw several fall in ten minutes."""
    seen = Witness()
    for k in range(40):
        climbs = [(at, at + 20_000_000) for at in range(k * 600_000_000, (k + 1) * 600_000_000, 200_000_000)]
        seen.moved, seen.ons = True, 1
        seen.hear(climbs, None, 0, 0.0, [True] * len(climbs))
    for k in range(5):
        high_us = 10**12 + k**2 * 100_000_000
        seen.hear([(high_us - 20_000_000, high_us)], None, 0, 0.0, [True])
    assert seen.row == 5
    assert not seen.convicted


def test_runs_that_fill_a_tank_without_air_between_two_words_are_no_stray_words() -> None:
    """Up by half the band and down again: at start and stop pressure is told to be the same."""
    usual = Engine(traces.plant()).judge.usual
    assert is_stray(a_run(0.5, 0.52, 0.48, 0.53), usual)
    assert not is_stray(a_run(0.5, 0.52, 0.4, 0.95), usual)


def test_a_gauge_that_goes_up_and_down_while_the_motor_runs_is_not_wild() -> None:
    value = np.array([0.0, 1.0, 0.0, 1.0, 0.0])
    assert turns_back(value, 0.5) == 3
    assert turns_back(value, 0.5, np.array([True, True, False, False])) == 1


@pytest.mark.parametrize(("stop", "filled"), [(0.02, False), (-0.3, False), (0.9, True)])
def test_a_run_that_moves_no_water_takes_none_from_the_storage(stop: float, filled: bool) -> None:
    """So a level that stands through hours of a lost prime is not stuck."""
    usual = Engine(traces.plant()).judge.usual
    run = a_run(0.0, stop, min(0.0, stop), max(0.0, stop))
    assert _delivered(run, usual) is filled
    cycle = replace(run.cycle, pressure_stop_pa=None)
    assert _delivered(msgspec.structs.replace(run, cycle=cycle), usual)


@pytest.mark.parametrize("every_s", [10.0, 30.0])
def test_gauge_with_half_a_band_of_noise_is_no_stuck_switch(every_s: float) -> None:
    """Two words of three lie above the cut-out now and then."""
    made = Holding(every_s=every_s, motor_every_s=every_s, demand_m3_s=5e-5)
    rng = np.random.default_rng(5)

    def noisy(t: Floats, true: Floats) -> Floats:
        return np.where(t > 1.4 * DAY_S, true + rng.normal(0.0, 0.5 * BAND, len(t)), true)

    made.spoil = {"pressure": noisy}
    assert "overpressure" not in {fault for fault, _, _ in told(made.outcome(3.0))}


def test_a_run_that_the_motors_signal_breaks_in_two_is_no_narrow_band() -> None:
    """It says "off" for a word amid the band, and pressure goes on as before; a switch of a narrow one starts
    the pump lower down than it stopped it."""
    usual = Engine(traces.plant()).judge.usual
    stopped_pa = usual.start_pa + 0.4 * usual.band_pa
    assert goes_on(a_run(0.42, 0.7, 0.4, 0.72), stopped_pa, usual)
    assert not goes_on(a_run(0.1, 0.4, 0.08, 0.42), stopped_pa, usual)
    assert not goes_on(a_run(0.42, 0.95, 0.05, 1.0, lasts_s=10.0), stopped_pa, usual)  # no air in the tank
    assert not goes_on(a_run(0.42, 0.7, 0.4, 0.72), usual.stop_pa, usual)
