"""Round values along an axis: of a quantity, and of the owner's wall clock."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

SECOND_MS, MINUTE_MS, HOUR_MS, DAY_MS = 1_000, 60_000, 3_600_000, 86_400_000
#: Steps of the clock that people count by; weeks begin on Mondays.
_STEPS_MS = (
    *(n * SECOND_MS for n in (1, 2, 5, 10, 15, 30)),
    *(n * MINUTE_MS for n in (1, 2, 5, 10, 15, 30)),
    *(n * HOUR_MS for n in (1, 2, 3, 6, 12)),
    *(n * DAY_MS for n in (1, 2, 7, 14)),
)
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240)
_MONTH_MS = 30.4 * DAY_MS
_MONDAY_MS = 4 * DAY_MS  # 5 January 1970


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight way from values to places."""

    begin: float
    factor: float
    offset: float

    @classmethod
    def between(cls, span: tuple[float, float], first: float, last: float) -> Scale:
        return cls(span[0], (last - first) / ((span[1] - span[0]) or 1.0), first)

    def __call__(self, value: float) -> float:
        return self.offset + (value - self.begin) * self.factor


def ticks(low: float, high: float, most: int = 4) -> list[float]:
    """Round values that hold both limits between them; the limits are at most `most` steps apart."""
    span = (high - low) or abs(high) or 1.0
    power = 10.0 ** math.floor(math.log10(span / (most - 1)))
    step = next(one * power for one in (1, 2, 5, 10) if span / (one * power) <= most)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [n * step for n in range(first, max(last, first + 1) + 1)]


def number(tick: float, among: list[float]) -> str:
    """One of `ticks` with as many decimals as tell it from its neighbours."""
    decimals = max(0, -math.floor(math.log10(among[1] - among[0]) + 1e-9))
    return f"{tick:,.{decimals}f}".replace("-", "−")


def clock_ticks(begin_ms: int, end_ms: int, most: int = 5) -> list[tuple[int, str]]:
    """(place, words) of at most about `most` round instants of a wall clock, milliseconds on it."""
    for step in _STEPS_MS:
        if (end_ms - begin_ms) / step <= most:
            zero = _MONDAY_MS if step >= 7 * DAY_MS else 0
            first = -((zero - begin_ms) // step)
            places = range(zero + first * step, end_ms + 1, step)
            return [(at, _words(at, step)) for at in places]
    months = next((n for n in _MONTHS if (end_ms - begin_ms) / (n * _MONTH_MS) <= most), _MONTHS[-1])
    return list(_month_ticks(begin_ms, end_ms, months))


def _month_ticks(begin_ms: int, end_ms: int, months: int) -> Iterator[tuple[int, str]]:
    month = int(np.datetime64(begin_ms, "ms").astype("datetime64[M]").astype(int))
    month = -(-month // months) * months
    while (at := int(np.datetime64(month, "M").astype("datetime64[ms]").astype(int))) <= end_ms:
        if at >= begin_ms:
            one = np.datetime64(month, "M").item()
            yield at, f"{one:%Y}" if month % 12 == 0 else f"{one:%b}"
        month += months


def _words(at_ms: int, step_ms: int) -> str:
    one = np.datetime64(at_ms, "ms").item()
    if at_ms % DAY_MS == 0:
        return f"{one.day} {one:%b}"
    return f"{one:%H:%M}" if at_ms % MINUTE_MS == 0 and step_ms >= MINUTE_MS else f"{one:%H:%M:%S}"
