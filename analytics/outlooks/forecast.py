"""Days to empty as a distribution, and the scores that keep it honest.

The owner's own days are played again: from every day of the record the days that followed it are
laid end to end (the record is closed to a ring) and drawn from what is in the tank. All starts are
used, or, once four weeks are known, those on the weekday that comes next, so that a Sunday without
watering falls where Sundays fall: a bootstrap of whole stretches, all of them, hence no randomness.
Two things such a ring cannot know are put on top, as a factor on the demand with nine equally
likely values: that a mean of few days is itself uncertain (its standard error), and that habits and
seasons drift (DRIFT_WEEK a week ahead, or what the owner's own weeks show where that is more).

In a season that turns, last month's days are not tomorrow's. The newest PLAYED_DAYS are played, and scaled as
one so that their mean is the level of late: the mean of all days, each weighted by exp(-age / LEVEL_DAYS). Of
demand that keeps its level this costs next to nothing; of made-up gardens whose need goes from 0.5 to 1.5
over the year, with weekdays, zones by turns and a scatter of a quarter besides, it puts 78 % of the truths
inside the 80 % band, and plain days 61 % (`tests/analytics/outlooks/test_turning_season.py` has the like).

Rain is left out: it is a scenario, not a forecast.

Source of the method: moving-block bootstrap (Kuensch 1989), circular (Politis & Romano 1992), taken
exhaustively; scores: Gneiting & Raftery 2007.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

#: Days of demand that are kept and played again: eight weeks, long enough for weekends and guests,
#: short enough that winter does not speak for summer.
RECORD_DAYS = 56
#: Demand's drift for each week ahead, as a share: common practice, no source; a garden's need
#: doubles or halves over a season of some ten weeks, 7 % a week.
DRIFT_WEEK = 0.07
DRIFT_MOST = 0.35
#: Four weeks, of whole weeks for the weekdays; ten days, between the scatter of days (the mean of 2 * 10 of
#: them is good to a twentieth) and a season's turn, 7 % a week; no scale beyond LEVEL_MOST.
PLAYED_DAYS, LEVEL_DAYS, LEVEL_MOST = 28, 10.0, 2.0
#: Two years: beyond it "days to empty" says nothing.
HORIZON_DAYS = 730.0
#: Midpoints of nine equally likely parts of a standard normal.
_NODES = np.array([-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932])


def days_to_empty(
    usable_m3: float, daily_m3: Sequence[float | None], quantiles: Sequence[float] = (0.1, 0.5, 0.9)
) -> tuple[float, ...] | None:
    """Quantiles of the days until `usable_m3` is drawn. None while no day of demand is known.

    daily_m3: net draw of each past day, oldest first, yesterday last; None for a day that could not
    be measured (it is skipped). HORIZON_DAYS stands for "not within two years".

    >>> [round(days, 1) for days in days_to_empty(10.0, [1.0] * 28)]
    [9.0, 10.0, 11.1]
    """
    known = tuple(day for day in daily_m3[-RECORD_DAYS:] if day is not None)
    if not known:
        return None
    by_week = len(known) == min(len(daily_m3), RECORD_DAYS) and len(known) >= 28
    if usable_m3 <= 0.0:
        return tuple(0.0 for _ in quantiles)
    ring = _ring(known, by_week)
    return tuple(_quantiles(_empties(usable_m3 / _factors(usable_m3, ring), ring), quantiles))


class Ring(NamedTuple):
    """The days that are played, what they draw so far (`_drawn`), and what of them tells how sure they are:
    their own error and their drift a week, as shares of their mean."""

    played: NDArray[np.float64]
    drawn: NDArray[np.float64]
    mean_m3: float
    total_m3: float
    own_error: float
    drift_week: float


@lru_cache(maxsize=16)  # a storage is asked of hour by hour, and its days change once in a day
def _ring(daily_m3: tuple[float, ...], by_week: bool) -> Ring:
    played = _of_late(np.array(daily_m3, np.float64))
    mean, count = float(played.mean()), min(len(played), 2.0 * LEVEL_DAYS)
    own_error = drift = 0.0
    if mean > 0.0:
        spread = float(played.std(ddof=1)) / mean if count > 1 else 0.5
        own_error = spread / sqrt(count) * (1.0 + 2.0 / count)
        drift = max(DRIFT_WEEK, _weekly_drift(played))
    return Ring(played, _drawn(played, by_week), mean, float(played.sum()), own_error, drift)


def _quantiles(values: NDArray[np.float64], shares: Sequence[float]) -> list[float]:
    """NumPy's of finite numbers, to the last digit, without its preparations (which load masked arrays)."""
    ordered = np.sort(values, axis=None)
    last = len(ordered) - 1
    found = []
    for share in shares:
        at = share * last
        below = int(at)
        part, low, high = at - below, float(ordered[below]), float(ordered[min(below + 1, last)])
        found.append(high - (high - low) * (1.0 - part) if part >= 0.5 else low + (high - low) * part)
    return found


