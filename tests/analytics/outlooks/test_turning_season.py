"""Days to empty while the season turns: demand of late counts, last month's does not.

Made-up gardens: need over the year as a cosine about the end of July (an owner's drip times follow the
weather), more at the weekend, a zone each second day, days scattered by a quarter. Written for this test.
"""

from __future__ import annotations

import numpy as np
import pytest

from analytics.outlooks.forecast import coverage, days_to_empty


def garden(rng: np.random.Generator, swing: float, days: int) -> np.ndarray:
    begins, week = rng.uniform(0, 365), rng.integers(7)
    day = np.arange(days)
    season = 1.0 + swing * np.cos(2 * np.pi * (begins + day - 208) / 365)
    weekend = np.where(day % 7 == week, 1.3, 1.0)
    zone = np.where(day % 2 == 0, 0.5, 0.0) * rng.integers(2)
    return season * (0.6 * weekend * rng.lognormal(0.0, 0.25, days) + zone)


def outcome(swing: float, lasts: float, gardens: int) -> tuple[float, np.ndarray]:
    """Share of truths inside the band, and the median's error as a logarithm."""
    lows, highs, truths, middles = [], [], [], []
    for seed in range(gardens):
        rng = np.random.default_rng(seed)
        known = int(rng.integers(20, 70))
        drawn = garden(rng, swing, known + 60)
        usable = lasts * float(drawn[known - 3 : known + 1].mean())
        gone = np.cumsum(drawn[known:])
        last = int(np.searchsorted(gone, usable))
        truths.append(last + 1 - (gone[last] - usable) / drawn[known + last])
        low, middle, high = days_to_empty(usable, drawn[:known].tolist()) or (0.0, 0.0, 0.0)
        lows, middles, highs = [*lows, low], [*middles, middle], [*highs, high]
    return coverage(truths, lows, highs), np.log(np.array(middles) / truths)


@pytest.mark.parametrize("swing", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("lasts", [4.0, 10.0])
def test_band_holds_in_a_season_that_turns(swing: float, lasts: float) -> None:
    """The rest of a swing of 0.5 is the bend that nobody can know: 7 % a week for ten days of memory."""
    inside, error = outcome(swing, lasts, 200)
    assert inside > 0.7
    assert abs(float(np.median(error))) < 0.05


def test_guests_a_week_ago_are_in_the_forecast_as_they_are() -> None:
    """Five weeks of one, then a week of two a day: nearer to two, not their mean, which makes 8.6 days."""
    found = days_to_empty(10.0, [1.0] * 35 + [2.0] * 7)
    assert found is not None
    assert 5.0 < found[1] < 7.5


def test_a_winter_behind_is_no_summer() -> None:
    """Demand that doubled in eight weeks, as a garden's does in spring: at 4 a day 12 m3 are three days."""
    found = days_to_empty(12.0, np.linspace(2.0, 4.0, 56).tolist())
    assert found is not None
    assert 2.9 < found[1] < 3.6
