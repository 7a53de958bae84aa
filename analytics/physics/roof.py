"""Rain on a roof: how much of it is water in the gutter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def caught_m3(
    rain_m: ArrayLike, area_m2: float, runoff: float = 1.0, first_flush_m3: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Water that rain on a roof brings: runoff * area * rain, less the first flush, never below none.

    `area_m2` is the plan area, not the slope's. 1 mm on 1 m2 is a litre; runoff is the share that leaves
    the roof (US handbooks: 0.8 to 0.95). Of `rain_m`'s shape; `first_flush_m3` broadcasts.

    >>> round(float(caught_m3(0.0254, 0.09290304)) / 3.785412e-3, 4)  # US gal: 1 in on 1 ft2
    0.6234

    Source: geometry; the US figure 0.623 in every rainwater guide (tests/reference).
    """
    caught = runoff * area_m2 * np.asarray(rain_m, np.float64)
    return np.asarray(np.maximum(caught - np.asarray(first_flush_m3, np.float64), 0.0))
