"""The one place where the wall clock is read. Everything else is told the time."""

from __future__ import annotations

import time

#: A clock that shows an earlier time was never set (a small computer without a battery starts in 1970).
SET_AFTER_US = 1_767_225_600_000_000  # 2026-01-01


def now_us() -> int:
    """Microseconds since the Unix epoch, in whole milliseconds: a network time is no better."""
    return time.time_ns() // 1_000_000 * 1_000


def is_set() -> bool:
    """Whether the clock can be believed at all."""
    return now_us() >= SET_AFTER_US
