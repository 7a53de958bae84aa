"""The owner's own rain by days, from the gauge's history."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dashboard.site import Site

#: Years of the owner's own rain that are looked back on.
GAUGE_DAYS = 12 * 365
_DAY_US = 86_400_000_000


def gauge(site: Site, now_us: int) -> NDArray[np.float64] | None:
    """Depth [m] of each whole day up to yesterday, oldest first; None without a gauge."""
    positions = site.plant.measuring(Measure.RAINFALL)
    if not positions:
        return None
    signal = site.plant.signals[positions[0]]
    today = now_us // _DAY_US
    hours = site.history.rollup(signal.name, (today - GAUGE_DAYS) * _DAY_US, today * _DAY_US, "hour")
    keep = np.isfinite(hours.mean)
    if not keep.any():
        return None
    day = (hours.time_us[keep] // _DAY_US).astype(np.int64)
    depth = signal.to_si(hours.mean[keep]) * hours.count[keep]
    return np.bincount(day - day[0], np.maximum(depth, 0.0), minlength=int(today - day[0]))
