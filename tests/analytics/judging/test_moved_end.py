"""An end of the switch that has moved, and a stop that words only missed."""

from __future__ import annotations

from typing import cast

import pytest

from analytics.faults.switch_drift import SwitchDrift
from analytics.judging.moved_end import Acted, agreed, rested, stops_off
from analytics.judging.trait import Trait
from analytics.judging.watch import Known
from analytics.seeing.events import Rest
from tests.analytics import traces

PSI = traces.PSI
LOW, HIGH, BAND = 30.0 * PSI, 50.0 * PSI, 20.0 * PSI
CLEAN = Trait(HIGH, HIGH, 0.2 * PSI, HIGH)
EVERY_US, RUN_US, HOUR_US = 10_000_000, 40_000_000, 3_600_000_000


def ran(hour: int, stop_psi: float) -> Acted:
    start_us = hour * HOUR_US
    return Acted(start_us, start_us + RUN_US, LOW, stop_psi * PSI, LOW, 0.1, opened=True)


def rests(run: Acted, from_psi: float, late_us: int = 0) -> Rest:
    """The first piece of the rest after a run, by words EVERY_US apart."""
    stop_us = run.stop_us + late_us
    to_us = stop_us + 60 * EVERY_US
    return Rest(to_us, stop_us, stop_us, to_us, 60, True, -1e-6, 1e-8, from_psi * PSI, 48.0 * PSI, None)


def moved(stops_psi: list[float], rests_psi: float) -> bool:
    runs: list[Acted] = []
    for hour, stop_psi in enumerate(stops_psi):
        runs = rested([*runs, ran(hour, stop_psi)], rests(ran(hour, stop_psi), rests_psi, EVERY_US // 2))
    return agreed(runs, stops_off(runs, CLEAN, 0.05 * BAND, 0.0), CLEAN.sigma, BAND) is not None


@pytest.mark.parametrize(("rests_psi", "has"), [(49.5, False), (44.0, True)])
def test_a_tap_that_closes_between_a_runs_last_words_moves_no_switch(rests_psi: float, has: bool) -> None:
    """The last word of three runs was of 44 psi. Where pressure stands at the cut-out after them the tank was
    filled in between; where it stands at 44 the switch has moved."""
    assert moved([50.0, 44.0, 44.2, 43.9], rests_psi) is has


def test_a_rest_says_nothing_of_another_run_nor_of_a_lower_stop() -> None:
    run = ran(0, 49.0)
    assert rested([run], rests(ran(5, 49.0), 50.0)) == [run]
    assert rested([run], rests(run, 40.0)) == [run]  # somebody draws
    assert rested([], rests(run, 50.0)) == []


def test_the_detector_hears_rests() -> None:
    detector, run = SwitchDrift(traces.plant()), ran(0, 44.0)
    detector.memory.acted = [run]
    assert detector.rest(rests(run, 50.0), cast(Known, None)) == ()
    assert detector.memory.acted[0].stop == 50.0 * PSI
