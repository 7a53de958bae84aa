"""When a clogging filter will want flushing: blocking laws, and how sure any of them is.

Physics. See `courses`: the blocking laws by which a screen takes up dirt with the water that passes.

Estimate. Which law, which share f, since which day and how fast is not known: all of a grid are weighed by
their likelihood (Bayes), with the day of the flush itself as the unknown in place of c. Beside them stand
that nothing clogs, and that a loss came at once and stays. Marginalised besides: the error of the clean
value (all days share it) and the scatter of the days. No randomness: sums over a grid, twice, the second
time where the first found the answer.

The day of the flush may lie behind: a level that has been seen passed, by an error, may not have been.

Days that lie together err together (a garden that is watered this week, a cold spell), and n of them tell as
much as n (1 - r) / (1 + r) that do not, with r the correlation of neighbouring residuals about the likeliest
course: weights and count are made less by that. An r that n residuals show by chance (SHOWN / sqrt(n)) is
none; one that is more is put right for the short row, which shows too little of it, by (1 + 4 r) / n.

What no fit knows: how much water, and how dirty, passes from now on: DRIFT_WEEK of `forecast`, which grows
with the square root of the weeks, and DAILY, which the days to come even out, widen what comes out.

Parameters:
    PRIOR     of no loss, of one that stays, of one that grows: none is known to be likelier
    MOST_ALIKE 0.7 of neighbouring days' errors: weather and guests last some days, and exp(-1 / 3) is 0.7
    DAILY     0.25 of a day's water, from one day to the next (common practice, no source)
    TOLD      odds on a loss that grows, below which no day is told: ten to one, "strong" (Jeffreys)

Source: any text on Bayesian model averaging and first-order autocorrelation; r's bias: Kendall 1954 (from
memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.outlooks.courses import (
    STEPS,
    Off,
    Reading,
    Record,
    course,
    evidence,
    growing,
    growth,
    kinds,
    off,
    passed,
    stayed,
)
from analytics.outlooks.forecast import DRIFT_MOST, DRIFT_WEEK

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_POINTS = 5
#: Beyond a year nobody plans a flush.
MOST_DAYS = 366.0
MOST_ALIKE, SHOWN = 0.7, 1.0
TOLD = 10.0
DAILY = 0.25
#: Days on which it may have begun, days of the flush: fine enough, since the scatter of days blurs more.
ONSETS, FLUSHES, FINE, AGO = 20, 32, 40, 12
#: Newest days that are taken one by one; older ones are pooled by threes.
SINGLY = 24
#: Nine equally likely values of a standard normal.
_NODES = np.array([-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932])
Quantiles = tuple[float | None, float | None, float | None]
NOT_TOLD: Quantiles = (None, None, None)


def days_to_flush(
    points: Sequence[Sequence[float]], level: float, common: float, now: float | None = None
) -> Quantiles:
    """Days from `now` (the last point, where none is said) until delivery left falls to `level`.

    The tenth, fiftieth and ninetieth percentile.

    points: (day, delivery left over clean, its standard error by the day's runs), in order of time.
    common: standard error of the clean value, which all points share. None: beyond MOST_DAYS; three times
    None: no clog can be told.

    >>> linear = [(d, 1.0 - 0.01 * d, 0.005) for d in range(16)]
    >>> early, middle, late = days_to_flush(linear, 0.75, 0.001)
    >>> early < 10.0 < late
    True
    """
    return days_by_any([Reading(points)], level, common, now)


def days_by_any(
    readings: Sequence[Reading], level: float, common: float, now: float | None = None
) -> Quantiles:
    """The same where the days can be read in several ways, each as likely as another."""
    points = readings[len(readings) // 2].points
    if len(points) < LEAST_POINTS:
        return NOT_TOLD
    told = [one for some in readings if (one := _told(some, level, common)) is not None]
    if 2 * len(told) <= len(readings):
        return NOT_TOLD
    passed = max(now - points[-1][0], 0.0) if now is not None else 0.0
    days, share, never = (np.concatenate([one[k] for one in told]) for k in range(3))
    return _quantiles(np.maximum(days - passed, 0.0), share, float(never.mean()))


def _told(reading: Reading, level: float, common: float) -> tuple[Floats, Floats, Floats] | None:
    """Days of the flush, how likely each is, and how likely none comes; None where no clog can be told."""
    day, left, error = np.asarray(reading.points, np.float64).T
    share = np.clip(left, 0.05, 2.0)
    unlike = _unlike_days(day, np.log(share)) if reading.by_use else 0.0
    record = _pooled(day, np.log(share), np.hypot(error / share, unlike))
    if not _worth_it(record, common):
        return None
    onsets = _onsets(record.day)
    ahead = np.geomspace(0.25, MOST_DAYS, FLUSHES)
    behind = -np.geomspace(0.25, float(record.day[-1] - onsets[-1]), AGO)
    to_come = growing(record, onsets, ahead, level, reading)
    record = _as_alike(record, to_come, onsets, ahead, level, common, reading)
    still = evidence(record, off(record, np.zeros((1, len(record.day)))), common)
    stays = evidence(record, off(record, stayed(record.day, onsets)), common)
    grows = growth(record, to_come, onsets, ahead, common, reading)
    gone_by = growing(record, onsets, behind, level, reading)
    grown = growth(record, gone_by, onsets, behind, common, reading)
    top = max(float(some.max()) for some in (still, stays, grows, grown))
    # each of the three hypotheses spreads its prior evenly over its own grid; that behind is spaced otherwise
    cells = sum(reading.laws.values()) * ONSETS * FLUSHES
    finer = np.log(behind[1] / behind[0]) / np.log(ahead[1] / ahead[0])
    odds_ahead = float(np.exp(grows - top).sum()) / cells
    odds_behind = float(np.exp(grown - top).sum()) / cells * float(finer)
    by_step = np.exp(stays - top).reshape(ONSETS, len(STEPS)).sum(axis=0) / stays.size
    below = np.log1p(-STEPS) <= np.log(level)
    odds_there, odds_stays = float(by_step[below].sum()), float(by_step[~below].sum())
    if odds_ahead + odds_behind + odds_there < TOLD * float(np.exp(still - top).mean()):
        return None
    by_flush = np.exp(grows - grows.max()).sum(axis=(0, 1))  # beside the past all ahead may be nothing
    held = np.cumsum(by_flush) / by_flush.sum()
    a = max(int(np.searchsorted(held, 0.002)) - 1, 0)
    b = min(int(np.searchsorted(held, 0.998)) + 1, FLUSHES - 1)
    fine = np.geomspace(ahead[a], ahead[b], FINE)
    again = growth(record, growing(record, onsets, fine, level, reading), onsets, fine, common, reading)
    likely = np.exp(again - again.max()).sum(axis=(0, 1))
    days, share = fine, odds_ahead * likely / likely.sum()
    if reading.by_use:
        days, share = _drifted(days, share)
    total = odds_ahead + odds_behind + odds_there
    days, share = np.append(days, 0.0), np.append(share, odds_behind + odds_there) / total
    return days, share, np.array([odds_stays / (odds_stays + total)])


def _as_alike(
    record: Record, apart: Off, onsets: Floats, flushes: Floats, level: float, common: float, reading: Reading
) -> Record:
    """The record with less worth, where its days err together about the likeliest course."""
    some = Off(apart.squares[..., ::2], apart.sums[..., ::2])  # fine enough to find it
    grows = growth(record, some, onsets, flushes[::2], common, reading)
    at = np.unravel_index(int(np.argmax(grows)), grows.shape)
    law, share, _ = kinds(reading)[int(at[0])]
    part = passed(record.day, onsets[at[1] : at[1] + 1], flushes[::2][at[2] : at[2] + 1])
    errors = (record.log_left - course(part, law, share, level)[0, 0]) * np.sqrt(record.weight)
    squares, count = float(errors @ errors), len(errors)
    seen = float(errors[1:] @ errors[:-1]) / max(squares, 1e-18)
    # what their runs explain is each day's own
    if count < 2 * LEAST_POINTS or seen < SHOWN / np.sqrt(count) or squares <= count:
        return record
    alike = min(seen + (1.0 + 4.0 * seen) / count, MOST_ALIKE)
    return record._replace(worth=(1.0 - alike) / (1.0 + alike))


def _onsets(day: Floats) -> Floats:
    """Days on which it may have begun: those of the record, and as long again before it."""
    last, span = float(day[-1]), max(float(day[-1] - day[0]), 1.0)
    return np.asarray(last - np.linspace(0.5, 1.25 * span, ONSETS))


def _unlike_days(day: Floats, log_left: Floats) -> Floats:
    """How far off a course in days each is, since days' water differs: by DAILY of one day's loss times the
    root of the days since, as of the newest, from which it is told what is to come."""
    smooth = np.convolve(np.pad(log_left, 1, mode="edge"), np.full(3, 1.0 / 3.0), mode="valid")
    lost = np.maximum(-np.gradient(smooth, np.maximum.accumulate(day + 1e-3 * np.arange(len(day)))), 0.0)
    return np.asarray(DAILY * np.sqrt(np.maximum(day[-1] - day, 0.5)) * lost)


def _pooled(day: Floats, log_left: Floats, error: Floats) -> Record:
    weight = 1.0 / np.maximum(error, 1e-4) ** 2
    old = max(len(day) - SINGLY, 0) // 3 * 3
    if not old:
        return Record(day, log_left, weight, float(len(day)))
    heavy = weight[:old].reshape(-1, 3)
    total = heavy.sum(axis=1)
    means = [(heavy * one[:old].reshape(-1, 3)).sum(axis=1) / total for one in (day, log_left)]
    return Record(
        np.concatenate([means[0], day[old:]]),
        np.concatenate([means[1], log_left[old:]]),
        np.concatenate([total, weight[old:]]),
        float(old // 3 + len(day) - old),
    )


def _worth_it(record: Record, common: float) -> bool:
    """Whether the newest three days are a standard error below clean at all: spares healthy days the grid."""
    newest = record.weight[-3:]
    loss = -float((newest * record.log_left[-3:]).sum() / newest.sum())
    return loss > float(np.hypot(common, 1.0 / np.sqrt(newest.sum())))


def _drifted(flushes: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Days to flush, each spread by how use and dirt may drift until then."""
    drift = np.minimum(np.hypot(DRIFT_WEEK * np.sqrt(flushes / 7.0), DAILY / np.sqrt(flushes)), DRIFT_MOST)
    days = (flushes[:, None] * np.exp(drift[:, None] * _NODES[None, :])).ravel()
    return days, np.repeat(weight, len(_NODES))


def _quantiles(days: Floats, share: Floats, never: float) -> Quantiles:
    order = np.argsort(days, kind="stable")
    days, share = days[order], share[order]
    held = (np.cumsum(share) - 0.5 * share) / share.sum() * (1.0 - never)
    there = float(share[days <= 0.0].sum() / share.sum()) * (1.0 - never)
    told = [
        0.0 if q <= there else float(np.interp(q, held, days)) if q <= held[-1] else None
        for q in (0.1, 0.5, 0.9)
    ]
    early, middle, late = (None if one is None or one >= MOST_DAYS else one for one in told)
    return early, middle, late
