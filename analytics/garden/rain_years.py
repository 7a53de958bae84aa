"""Years of rain, week by week: the owner's own where the gauge has told enough, else made from normals.

From normals, a month's total is taken as the sum of its days' rain, days coming by chance and each
of an exponential depth: mean m with n wet days then has the variance 2 m2 / n (compound Poisson). Its
quantiles are a gamma's, by Wilson and Hilferty's cube root. Years are laid out by Halton's sequence,
one base a month, so that the same normals always make the same years.
"""

from __future__ import annotations

from datetime import date, timedelta
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from analytics.garden.season import at_day

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.garden import Climate

#: Enough that tenths of them can be told apart: the 10th percentile has ten years below it.
YEARS = 100
#: Where the file gives no days of rain: one for each 6 mm. Common practice, no source.
_DEPTH_A_DAY_M = 0.006
_BASES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37)
_MONTH_DAYS = 30.44


def from_normals(climate: Climate, first: date, weeks: int, years: int = YEARS) -> NDArray[np.float64]:
    """Depth of rain [m], shape (years, weeks), of `weeks` weeks from a day on."""
    days = climate.rain_days or tuple(max(m / _DEPTH_A_DAY_M, 0.3) if m else 0.0 for m in climate.rain_m)
    factors = np.stack([_factors(n, base, years) for n, base in zip(days, _BASES, strict=True)])
    found = np.empty((years, weeks))
    for week in range(weeks):
        middle = first + timedelta(days=7 * week + 3)
        normal = at_day(climate.rain_m, middle.timetuple().tm_yday) * 7 / _MONTH_DAYS
        found[:, week] = max(normal, 0.0) * factors[middle.month - 1]
    return found


def wet_days(climate: Climate, first: date, weeks: int) -> NDArray[np.float64]:
    """Days with rain in each week, shape (weeks,)."""
    monthly = climate.rain_days or tuple(m / _DEPTH_A_DAY_M for m in climate.rain_m)
    middles = [(first + timedelta(days=7 * week + 3)).timetuple().tm_yday for week in range(weeks)]
    return np.array([max(at_day(monthly, day), 0.0) * 7 / _MONTH_DAYS for day in middles])


def from_gauge(daily_m: NDArray[np.float64], weeks: int) -> NDArray[np.float64] | None:
    """The owner's own days, oldest first and the last one yesterday, as years that begin on today's
    date; shape (years, weeks). None for less than one whole year and the weeks asked for."""
    years = (len(daily_m) - 7 * weeks) // 365 + 1 if len(daily_m) >= max(365, 7 * weeks) else 0
    starts = [len(daily_m) - 365 * (back + 1) for back in range(years)]
    pieces = [daily_m[s : s + 7 * weeks] for s in starts if s >= 0 and s + 7 * weeks <= len(daily_m)]
    if not pieces:
        return None
    return np.stack([piece.reshape(weeks, 7).sum(axis=1) for piece in pieces])


def _factors(wet_days_n: float, base: int, years: int) -> NDArray[np.float64]:
    """A month's total over its normal, one for each year: gamma of mean 1 and variance 2 / n."""
    if wet_days_n <= 0:
        return np.ones(years)
    shape = wet_days_n / 2.0
    normal = NormalDist()
    z = np.array([normal.inv_cdf(_halton(year + 1, base)) for year in range(years)])
    drawn = np.maximum(1.0 - 1.0 / (9.0 * shape) + z / (3.0 * np.sqrt(shape)), 0.0) ** 3
    return np.asarray(drawn / drawn.mean())


def _halton(number: int, base: int) -> float:
    """The radical inverse: digits of `number` behind the point, turned round."""
    found, place = 0.0, 1.0
    while number:
        place /= base
        number, digit = divmod(number, base)
        found += digit * place
    return found
