"""When a slow decline will pass a level: a straight line through days, and how sure it is.

The line is fitted by least squares. Its own standard error at a day ahead, times Student's t, gives
the earliest and the latest day at which the mean may pass the level (Fieller's confidence set, taken
on a grid of days). A decline that cannot be told from none has no latest day.

A decline begins some day, and the level days before it would make its line too flat: the line is taken
through the days since the one before which a level and after which a line fit best, if that fits better
than one line by three standard deviations (Chow 1960). What all values were divided by is no better known
than its own error, which no scatter about the line shows: `common` is added to the line's.

Source: any text on linear regression (prediction of the mean); t by the expansion in Abramowitz &
Stegun 26.7.5 (from memory), good to 1 % from three degrees of freedom on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

LEAST_POINTS = 5
#: Beyond a year nobody plans a flush or a top-up.
MOST_DAYS = 366
_Z90 = 1.2816
#: Three standard deviations, squared; of the days on which it may have begun the best is taken: a third more.
BEGUN = 12.0


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
    begun = _begun(day, value)
    day, value = day[begun:], value[begun:]
    x = day - day.mean()
    spread = float(x @ x)
    if spread <= 0.0:
        return None, None, None
    slope = float(x @ (value - value.mean())) / spread
    off = value - value.mean() - slope * x
    scatter = float(off @ off) / (len(day) - 2)
    ahead = np.arange(0.0, MOST_DAYS, 0.25)
    at = x[-1] + ahead
    line = value.mean() + slope * at
    error = student_t90(len(day) - 2) * np.sqrt(scatter * (1.0 / len(day) + at**2 / spread) + common**2)
    early, middle, late = (_first(ahead, line + sign * error - level) for sign in (-1.0, 0.0, 1.0))
    return early, middle, late


def _begun(day: NDArray[np.float64], value: NDArray[np.float64]) -> int:
    """Index of the point at which a decline began; 0 where one line fits all."""
    count = len(day)
    if count < 2 * LEAST_POINTS:
        return 0
    one = _off(day, value)
    split = {
        at: float(((value[:at] - value[:at].mean()) ** 2).sum()) + _off(day[at:], value[at:])
        for at in range(2, count - LEAST_POINTS + 1)
    }
    best = min(split, key=lambda at: split[at])
    return best if one - split[best] > BEGUN * split[best] / (count - 4) else 0


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
