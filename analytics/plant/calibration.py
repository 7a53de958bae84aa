"""Raw sensor values to quantities, by straight lines between the owner's points."""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def through(
    points: tuple[tuple[float, float], ...], si_factor: float, si_offset: float
) -> Callable[[float], float]:
    """A function from a raw value to the quantity in the unit that `si_factor` and `si_offset`
    describe; `points` are (raw, SI). The outer lines go on past the ends, as in `Signal.to_si`."""
    pieces = [(low, high) for low, high in pairwise(sorted(points))]
    inner = [high[0] for _, high in pieces[:-1]]
    lines = []
    for (x0, y0), (x1, y1) in pieces:
        slope = (y1 - y0) / (x1 - x0)
        lines.append((x0, (y0 - si_offset) / si_factor, slope / si_factor))

    def quantity(raw: float) -> float:
        x0, y0, slope = lines[bisect_left(inner, raw)]
        return y0 + slope * (raw - x0)

    return quantity
