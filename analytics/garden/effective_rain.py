"""Of the rain that falls on the beds, what they get to drink: showers wet leaves, downpours run through."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

_STEP_M = 0.075
_MONTH_DAYS = 30.44


def effective_m(rain_m: ArrayLike, days: float = _MONTH_DAYS) -> NDArray[np.float64]:
    """Of a depth of rain over some days, what the roots can use [m]; an array like `rain_m`.

    A month's: 0.6 P - 10 mm up to 75 mm, 0.8 P - 25 mm above, never below none; other spans as their
    share of a month. Source: FAO Irrigation Water Management, training manual 3, chapter 3, from memory.

    >>> [round(1e3 * float(effective_m(mm / 1e3)), 1) for mm in (10, 50, 100)]
    [0.0, 20.0, 55.0]
    """
    span = days / _MONTH_DAYS
    month = np.asarray(rain_m, np.float64) / span
    used = np.where(month <= _STEP_M, 0.6 * month - 0.010, 0.8 * month - 0.025)
    return np.asarray(np.maximum(used, 0.0) * span)
