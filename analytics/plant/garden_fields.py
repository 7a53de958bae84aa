"""Readers for the garden's values: twelve months, days of the year, times of the day, dates."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from typing import Any

from analytics.plant.fields import Reader, plain_number
from analytics.plant.mistakes import Mistakes, Path

_MONTH_DAY = re.compile(r"(\d{1,2})-(\d{1,2})")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
_LONGEST = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)  # a season does not turn on a leap day


def between(low: float, high: float, accepted: str, scale: float = 1.0) -> Reader:
    """A bare number from `low` to `high`, both included, times `scale`."""

    def read(value: Any, path: Path, mistakes: Mistakes) -> float | None:
        found = plain_number(value)
        if found is None or not low <= found <= high:
            mistakes.add(path, "not such a number", value=value, accepted=accepted)
            return None
        return found * scale

    return read


def monthly(one: Reader, accepted: str) -> Reader:
    """An array of twelve, January first, as a tuple."""

    def read(value: Any, path: Path, mistakes: Mistakes) -> tuple[Any, ...] | None:
        if not isinstance(value, list) or len(value) != 12:
            count = f"{len(value)} values" if isinstance(value, list) else "not an array"
            mistakes.add(path, f"{count} where twelve are wanted", value=value, accepted=accepted)
            return None
        found = [one(inner, (*path, at), mistakes) for at, inner in enumerate(value)]
        return None if None in found else tuple(found)

    return read


def season(value: Any, path: Path, mistakes: Mistakes) -> tuple[tuple[int, int], ...] | None:
    """Two days of the year, such as ["04-15", "10-15"]; the second may be in the next year."""
    accepted = 'two days as month-day, such as ["04-15", "10-15"]'
    days = [_month_day(one) for one in value] if isinstance(value, list) else []
    if len(days) != 2 or None in days or days[0] == days[1]:
        mistakes.add(path, "not a season", value=value, accepted=accepted)
        return None
    return tuple(day for day in days if day)


def _month_day(value: Any) -> tuple[int, int] | None:
    match = _MONTH_DAY.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    month, day = int(match[1]), int(match[2])
    return (month, day) if 1 <= month <= 12 and 1 <= day <= _LONGEST[month - 1] else None


def spans_of_day(value: Any, path: Path, mistakes: Mistakes) -> tuple[tuple[float, float], ...] | None:
    """Pairs of clock times within one day, such as [["05:30", "06:30"]], as seconds since midnight."""
    accepted = 'pairs of times of one day, the earlier first, such as [["05:30", "06:30"]]'
    pairs = value if isinstance(value, list) and value else [None]
    found = []
    for pair in pairs:
        ends = [_seconds(one) for one in pair] if isinstance(pair, list) else []
        if len(ends) != 2 or ends[0] is None or ends[1] is None or ends[0] >= ends[1]:
            mistakes.add(path, "not times of watering", value=value, accepted=accepted)
            return None
        found.append((ends[0], ends[1]))
    return tuple(found)


def _seconds(value: Any) -> float | None:
    if isinstance(value, time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    match = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if match is None or int(match[1]) > 24 or int(match[2]) > 59:
        return None
    seconds = int(match[1]) * 3600.0 + int(match[2]) * 60.0
    return seconds if seconds <= 86_400.0 else None


def day(value: Any, path: Path, mistakes: Mistakes) -> date | None:
    """A date, as TOML has them."""
    found = value
    if isinstance(value, str):
        try:
            found = date.fromisoformat(value)
        except ValueError:
            found = None
    if isinstance(found, date) and not isinstance(found, datetime):
        return found
    mistakes.add(path, "not a date", value=value, accepted="a date such as 2026-03-20")
    return None
