"""Runs that samples a minute apart hardly meet: delivery by how many words of the motor they last.

Made up here: runs of a true length, each seen by a motor that speaks once a minute, at any phase.
"""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec.structs import replace

from analytics.judging.counted import Counted, left, lengths, note
from analytics.judging.decline import decline
from analytics.judging.signature import LESSON, Signature
from analytics.judging.watch import Known
from analytics.records import Cycle
from analytics.seeing.events import Run
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT

BEGAN_US = 1_900_000_000_000_000
EVERY_S = 60.0
W = 0.02


def seen(start_s: float, true_s: float, rng: np.random.Generator, drawn: float = 0.0) -> Run | None:
    """A run as a motor that speaks each minute shows it; None where no word fell into it."""
    phase = EVERY_S * rng.random()
    words = int(np.floor((true_s + phase) / EVERY_S))
    if words == 0:
        return None
    start_us = BEGAN_US + int(1e6 * start_s)
    stop_us = start_us + int(1e6 * true_s)
    cycle = Cycle(start_us, stop_us, true_s, 3600.0, LOW, HIGH, W, demand_m3_s=drawn, motor_level=600.0)
    return Run(stop_us, cycle, True, EVERY_S, pressure_low_pa=LOW, motor_s=words * EVERY_S)


def lived(share_by_day: list[float], a_day: int, seed: int, clean_s: float = 75.0) -> list[Run]:
    """In a quarter of the runs up to half of what the pump gives is drawn, unseen."""
    rng, runs = np.random.default_rng(seed), []
    for day, share in enumerate(share_by_day):
        for at in sorted(rng.random(a_day)):
            hidden = 0.5 * rng.random() if rng.random() < 0.25 else 0.0
            run = seen(86_400.0 * (day + at), clean_s / share / (1.0 - hidden), rng)
            if run is not None:
                runs.append(run)
    return runs


def called_on(runs: list[Run]) -> float | None:
    """The day on which the loss is sure."""
    counted = Counted()
    for run in runs:
        note(counted, run, True)
        found = left(counted, W)
        if found is not None and found.sure:
            return (run.at_us - BEGAN_US) / 86_400e6
    return None


@pytest.mark.parametrize("a_day", [8, 30])
def test_half_the_delivery_gone_is_called_within_some_days(a_day: int) -> None:
    for seed in range(10):
        day = called_on(lived([1.0] * 8 + [0.5] * 6, a_day, seed))
        assert day is not None
        assert 8.0 < day < 12.0


@pytest.mark.parametrize("metered", [True, False])
def test_what_a_meter_sees_drawn_within_runs_is_no_loss(metered: bool) -> None:
    """A garden that draws half of what the pump gives, within all runs of six days, beside none."""
    rng, runs = np.random.default_rng(3), lived([1.0] * 8, 20, 3)
    for day in range(8, 14):
        for at in sorted(rng.random(20)):
            if (run := seen(86_400.0 * (day + at), 150.0, rng)) is not None:
                runs.append(replace(run, flow_m3_s=0.5 * W / 75.0 if metered else None))
    assert (called_on(runs) is None) is metered


@pytest.mark.parametrize("clean_s", [40.0, 75.0, 150.0])
def test_a_year_of_sound_runs_is_never_called(clean_s: float) -> None:
    called = [called_on(lived([1.0] * 75, 20, seed, clean_s)) for seed in range(5)]
    assert called == [None] * 5


def test_one_day_of_guests_is_no_loss() -> None:
    for seed in range(10):
        assert called_on(lived([1.0] * 8 + [0.55] + [1.0] * 5, 30, seed)) is None


def test_what_is_drawn_about_the_runs_is_added_to_what_they_fill() -> None:
    """A drip line that takes four tenths from now on: runs last longer, and the pump gives as ever."""
    rng, counted = np.random.default_rng(3), Counted()
    for day in range(12):
        drip = 0.4 if day >= 6 else 0.0
        for at in sorted(rng.random(30)):
            run = seen(86_400.0 * (day + at), 75.0 / (1.0 - drip), rng, drip * W / 75.0)
            if run is not None:
                note(counted, run, True)
        found = left(counted, W)
        assert found is None or not found.sure


@pytest.mark.parametrize("known", [True, False])
def test_what_empties_the_band_in_the_rest_before_is_drawn_about_the_run(known: bool) -> None:
    """The same where no slope tells the drip: it takes the band from cut-out to cut-in in each rest."""
    rng, counted, drip, told = np.random.default_rng(3), Counted(), 0.4, False
    for day in range(12):
        for at in sorted(rng.random(30)):
            run = seen(86_400.0 * (day + at), 75.0 / (1.0 - drip) if day >= 6 else 75.0, rng)
            if run is not None and day >= 6:
                run = replace(run, cycle=dataclasses.replace(run.cycle, rest_before_s=75.0 / drip))
            if run is not None:
                note(counted, run, True, W if known else 0.0)
        found = left(counted, W)
        told = told or (found is not None and found.sure)
    assert told is not known


def test_decline_counts_runs_that_have_no_slope_and_lays_them_to_the_motors_power() -> None:
    known = cast(
        Known,
        SimpleNamespace(
            plant=PLANT, signature=Signature(), water=SimpleNamespace(true=True),
            usual=SimpleNamespace(drawdown_m3=W), is_open=lambda fault, of=None: False,
        ),
    )  # fmt: skip
    found = None
    for run in lived([1.0] * 8 + [0.5] * 6, 30, 1):
        known.signature.learn(run, True, 0.5 * (HIGH - LOW))
        found = decline(known, EVERY_S)
    assert not known.signature.recent  # none of them has a slope
    assert found is not None
    assert found.sure
    assert found.left < 0.75
    assert found.clog > 0.5  # the motor works as ever


@pytest.mark.parametrize("every_s", [30.0, 14.7])
def test_a_lesson_of_far_samples_lasts_a_day(every_s: float) -> None:
    """A garden's two dozen runs in an evening are not how the household's look; nor are they where words that
    are due each quarter of a minute come somewhat sooner."""
    signature = Signature()
    for at in range(LESSON + 20):
        stop_us = BEGAN_US + at * 360_000_000
        cycle = Cycle(stop_us - 90_000_000, stop_us, 90.0, 270.0, LOW, HIGH, W, 2e-4, 2e-4, 1e-5, 2e-4)
        run = Run(stop_us, cycle, True, every_s, -1e-5, 2e-4, -1e-5, pressure_low_pa=LOW, motor_s=90.0)
        signature.learn(run, True, 0.5 * (HIGH - LOW))
    assert signature.learned_us is None


def test_two_days_alike_of_which_one_knows_no_motor_level_are_judged() -> None:
    hour_us = 3_600e6
    lesson = [[at * 3.0 * hour_us, 60.0, 0.0, 500.0, 60.0] for at in range(24)]
    days = [
        [(100.0 + 25.0 * day + at) * hour_us, 60.0, 0.0, level, 60.0]
        for day, level in enumerate((500.0, -1.0))
        for at in range(8)
    ]
    found = left(Counted([], days, lengths(lesson)), 0.02)
    assert found is not None
    assert found.share == 1.0
    assert not found.sure


def test_of_a_lesson_that_is_over_only_what_its_runs_say_together_is_kept() -> None:
    counted = Counted()
    for run in lived([1.0] * 8, 30, 1):
        note(counted, run, True)
    assert counted.clean is not None
    assert counted.lesson == []