def _of_late(daily_m3: NDArray[np.float64]) -> NDArray[np.float64]:
    """The newest days, brought to the level of late."""
    played, count = daily_m3[-PLAYED_DAYS:], len(daily_m3)
    mean = float(played.mean())
    if mean <= 0.0:
        return played
    weights = np.exp(-(np.arange(count, 0.0, -1.0) - 0.5) / LEVEL_DAYS)
    level = float((weights * daily_m3).sum() / weights.sum())
    return np.asarray(played * min(max(level / mean, 1.0 / LEVEL_MOST), LEVEL_MOST))


def _factors(usable_m3: float, ring: Ring) -> NDArray[np.float64]:
    """Nine equally likely factors on the demand, as far ahead as the tank is likely to last."""
    if ring.mean_m3 <= 0.0:
        return np.ones(1)
    weeks = min(usable_m3 / ring.mean_m3, HORIZON_DAYS) / 7.0
    drift = min(ring.drift_week * sqrt(weeks), DRIFT_MOST)
    sigma = min(sqrt(ring.own_error**2 + drift**2), 1.0)
    return np.asarray(np.exp(sigma * _NODES))


def _weekly_drift(daily_m3: NDArray[np.float64]) -> float:
    """How much the owner's mean moves from one week to the next beyond what its days' scatter explains."""
    weeks = len(daily_m3) // 7
    if weeks < 4:
        return 0.0
    table = daily_m3[-7 * weeks :].reshape(weeks, 7)
    means = table.mean(axis=1)
    scatter = float(np.mean(table.var(axis=1, ddof=1))) / 7.0
    steps = float(np.mean(np.diff(means) ** 2)) - 2.0 * scatter
    return sqrt(max(steps, 0.0)) / float(means.mean())


def _drawn(daily_m3: NDArray[np.float64], by_week: bool) -> NDArray[np.float64]:
    """Drawn so far, after each day of two laps of the ring of days: a row each start."""
    count = len(daily_m3)
    starts = np.arange(count % 7, count, 7) if by_week else np.arange(count)
    ring = daily_m3[(starts[:, None] + np.arange(2 * count)[None, :]) % count]
    return np.asarray(np.maximum.accumulate(np.cumsum(ring, axis=1), axis=1))


def _empties(usable_m3: NDArray[np.float64], ring: Ring) -> NDArray[np.float64]:
    """Days until each of K amounts is drawn, from each of S starts on the ring of days: (K, S)."""
    drawn, total = ring.drawn, ring.total_m3
    starts, most = drawn.shape
    if total <= 0.0 and ring.played.max() <= 0.0:
        return np.full((len(usable_m3), starts), HORIZON_DAYS)
    laps = np.clip(usable_m3 // total - 1.0, 0.0, HORIZON_DAYS) if total > 0.0 else 0.0 * usable_m3
    left = (usable_m3 - laps * total)[:, None]
    day = np.count_nonzero(drawn < left[:, :, None], axis=2)
    rows, at = np.arange(starts), np.minimum(day, most - 1)
    before = np.where(at > 0, drawn[rows, at - 1], 0.0)
    part = (left - before) / np.maximum(drawn[rows, at] - before, 1e-12)
    days = laps[:, None] * len(ring.played) + at + np.clip(part, 0.0, 1.0)
    return np.asarray(np.minimum(np.where(day < most, days, HORIZON_DAYS), HORIZON_DAYS))


def pinball(truth: ArrayLike, forecast: ArrayLike, share: float) -> float:
    """Mean quantile score: share (y - f) where y >= f, (1 - share)(f - y) where not. No factor 2.

    >>> round(pinball([1, 2, 3], [0, 2, 3], 0.1), 4)
    0.0333
    """
    miss = np.subtract(truth, forecast, dtype=np.float64)
    return float(np.mean(np.maximum(share * miss, (share - 1.0) * miss)))


def interval_score(truth: float, low: float, high: float, alpha: float) -> float:
    """Width plus 2/alpha times what the truth lies outside (Winkler 1972; Gneiting & Raftery 2007).

    >>> interval_score(95, 40, 80, 0.2)
    190.0
    """
    return (high - low) + 2.0 / alpha * (max(low - truth, 0.0) + max(truth - high, 0.0))


def coverage(truth: ArrayLike, low: ArrayLike, high: ArrayLike) -> float:
    """Share of truths inside their band, ends included."""
    inside = (np.asarray(truth) >= np.asarray(low)) & (np.asarray(truth) <= np.asarray(high))
    return float(np.mean(inside))
