"""Days of the plant's own time zone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from analytics.seeing.events import Day

if TYPE_CHECKING:
    from numpy.typing import NDArray

LONG_DAY_US = 100_000_000_000  # more than a day of 25 hours: days were missed


def midnight_after_us(time_us: int, zone: ZoneInfo) -> int:
    """The first local midnight after a moment [us UTC]; where a clock change skips it, just after."""
    local = datetime.fromtimestamp(time_us // 1_000_000, UTC).astimezone(zone)
    following = (local + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
    return int(following.timestamp()) * 1_000_000


class Days:
    """Tells when a day is over. Of many days without a reading only the last is told."""

    def __init__(self, timezone: str) -> None:
        self._zone = ZoneInfo(timezone)
        self.from_us: int | None = None
        self.to_us = 0

    def feed(self, instants_us: NDArray[np.int64]) -> list[Day]:
        """Days that reading times, sorted, have brought to an end."""
        days: list[Day] = []
        if len(instants_us) and self.from_us is None:
            self.from_us = int(instants_us[0])
            self.to_us = midnight_after_us(self.from_us, self._zone)
        while (position := int(np.searchsorted(instants_us, self.to_us))) < len(instants_us):
            now = int(instants_us[position])
            assert self.from_us is not None
            days.append(Day(now, self.from_us, self.to_us))
            end = midnight_after_us(now, self._zone)
            self.from_us = self.to_us if end - self.to_us < LONG_DAY_US else now
            self.to_us = end
        return days
