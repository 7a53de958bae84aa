"""When a slow decline will pass a level: a straight line through days, and how sure it is.

The line is fitted by least squares. Its own standard error at a day ahead, times Student's t, gives
the earliest and the latest day at which the mean may pass the level (Fieller's confidence set, taken
on a grid of days). A decline that cannot be told from none has no latest day.

A decline begins some day, and the level days before it would make its line too flat. Each day on which it
may have begun is a model of its own: level before, a line after; or one line through all, to which as much
is given beforehand as to all others together. Their days are mixed by how well each fits (the likelihood of
its residuals): so a decline that has just begun says so by its band, and one line that fits is one line.

Days that share runs err together: with r the correlation of neighbouring residuals the errors are
sqrt((1 + r) / (1 - r)) times as large. An r that n residuals show by chance (SHOWN / sqrt(n)) is none; one
that is more than that is put right for the short row, which shows too little of it, by (1 + 4 r) / n.

What all values were divided by is no better known than its own error, which no scatter about the line shows:
`common` is added to the line's.

Source: any text on linear regression (prediction of the mean, first-order autocorrelation; its bias by
Kendall 1954, from memory); t by the expansion in Abramowitz & Stegun 26.7.5 (from memory), good to 1 % from
three degrees of freedom on.
"""

from __future__ import annotations

from math import erf, sqrt
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

LEAST_POINTS = 5
#: Beyond a year nobody plans a flush or a top-up.
MOST_DAYS = 366
_Z90 = 1.2816
#: The normal distribution's share below so many deviations, which a straight line between them meets to 1e-5.
_DEVIATIONS = np.linspace(-6.0, 6.0, 769)
_SHARES = np.array([0.5 + 0.5 * erf(one / sqrt(2.0)) for one in _DEVIATIONS.tolist()])
#: A model less probable is left out; neighbouring residuals are never taken to be more alike.
LEAST_WEIGHT, MOST_ALIKE, SHOWN = 1e-4, 0.7, 1.0


def student_t90(freedom: int) -> float:
    """Ninth decile of Student's t.

    >>> round(student_t90(8), 2)
    1.4
    """
    z = _Z90
    return z + (z**3 + z) / (4 * freedom) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * freedom**2)


def days_until(
    points: Sequence[Sequence[float]], level: float, common: float = 0.0
) -> tuple[float | None, float | None, float | None]:
    """Days from the last point until the line falls to `level`: earliest tenth, middle, latest tenth.

    points: (day, value) in order of time; common: standard error that all values share. None: not
    within MOST_DAYS, or cannot be told.

    >>> round(days_until([(d, 1.0 - 0.01 * d) for d in range(10)], 0.81)[1], 6)
    10.0
    """
    if len(points) < LEAST_POINTS:
        return None, None, None
    day, value = np.asarray(points, np.float64).T
    models = _models(day, value)
    if not models:
        return None, None, None
    ahead = np.arange(0.0, MOST_DAYS, 0.25)
    if len(models) == 1:
        line, error = _ahead(day, value, models[0][0], ahead, common)
        early, middle, late = (_first(ahead, line + sign * error - level) for sign in (-1.0, 0.0, 1.0))
        return early, middle, late
    passed = np.zeros(len(ahead))
    for begun, weight in models:
        line, error = _ahead(day, value, begun, ahead, common)
        passed += weight * np.interp(_Z90 * (level - line) / np.maximum(error, 1e-9), _DEVIATIONS, _SHARES)
    low, middle, high = (_first(ahead, share - passed) for share in (0.1, 0.5, 0.9))
    return low, middle, high


def _models(day: NDArray[np.float64], value: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Index at which the decline may have begun (0: one line through all), and how probable each is."""
    count = len(day)
    if day[-1] <= day[0]:
        return []
    off = {0: _off(day, value)}
    for at in range(2, count - LEAST_POINTS + 1):
        off[at] = float(((value[:at] - value[:at].mean()) ** 2).sum()) + _off(day[at:], value[at:])
    # an extra figure is fitted where the day is chosen: one degree of freedom more is gone
    sigma2 = max(min(off.values()) / max(count - 4, 1), 1e-18)
    prior = {at: 1.0 if at == 0 else 1.0 / max(len(off) - 1, 1) for at in off}
    best = min(off.values())
    likely = {at: prior[at] * float(np.exp(-0.5 * (off[at] - best) / sigma2)) for at in off}
    total = sum(likely.values())
    kept = [(at, one / total) for at, one in likely.items() if one > LEAST_WEIGHT * total]
    return [(kept[0][0], 1.0)] if len(kept) == 1 else kept


def _ahead(
    day: NDArray[np.float64],
    value: NDArray[np.float64],
    begun: int,
    ahead: NDArray[np.float64],
    common: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The line through the days since one, carried on, and the ninth decile of its error."""
    day, value = day[begun:], value[begun:]
    x = day - day.mean()
    spread = float(x @ x)
    slope = float(x @ (value - value.mean())) / spread
    off = value - value.mean() - slope * x
    scatter = float(off @ off) / (len(day) - 2) * _together(off)
    at = x[-1] + ahead
    line = value.mean() + slope * at
    error = student_t90(len(day) - 2) * np.sqrt(scatter * (1.0 / len(day) + at**2 / spread) + common**2)
    return line, error


def _together(off: NDArray[np.float64]) -> float:
    """(1 + r) / (1 - r) of residuals, r held between 0 and MOST_ALIKE."""
    squares = float(off @ off)
    if len(off) < 2 * LEAST_POINTS or squares <= 1e-18:
        return 1.0
    seen = float(off[1:] @ off[:-1]) / squares
    if seen < SHOWN / sqrt(len(off)):
        return 1.0
    alike = min(seen + (1.0 + 4.0 * seen) / len(off), MOST_ALIKE)
    return (1.0 + alike) / (1.0 - alike)


def _off(day: NDArray[np.float64], value: NDArray[np.float64]) -> float:
    """Sum of squares about the straight line."""
    x, y = day - day.mean(), value - value.mean()
    return float(y @ y - (x @ y) ** 2 / (x @ x))


def _first(ahead: NDArray[np.float64], above: NDArray[np.float64]) -> float | None:
    """Where a course first comes down to zero, straight between the days of the grid."""
    passed = above <= 1e-12
    if not passed.any():
        return None
    at = int(np.argmax(passed))
    if at == 0:
        return 0.0
    back = min(float(above[at] / (above[at] - above[at - 1])), 1.0)
    return float(ahead[at] - back * (ahead[at] - ahead[at - 1]))
