"""What a chart shows, as CSV: the same steps, the signal's own unit, times with their offset."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.instants import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.plant.description import Signal
    from dashboard.site import Site

#: Finer than a chart on a phone can draw, and no more than a spreadsheet reads with ease.
POINTS = 720


def csv_of(site: Site, signal: Signal, from_us: int, to_us: int) -> Iterator[str]:
    """Rows of what History draws between two instants."""
    bands = site.history.bands(signal.name, from_us, to_us, POINTS)
    unit = f" ({signal.unit})" if signal.unit else ""
    yield f"time,minimum{unit},mean{unit},maximum{unit},readings\n"
    rows = zip(bands.time_us, bands.minimum, bands.mean, bands.maximum, bands.count, strict=True)
    for time_us, low, mean, high, count in rows:
        cells = ("" if np.isnan(v) else f"{v:.6g}" for v in (low, mean, high))
        yield f"{rfc3339(int(time_us))},{','.join(cells)},{int(count)}\n"
