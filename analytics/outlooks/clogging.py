"""When a clogging filter will want flushing: blocking laws, and how sure any of them is.

Physics. With the pump at the switch's band, Q = sqrt((H0 - P) / (a + k)): of clean delivery there is left

    s = 1 / sqrt(1 + f (x - 1)),   x = k / k_clean,   f = k_clean / (a + k_clean)

and the screen takes up dirt with the water that passes. Hermia's blocking laws, d2t/dV2 = K (dt/dV)^n, say
of resistance over volume passed, whatever the pressure, dx/dV = c x^n: n = 0 a cake grows, 1 particles
settle on free and on blocked openings (intermediate), 3/2 openings narrow (standard), 2 each particle shuts
one (complete). So loss quickens, and a straight line through it is late. A house draws much the same each
day: days stand for volume.

Estimate. Which law, which share f, since which day and how fast is not known: all of a grid are weighed by
their likelihood (Bayes), with the day of the flush itself as the unknown in place of c. Beside them stand
that nothing clogs, and that a loss came at once and stays. Marginalised besides: the error of the clean
value (all days share it) and the scatter of the days. No randomness: sums over a grid, twice, the second
time where the first found the answer.

What no fit knows: how much water, and how dirty, passes from now on: DRIFT_WEEK of `forecast`, which grows
with the square root of the weeks, and DAILY, which the days to come even out, widen what comes out.

Parameters:
    SHARES    f of a clean screen: 1 to 4 psi of some 20 to 40 that the pump has to spare (common practice,
              no source), and 1, which is a filter that is all the resistance: delivery falls by a straight
              line then (n = 3/2)
    PRIOR     of no loss, of one that stays, of one that grows: none is known to be likelier
    SCATTER   the days' scatter over what their runs say: taken from half to three times, equally likely
    DAILY     0.25 of a day's water, from one day to the next (common practice, no source)
    TOLD      odds on a loss that grows, below which no day is told: ten to one, "strong" (Jeffreys)

Source: J. Hermia, Constant pressure blocking filtration laws, Trans. IChemE 60 (1982) 183 (from memory);
the quadratic screen is common practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.outlooks.forecast import DRIFT_MOST, DRIFT_WEEK

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_POINTS = 5
#: Beyond a year nobody plans a flush.
MOST_DAYS = 366.0
#: Hermia's four are likelier than what lies between them.
LAWS = {0.0: 3.0, 0.5: 1.0, 1.0: 3.0, 1.25: 1.0, 1.5: 3.0, 1.75: 1.0, 2.0: 3.0}
#: How likely each is to the others: most pumps spare a clean screen a thirtieth to a tenth.
SHARES: Mapping[float, float] = MappingProxyType({0.03: 3.0, 0.1: 3.0, 0.3: 1.0, 1.0: 1.0})
SCATTER = (0.5, 0.7, 1.0, 1.4, 2.0, 3.0)
TOLD = 10.0
DAILY = 0.25
#: Days on which it may have begun, days of the flush, and losses that came at once: fine enough, since the
#: scatter of days blurs more.
ONSETS, FLUSHES, FINE = 20, 32, 40
STEPS = np.linspace(0.02, 0.60, 16)
#: Newest days that are taken one by one; older ones are pooled by threes.
SINGLY = 24
#: Nine equally likely values of a standard normal.
_NODES = np.array([-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932])
Quantiles = tuple[float | None, float | None, float | None]
NOT_TOLD: Quantiles = (None, None, None)


class Record(NamedTuple):
    """Days [d], log of delivery left, and what 1 / variance of each is by its runs."""

    day: Floats
    log_left: Floats
    weight: Floats


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


class Reading(NamedTuple):
    """One way to read the days, and which shares of the clean screen go with it."""

    points: Sequence[Sequence[float]]
    shares: Mapping[float, float] = SHARES


def days_by_any(
    readings: Sequence[Reading], level: float, common: float, now: float | None = None
) -> Quantiles:
    """The same where the days can be read in several ways, each as likely as another."""
    points = readings[len(readings) // 2].points
    if len(points) < LEAST_POINTS:
        return NOT_TOLD
    if sorted(one[1] for one in points[-3:])[1] <= level:
        return 0.0, 0.0, 0.0
    told = [one for some in readings if (one := _told(some.points, level, common, some.shares)) is not None]
    if 2 * len(told) <= len(readings):
        return NOT_TOLD
    passed = max(now - points[-1][0], 0.0) if now is not None else 0.0
    days, share, never = (np.concatenate([one[k] for one in told]) for k in range(3))
    return _quantiles(np.maximum(days - passed, 0.0), share, float(never.mean()))


def _told(
    points: Sequence[Sequence[float]], level: float, common: float, of_clean: Mapping[float, float]
) -> tuple[Floats, Floats, Floats] | None:
    """Days of the flush, how likely each is, and how likely none comes; None where no clog can be told."""
    day, left, error = np.asarray(points, np.float64).T
    share = np.clip(left, 0.05, 2.0)
    record = _pooled(day, np.log(share), np.hypot(error / share, _unlike_days(day, np.log(share))))
    if not _worth_it(record, common):
        return None
    onsets = _onsets(record.day)
    still = _evidence(record, np.zeros((1, len(record.day))), common)
    stays = _evidence(record, _stayed(record.day, onsets), common)
    flushes = np.geomspace(0.25, MOST_DAYS, FLUSHES)
    grows = _growth(record, onsets, flushes, level, common, of_clean)
    # each of the three hypotheses spreads its prior evenly over its own grid
    top = max(float(still.max()), float(stays.max()), float(grows.max()))
    odds_growing = float(np.exp(grows - top).sum() / (sum(LAWS.values()) * ONSETS * FLUSHES))
    odds_stays = float(np.exp(stays - top).mean())
    odds_still = float(np.exp(still - top).mean())
    if odds_growing < TOLD * odds_still:
        return None
    by_flush = np.exp(grows - top).sum(axis=(0, 1))
    held = np.cumsum(by_flush) / by_flush.sum()
    a = max(int(np.searchsorted(held, 0.002)) - 1, 0)
    b = min(int(np.searchsorted(held, 0.998)) + 1, FLUSHES - 1)
    fine = np.geomspace(flushes[a], flushes[b], FINE)
    again = _growth(record, onsets, fine, level, common, of_clean)
    likely = np.exp(again - again.max()).sum(axis=(0, 1))
    days, share = _drifted(fine, likely / likely.sum())
    return days, share, np.array([odds_stays / (odds_stays + odds_growing)])


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
        return Record(day, log_left, weight)
    heavy = weight[:old].reshape(-1, 3)
    total = heavy.sum(axis=1)
    means = [(heavy * one[:old].reshape(-1, 3)).sum(axis=1) / total for one in (day, log_left)]
    return Record(
        np.concatenate([means[0], day[old:]]),
        np.concatenate([means[1], log_left[old:]]),
        np.concatenate([total, weight[old:]]),
    )


def _worth_it(record: Record, common: float) -> bool:
    """Whether the newest three days are a standard error below clean at all: spares healthy days the grid."""
    newest = record.weight[-3:]
    loss = -float((newest * record.log_left[-3:]).sum() / newest.sum())
    return loss > float(np.hypot(common, 1.0 / np.sqrt(newest.sum())))


def _onsets(day: Floats) -> Floats:
    """Days on which it may have begun: those of the record, and as long again before it."""
    last, span = float(day[-1]), max(float(day[-1] - day[0]), 1.0)
    return np.asarray(last - np.linspace(0.5, 1.25 * span, ONSETS))


def _stayed(day: Floats, onsets: Floats) -> Floats:
    """Log of delivery left, had a loss of each of STEPS come at once: (onsets * steps, days)."""
    since = day[None, :] >= onsets[:, None]
    return np.asarray((since[:, None, :] * np.log1p(-STEPS)[None, :, None]).reshape(-1, len(day)))


def _growth(
    record: Record,
    onsets: Floats,
    flushes: Floats,
    level: float,
    common: float,
    of_clean: Mapping[float, float],
) -> Floats:
    """Log-evidence of each (law and share, onset, flush)."""
    # time since onset over time from onset to flush
    ends = record.day[-1] + flushes
    part = np.maximum(record.day[None, None, :] - onsets[:, None, None], 0.0) / (
        ends[None, :, None] - onsets[:, None, None]
    )
    found = [
        _evidence(record, _course(part, law, share, level), common)
        + np.log(likely * shares[share] / sum(shares.values()))
        for law, likely in LAWS.items()
        for shares in [of_clean if law else {1.0: 1.0}]  # a cake's course is the same for all
        for share in shares
    ]
    # scale-free in the whole time from onset to flush; the grid of flushes is even in its logarithm
    prior = np.log(flushes[None, :] / (ends[None, :] - onsets[:, None]))
    return np.asarray(np.stack(found) + prior[None, :, :])


def _course(part: Floats, law: float, share: float, level: float) -> Floats:
    """Log of delivery left where `part` of the volume from clean to flush has passed."""
    at_flush = 1.0 + (level**-2 - 1.0) / share
    if law == 0.0:
        x = 1.0 + part * (at_flush - 1.0)
    elif law == 1.0:
        x = np.exp(part * np.log(at_flush))
    else:  # by exp and log1p, which take a quarter of a power's time
        power = 1.0 - law
        x = np.exp(np.log1p(part * (at_flush**power - 1.0)) / power)
    return np.asarray(-0.5 * np.log1p(share * (x - 1.0)))


def _evidence(record: Record, course: Floats, common: float) -> Floats:
    """Log-likelihood of courses (..., days), the clean value's error and the scatter integrated out."""
    off = record.log_left - course
    squares, sums, weight = off**2 @ record.weight, off @ record.weight, float(record.weight.sum())
    scatter = np.array(SCATTER).reshape(-1, *[1] * squares.ndim)
    w = scatter**-2
    shared = common**2 / (1.0 + common**2 * weight * w)
    spread = -len(record.day) * np.log(scatter) - 0.5 * np.log1p(common**2 * weight * w)
    ways = spread - 0.5 * (w * squares - shared * (w * sums) ** 2)
    top = ways.max(axis=0)
    return np.asarray(top + np.log(np.exp(ways - top).sum(axis=0)))


def _drifted(flushes: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Days to flush, each spread by how use and dirt may drift until then."""
    drift = np.minimum(np.hypot(DRIFT_WEEK * np.sqrt(flushes / 7.0), DAILY / np.sqrt(flushes)), DRIFT_MOST)
    days = (flushes[:, None] * np.exp(drift[:, None] * _NODES[None, :])).ravel()
    return days, np.repeat(weight, len(_NODES))


def _quantiles(days: Floats, share: Floats, never: float) -> Quantiles:
    order = np.argsort(days, kind="stable")
    days, share = days[order], share[order]
    held = (np.cumsum(share) - 0.5 * share) / share.sum() * (1.0 - never)
    told = [float(np.interp(q, held, days)) if q <= held[-1] else None for q in (0.1, 0.5, 0.9)]
    early, middle, late = (None if one is None or one >= MOST_DAYS else one for one in told)
    return early, middle, late
