"""Simulated seconds to the owner's days and hours."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Day:
    """One local day: when it begins [s since the simulation's start], its length, its season's date."""

    number: int
    start_s: float
    length_s: float
    date: dt.date
    season: dt.date  # what the weather and the garden go by


class Calendar:
    """Local days counted from the one in which the simulation starts.

    `as_if` makes the season another than the date's: a demonstration in November can have June.
    """

    def __init__(self, start_us: int, timezone: str, as_if: tuple[int, int] | None = None) -> None:
        self.start_us = start_us
        self._zone = ZoneInfo(timezone)
        start = dt.datetime.fromtimestamp(start_us / 1e6, dt.UTC).astimezone(self._zone)
        self._first = start.date()
        self._shift = dt.timedelta()
        if as_if is not None:
            self._shift = dt.date(self._first.year, *as_if) - self._first

    def day(self, number: int) -> Day:
        """The local day `number` days after the first."""
        local = self._first + dt.timedelta(days=number)
        begin, end = self._midnight_s(local), self._midnight_s(local + dt.timedelta(days=1))
        return Day(number, begin, end - begin, local, local + self._shift)

    def _midnight_s(self, local: dt.date) -> float:
        midnight = dt.datetime.combine(local, dt.time(), self._zone)
        return midnight.timestamp() - self.start_us / 1e6
