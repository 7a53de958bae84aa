"""Delivery left by the drop across the filter, on clogs made up from the quadratic curves themselves."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from analytics.outlooks.clogging import days_by_any, days_to_flush
from analytics.outlooks.courses import Reading
from analytics.outlooks.filter_drop import Clean, refined

HEAD_PA, CLEAN_PA = 200_000.0, 8_000.0
LEVEL = 0.75


def clog(day: float, doubles_d: float) -> tuple[float, float]:
    """Delivery left and drop after so many days, where the screen's resistance doubles in `doubles_d`."""
    share = CLEAN_PA / HEAD_PA
    grown = 2.0 ** (max(day, 0.0) / doubles_d)
    left = 1.0 / sqrt(1.0 + share * (grown - 1.0))
    return left, grown * CLEAN_PA * left**2


def flush_day(doubles_d: float) -> float:
    """Resistance then: 1 + (1 / 0.75^2 - 1) / share of the clean screen."""
    return doubles_d * float(np.log2(1.0 + (LEVEL**-2 - 1.0) * HEAD_PA / CLEAN_PA))


def days_of(
    rng: np.random.Generator, doubles_d: float, upto: float, off_pa: float = 0.0
) -> list[list[float]]:
    """A quiet week, and then the clog: what a day's runs tell of delivery (2 %) and what two gauges say."""
    found = []
    for day in np.arange(-6.5, upto):
        left, drop = clog(float(day), doubles_d)
        seen = left * (1.0 + 0.02 * rng.standard_normal())
        found.append([float(day), seen, 0.02, drop * (1.0 + 0.02 * rng.standard_normal()) + off_pa])
    return found


@pytest.mark.parametrize("spare", [0.7, 1.0, 1.5])
def test_the_drop_tells_a_small_loss_whatever_the_head_was_taken_for(spare: float) -> None:
    for seed in range(10):
        days = days_of(np.random.default_rng(seed), 3.0, 12.0)
        read = refined(days, Clean(CLEAN_PA, 100.0, spare * HEAD_PA))
        truth = np.array([clog(one[0], 3.0)[0] for one in days])
        middle = np.array([one[1] for one in read[len(read) // 2].points])
        assert np.sqrt(np.mean((middle - truth) ** 2)) < 0.012
        assert np.sqrt(np.mean((np.array([one[1] for one in days]) - truth) ** 2)) > 0.014


def test_a_clean_value_that_is_wrong_is_no_smaller_head() -> None:
    """All days read a twentieth low, those before the clog too: it was laid to the head, and the clog seemed
    to cost twice what it does."""
    for seed in range(10):
        days = days_of(np.random.default_rng(seed), 3.0, 12.0)
        low = [[one[0], 0.95 * one[1], one[2], one[3]] for one in days]
        read = refined(low, Clean(CLEAN_PA, 100.0, HEAD_PA), 0.03)
        middle = np.array([one[1] for one in read[len(read) // 2].points])
        truth = np.array([clog(one[0], 3.0)[0] for one in low])
        assert np.sqrt(np.mean((middle - truth) ** 2)) < 0.02


def test_days_without_a_drop_are_as_they_were() -> None:
    days = [[0.0, 1.0, 0.02], [1.0, 0.97, 0.02]]
    assert refined(days, Clean(CLEAN_PA, 100.0, HEAD_PA)) == [Reading(days)]


def test_bands_hold_four_fifths_of_truths_and_are_narrower_for_the_drop() -> None:
    """Screens whose resistance doubles in two to six days; gauges off by up to 2 kPa, the head by a third."""
    inside, widths, without, asked = 0, [], [], 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        doubles = float(rng.uniform(2.0, 6.0))
        flush = flush_day(doubles)
        now = float(rng.uniform(0.5, 0.95)) * flush
        off = float(rng.uniform(-2_000.0, 2_000.0))
        days = days_of(rng, doubles, now, off)
        clean = Clean(CLEAN_PA + off, 100.0, HEAD_PA * float(np.exp(0.3 * rng.standard_normal())))
        early, _, late = days_by_any(refined(days, clean), LEVEL, 0.005, now)
        bare = days_to_flush([one[:3] for one in days], LEVEL, 0.005, now)
        truth = flush - now
        if early is None:
            continue
        asked += 1
        latest = late if late is not None else float("inf")
        inside += early <= truth <= latest
        widths.append((latest - early) / truth)
        without.append((bare[2] - (bare[0] or 0.0)) / truth if bare[2] is not None else float("inf"))
    assert asked > 45
    assert 0.65 < inside / asked <= 1.0
    assert np.median(widths) < 0.6 * np.median(without)


def test_a_day_that_is_over_counts_from_its_end() -> None:
    days = [[float(day), 1.0 - 0.012 * day, 0.004] for day in range(15)]
    then, later = (days_to_flush(days, LEVEL, 0.001, now) for now in (14.0, 15.5))
    for before, after in zip(then, later, strict=True):
        assert before is not None
        assert after == pytest.approx(before - 1.5, abs=0.01)
