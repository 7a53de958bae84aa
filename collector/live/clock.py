"""The one place where the wall clock is read. Everything else is told the time."""

from __future__ import annotations

import time

#: A clock that shows an earlier time was never set (a small computer without a battery starts in 1970).
SET_AFTER_US = 1_767_225_600_000_000  # 2026-01-01
#: A clock set back by less is caught up with slowly; one set back further was wrong before.
BELIEVED_BACK_US = 300_000_000
#: A sensor's own clock may be ahead of ours by so much. A reading further ahead is set aside, since it
#: would make everything after it look late; one that is stored was stamped before the clock was set back.
AHEAD_US = 300_000_000
#: While it is caught up with, time goes on at this share of its pace: flows are off by as much and no
#: more, and a minute is made good in twenty.
SLOWED = 0.95


def now_us() -> int:
    """Microseconds since the Unix epoch, in whole milliseconds: a network time is no better."""
    return time.time_ns() // 1_000_000 * 1_000


def running_us() -> int:
    """Microseconds of a clock that nobody sets."""
    return time.monotonic_ns() // 1_000


def is_set(lived_us: int = 0) -> bool:
    """Whether the clock can be believed: it shows no time before anybody could have run this, nor one
    well before `lived_us`, when it is known to have been later."""
    return now_us() >= max(SET_AFTER_US, lived_us - BELIEVED_BACK_US)


class Stamps:
    """Times of receipt from a wall clock that may be corrected: they never turn round by a little.

    A clock set forward is followed at once (a gap is no fault); one set back by less than
    BELIEVED_BACK_US is waited for at a slowed pace, so that readings stay in order and apart; one
    set back further is believed, since the time before was wrong.
    """

    def __init__(self, lived_us: int = 0) -> None:
        """`lived_us`: a time that the clock is known to have shown before, by whoever ran then."""
        self._stamp_us = lived_us
        self._ran_us: int | None = None

    def at(self, wall_us: int, running_us: int) -> tuple[int, bool]:
        """The stamp for now, and whether time was turned back."""
        passed_us = 0 if self._ran_us is None else max(running_us - self._ran_us, 0)
        self._ran_us = running_us
        if self._stamp_us - wall_us > BELIEVED_BACK_US:
            self._stamp_us = wall_us
            return wall_us, True
        self._stamp_us = max(wall_us, self._stamp_us + int(passed_us * SLOWED))
        return self._stamp_us, False
