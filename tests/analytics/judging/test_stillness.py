"""A gauge that says the same for longer than it ever did: stuck, by its own measure."""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))
from holding import CUT_IN, CUT_OUT, DAY_S, Holding, at_s, last_words, told

from analytics.engine import Engine
from analytics.seeing.stillness import DOUBTFUL, LONGER, MOVES, STUCK, Stillness, Stood

DAY = 86_400


def gauge(seconds: int, digit: float, seed: int = 3) -> np.ndarray:
    """Normal noise of 1, told to a digit: of the coarser, rows of equal words are long."""
    return np.round(np.random.default_rng(seed).normal(50.0, 1.0, seconds) / digit) * digit


def heard(value: np.ndarray, cuts: list[int]) -> tuple[np.ndarray, list[Stood]]:
    stillness, said, stood = Stillness(), [], []
    time_us = np.arange(len(value), dtype=np.int64) * 1_000_000
    for first, past in pairwise([0, *cuts, len(value)]):
        fresh = Stillness()
        fresh.restore(stillness.saved())
        some, found = fresh.hear(0, time_us[first:past], value[first:past])
        said.append(some)
        stood += found
        stillness = fresh
    return np.concatenate(said), stood


@pytest.mark.parametrize("digit", [0.1, 0.5, 2.0, 5.0, 8.0])
def test_a_month_of_noise_convicts_nobody(digit: float) -> None:
    """Pressure rests here or there, an hour at a time: amid a digit, or at the edge of one."""
    rests = np.random.default_rng(1).uniform(0.0, 20.0, 30 * 24)
    noise = np.random.default_rng(3).normal(50.0, 1.0, 30 * DAY)
    said, stood = heard(np.round((noise + np.repeat(rests, 3600)) / digit) * digit, [])
    assert stood == []
    assert not (said == STUCK).any()


def test_a_coarse_gauge_that_rests_longer_than_ever_is_not_stuck() -> None:
    """Noise of an eighth of a digit; draws each five minutes, and one day none for three hours."""
    rests = np.repeat(np.random.default_rng(1).uniform(0.0, 20.0, 3 * 288), 300)
    rests[2 * DAY + 20_000 : 2 * DAY + 31_000] = 14.0
    value = np.round((np.random.default_rng(3).normal(50.0, 1.0, 3 * DAY) + rests) / 8.0) * 8.0
    assert heard(value, [])[1] == []


@pytest.mark.parametrize("digit", [0.1, 2.0])
def test_what_is_said_goes_by_the_words_and_not_by_the_chunks(digit: float) -> None:
    value = gauge(3 * DAY, digit)
    value[200_000:200_400] = value[200_000]
    whole = heard(value, [])
    cut = heard(value, [1, 500, 2 * DAY - 1, 2 * DAY, 2 * DAY + 1, 200_003, 200_017, 200_200, 210_000])
    assert whole[1] == cut[1]
    assert (whole[0] == cut[0]).all()
    assert len(whole[1]) == 1
    assert whole[1][0].since_us <= 200_000 * 1_000_000 < whole[1][0].at_us
    assert set(np.unique(whole[0])) == {MOVES, DOUBTFUL, STUCK}


def test_longer_than_the_longest_row_so_far_by_the_factor_it_names() -> None:
    """Held against rows counted one by one."""
    value = gauge(2 * DAY + 5000, 2.0)
    longest = row = 1
    for before, now in pairwise(value[: 2 * DAY]):
        row = row + 1 if now == before else 1
        longest = max(longest, row)
    value[2 * DAY + 1000 :] = value[2 * DAY + 999]
    _, stood = heard(value, [])
    assert [one.usual for one in stood] == [longest]
    assert stood[0].words == LONGER * longest + 1


@pytest.mark.parametrize("value", [-1000.0, 1000.0])
def test_the_end_of_the_scale_may_stand(value: float) -> None:
    shown = gauge(3 * DAY, 0.5)
    shown[2 * DAY + 9000 :] = value
    assert heard(shown, [])[1] == []


def test_one_that_repeats_itself_each_night_may_stand() -> None:
    shown = gauge(3 * DAY, 0.5)
    for day in range(3):
        shown[day * DAY + 3600 : day * DAY + 20_000] = 50.0
    shown[2 * DAY + 30_000 : 2 * DAY + 60_000] = 50.0
    assert heard(shown, [])[1] == []


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_signs_of_life_of_one_that_speaks_on_change_are_no_row(noise: float) -> None:
    """It speaks where it has moved by two, or each ten minutes; in the third night nobody draws for hours."""
    t = np.arange(0, 3 * DAY)
    quiet = (t > 2 * DAY + 20_000) & (t < 2 * DAY + 50_000)
    level = np.cumsum(np.where(quiet, 0.0, np.random.default_rng(1).normal(0.0, 0.3, len(t)))) % 20.0
    shown = np.round(level + noise * np.random.default_rng(2).normal(0.0, 0.1, len(t)))
    keep, last, last_s = np.zeros(len(t), np.bool_), -9.0, -9999
    for at, value in enumerate(shown.tolist()):
        if abs(value - last) >= 2.0 or at - last_s >= 600:
            keep[at], last, last_s = True, value, at
    stillness = Stillness()
    time_us = t[keep].astype(np.int64) * 1_000_000
    assert stillness.hear(0, time_us, shown[keep])[1] == []


def test_a_gauge_that_sticks_in_a_run_is_called_in_it_and_nothing_else_is() -> None:
    """A contact and a gauge: it sticks three seconds after a start, as prime that is lost would look."""
    holding = Holding(every_s=1.0, motor_every_s=1.0, demand_m3_s=1e-4)
    at, _, ran_s = holding._knots(3.0)
    start_s = at[:-1][(np.diff(ran_s) > 0.0) & (at[:-1] > 2.4 * DAY_S)][0]
    stuck_pa = CUT_IN + 0.02 * (CUT_OUT - CUT_IN)
    holding.spoil = {"pressure": lambda t, true: np.where(t > start_s + 3.0, np.round(stuck_pa), true)}
    outcome = holding.outcome(2.9)
    assert [(fault, cause) for fault, cause, _ in told(outcome)] == [("sensor_fault", "stuck")]
    found = last_words(outcome)[0]
    assert at_s(found.raised_us) < start_s + 60.0
    assert "times running" in found.summary


def test_the_engine_is_as_sure_after_a_restart() -> None:
    holding = Holding(
        every_s=10.0, spoil={"pressure": lambda t, true: np.where(t > 2.1 * DAY_S, 2.8e5, true)}
    )
    readings = holding.readings(2.5)
    engine = Engine(holding.plant())
    half = len(readings) * 4 // 5
    first = engine.feed(readings[:half])
    again = Engine.restore(holding.plant(), engine.snapshot())
    second = again.feed(readings[half:])
    whole = Engine(holding.plant()).feed(readings)
    assert (first.findings + second.findings)[-1].raised_us == whole.findings[-1].raised_us
    assert whole.findings[-1].cause == "stuck"
