"""Rain on a roof to water in the storage, day by day: what wets it, what is let away first, what runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.physics.roof import caught_m3

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from analytics.plant.description import Catchment


def yield_m3(
    rain_m: ArrayLike, area_m2: float, runoff: float, first_flush_m3: float = 0.0
) -> NDArray[np.float64]:
    """Water that reaches the storage for each day's depth of rain; an array like `rain_m`.

    The first flush is let away anew on each day with rain after a dry one: its chamber has drained
    overnight.
    """
    rain = np.atleast_1d(np.asarray(rain_m, np.float64))
    wet = rain > 0
    begins = wet & ~np.concatenate(([False], wet[:-1]))
    return caught_m3(rain, area_m2, runoff, np.where(begins, first_flush_m3, 0.0))


def of_catchment(rain_m: ArrayLike, catchment: Catchment) -> NDArray[np.float64]:
    """The same for the plant file's catchment."""
    return yield_m3(rain_m, catchment.area_m2, catchment.runoff, catchment.first_flush_m3)
