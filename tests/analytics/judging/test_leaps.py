"""A line gauge that leaps and stays: dead, or with another zero."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from analytics.judging.leaps import Leap, Leaps
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.seeing.beats import BEAT_US, Beat, Span
from analytics.seeing.water import Water
from tests.analytics import traces

sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))
from holding import CUT_IN, CUT_OUT, DAY_S, Floats, Holding, at_s, last_words, told

Change = Callable[[Floats, Floats], Floats]
BAND = CUT_OUT - CUT_IN


def holding(every_s: float, leap: Change, resting: bool = True) -> tuple[Holding, float]:
    """The third evening: it leaps some minutes after a stop, or in a run."""
    made = Holding(every_s=every_s, motor_every_s=every_s, demand_m3_s=5e-5)
    at, _, ran_s = made._knots(4.0)
    runs = np.flatnonzero((np.diff(ran_s) > 0.0) & (at[:-1] > 2.5 * DAY_S))
    since_s = at[runs[0] + 1] + 240.0 if resting else at[runs[0]] + 30.0
    made.spoil = {"pressure": lambda t, true: np.where(t > since_s, leap(t, true), true)}
    return made, since_s


def noisy(value: float) -> Change:
    return lambda t, true: value + np.random.default_rng(4).normal(0.0, 300.0, len(t))


@pytest.mark.parametrize(("every_s", "resting"), [(1.0, True), (1.0, False), (10.0, True)])
@pytest.mark.parametrize("value", [0.0, -25e3, 6e3])
def test_gauge_that_dies_is_blamed_and_neither_pump_nor_line(
    every_s: float, value: float, resting: bool
) -> None:
    """The motor rests below its cut-in, and runs as ever."""
    made, since_s = holding(every_s, noisy(value), resting)
    found = last_words(made.outcome(3.5))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "pressure")]
    assert since_s < at_s(found[0].raised_us) < since_s + 1500.0
    assert abs(at_s(found[0].onset_us) - since_s) <= every_s


def test_power_that_fails_while_somebody_draws_is_no_dead_gauge() -> None:
    """Asked each minute, of a tank of 40 L: from within the band to nothing between two words, and so for
    hours, with the motor at rest."""
    made = Holding(every_s=60.0, motor_every_s=60.0, demand_m3_s=2e-5, tank_m3=0.04)
    at, _, ran_s = made._knots(4.0)
    stops = at[1:][(np.diff(ran_s) > 0.0) & (at[1:] > 2.5 * DAY_S)]
    since_s = stops[0] + 200.0
    made.spoil = {
        "pressure": lambda t, true: np.where(t > since_s, noisy(0.0)(t, true), true),
        "motor": lambda t, true: np.where(t > since_s, 0.0, true),
    }
    assert "sensor_fault" not in {one.fault for one in last_words(made.outcome(2.8))}


@pytest.mark.parametrize(
    ("every_s", "share"), [(1.0, 0.9), (1.0, -0.3), (1.0, 3.0), (10.0, 0.9), (10.0, 3.0)]
)
def test_gauge_that_has_lost_its_zero_is_blamed_at_the_next_start(every_s: float, share: float) -> None:
    """No switch has moved, and none sticks: it starts the pump where it did, by the gauge as it leapt."""
    made, since_s = holding(every_s, lambda t, true: true + share * BAND)
    found = last_words(made.outcome(3.5))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "pressure")]
    assert found[0].evidence["leapt_to_pa"] - found[0].evidence["leapt_from_pa"] == pytest.approx(
        share * BAND, abs=0.05 * BAND
    )
    next_start_s = 90.0 * 60.0
    assert since_s < at_s(found[0].raised_us) < since_s + next_start_s


def test_gauge_that_leaps_back_is_believed_again() -> None:
    def leap(t: Floats, true: Floats) -> Floats:
        return np.where(t < since_s + 6 * 3600.0, true - 0.6 * BAND, true)

    made, since_s = holding(1.0, lambda t, true: true)
    made.spoil = {"pressure": lambda t, true: np.where(t > since_s, leap(t, true), true)}
    found = last_words(made.outcome(4.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "pressure")]
    assert found[0].cleared_us is not None
    assert since_s + 6 * 3600.0 < at_s(found[0].cleared_us) < since_s + 10 * 3600.0


@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_a_switch_that_has_moved_is_no_gauge_that_leapt(every_s: float) -> None:
    """Pressure goes where it did, by what it did, and starts elsewhere: nothing leapt."""
    made, since_s = holding(every_s, lambda t, true: CUT_IN + 0.3 * BAND + (true - CUT_IN) * 0.7)
    at, _, ran_s = made._knots(4.0)
    tops = at[1:][(np.diff(ran_s) > 0.0) & (at[1:] > since_s)]
    since_s = tops[0]  # at the cut-out, where nothing changes
    assert ("sensor_fault", "implausible", "pressure") not in told(made.outcome(3.5))


@pytest.mark.parametrize("runs", [True, False])
def test_a_motor_that_speaks_on_change_runs_on_between_its_words(runs: bool) -> None:
    """A line that has burst stands at 0.5 bar below an empty tank's charge, from which it has collapsed; the
    motor's current is told when it has changed, twice in ten minutes."""
    plant = traces.plant()
    usual = reference(plant, Water.of(plant), Signature())
    from_us = 3_000_000 * BEAT_US
    leap = Leap(at_us=from_us - 60_000_000, from_pa=2e5, to_pa=5e4, close=True)

    def span(value: float, *at_s: float) -> Span:
        times = from_us + (np.array(at_s) * 1e6).astype(np.int64)
        return Span(len(times), 0, *[value] * 5, times, np.full(len(times), value), 0, len(times))

    spans = {0: span(5e4, 30.0, 300.0), 1: span(4.0 * runs, 40.0, 560.0)}
    beat = Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, spans, BEAT_US / 1e6 * runs)
    Leaps(plant).beat(leap, beat, usual, believed=True)
    assert leap.convicted is not runs
