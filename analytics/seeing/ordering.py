"""Small disorder put right: readings come in by arrival and leave in order of time.

A broker that delivers again after a broken connection, or two sensors with clocks of their own,
hand over readings out of order by moments. They are held back until data time has gone on by
HOLD_BACK_US, then let go sorted. What is later than that is not analysed: it is counted, and the
shell stores it all the same. Whether a reading is late is decided reading by reading, in order of
arrival, so that chunks do not matter; what is let go is always whole instants, so that nothing that
follows ever sees half of the readings of one moment.

One sensor with a wild time stamp must not blind the plant: a step forward of more than LEAP_US is
believed only once a second reading has confirmed it. Until then the lone reading counts as late.
A step back that lasts is a clock set back: see `analytics.seeing.turning`.

Parameters: HOLD_BACK_US 10 s, the re-delivery of a local broker (common practice, no source);
LEAP_US 1 h, longer than a plausible hiccup of a clock and shorter than a time zone's mistake.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.readings import Readings
from analytics.seeing.turning import Streak, Turns

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOLD_BACK_US = 10_000_000
LEAP_US = 3_600_000_000
NONE_YET = -(2**62)
#: So many at once are worth a look whether they can be passed on without a copy.
MANY = 4096


class Ordering:
    """Feeds and lets go; `late` counts what came too late to be analysed."""

    def __init__(self, follows_clock: bool = True) -> None:
        self._follows_clock = follows_clock
        self._held = Readings.none()
        self._newest_us = NONE_YET
        self._leap_us = NONE_YET  # an unconfirmed step forward
        self.late = 0
        self.turns = Turns()
        self._streak = Streak()
        self._known: set[int] = set()  # signals that have been on time

    def feed(self, readings: Readings) -> list[Readings]:
        """What may now be let go: stretches of whole instants, in order of time; readings of one
        instant by signal. Many in order pass through as they are, uncopied."""
        if self.turns.shift_us:
            readings = _told_on(readings, self.turns.shift_us)
        if len(readings) >= MANY and self._in_order(readings):
            self._newest_us, self._leap_us = int(readings.time_us[-1]), NONE_YET
            self._heard(readings.signal)
            self._streak.broken()
            before = [self._held] if len(self._held) else []
            ready = int(np.searchsorted(readings.time_us, self._newest_us - HOLD_BACK_US, side="left"))
            self._held = _copied(_settled(readings[ready:]))
            return [*before, _settled(readings[:ready])]
        kept = self._admit(readings)
        pending = Readings.concatenate([self._held, kept]) if len(self._held) else kept
        if not len(pending):
            return []
        pending = _settled(pending)
        ready = int(np.searchsorted(pending.time_us, self._newest_us - HOLD_BACK_US, side="left"))
        self._held = _copied(pending[ready:])
        return [pending[:ready]] if ready else []

    def _in_order(self, readings: Readings) -> bool:
        """Whether they follow what came before, by time and without leap, and reach so far that all before
        them may be let go."""
        time_us = readings.time_us
        first, newest = int(time_us[0]), self._newest_us
        if not newest < first <= newest + LEAP_US or time_us[-1] < first + HOLD_BACK_US:
            return False
        step = time_us[1:] - time_us[:-1]
        return bool(step.min() >= 0 and step.max() <= LEAP_US)

    def finish(self) -> Readings:
        """Everything still held back."""
        rest, self._held = self._held, Readings.none()
        return rest

    def _admit(self, readings: Readings) -> Readings:
        """The readings that are not late, in order of arrival."""
        parts = []
        while len(readings):
            if self._newest_us == NONE_YET:
                self._newest_us = int(readings.time_us[0])
            leap = self._first_leap(readings.time_us)
            plain, turned = self._admit_plain(readings[:leap])
            parts.append(plain)
            if turned is not None:
                time_us = int(readings.time_us[turned])
                more_us = self.turns.turn(time_us, self._newest_us)
                self._newest_us = time_us + more_us
                readings = _told_on(readings[turned:], more_us)
                continue
            readings = readings[leap:]
            if len(readings):
                parts.append(
                    readings[:1] if self._believe_leap(int(readings.time_us[0])) else Readings.none()
                )
                readings = readings[1:]
        return parts[0] if len(parts) == 1 else Readings.concatenate(parts)

    def _first_leap(self, time_us: NDArray[np.int64]) -> int:
        """Position of the first reading that leaps ahead of all before it; their number if none does."""
        if int(time_us.max()) <= self._newest_us + LEAP_US:
            return len(time_us)
        newest = np.maximum(np.maximum.accumulate(time_us[:-1], axis=0), self._newest_us)
        ahead = time_us - np.concatenate(([self._newest_us], newest)) > LEAP_US
        return int(np.argmax(ahead)) if ahead.any() else len(time_us)

    def _admit_plain(self, readings: Readings) -> tuple[Readings, int | None]:
        """Those that are not late; and the position at which the clock proves to have been set back, where
        it does: from there on nothing has been taken up."""
        time_us = readings.time_us
        if not len(time_us):
            return readings, None
        self._leap_us = NONE_YET
        newest = np.maximum(np.maximum.accumulate(time_us), self._newest_us)
        before = np.concatenate(([self._newest_us], newest[:-1]))
        on_time = time_us >= before - HOLD_BACK_US
        if on_time.all():
            self._newest_us = int(newest[-1])
            self._heard(readings.signal)
            self._streak.broken()
            return readings, None
        turned = self._turned(readings, on_time) if self._follows_clock else None
        if turned is not None:
            readings, on_time = readings[:turned], on_time[:turned]
        if len(on_time):
            self._newest_us = int(newest[len(on_time) - 1])
        self.late += int(len(on_time) - np.count_nonzero(on_time))
        kept = readings[on_time]
        self._heard(kept.signal)
        return kept, turned

    def _turned(self, readings: Readings, on_time: NDArray[np.bool_]) -> int | None:
        """Position of the late reading with which a streak has lasted."""
        expected = 0
        signals, first = np.unique(readings.signal[on_time], return_index=True)
        known = dict(zip(signals.tolist(), np.flatnonzero(on_time)[first].tolist(), strict=True))
        known |= dict.fromkeys(self._known, -1)  # where each was on time first
        for at in np.flatnonzero(~on_time).tolist():
            if at != expected:
                self._streak.broken()
            expected = at + 1
            if known.get(int(readings.signal[at]), at) >= at:
                continue
            if self._streak.late(int(readings.time_us[at])):
                self._streak.broken()
                return at
        if expected != len(on_time):
            self._streak.broken()
        return None

    def _heard(self, signals: NDArray[np.int16]) -> None:
        if len(signals):  # a plant has few signals, and each is soon asked for; a tick is -1
            new = set(range(int(signals.min()), int(signals.max()) + 1)) - self._known
            self._known.update(signal for signal in new if (signals == signal).any())

    def _believe_leap(self, time_us: int) -> bool:
        """Whether an earlier lone leap bears this one out; else it is remembered and counts as late."""
        if self._leap_us != NONE_YET and time_us >= self._leap_us - LEAP_US:
            self._newest_us, self._leap_us = time_us, NONE_YET
            return True
        self._leap_us = time_us
        self.late += 1
        return False

    def saved(self) -> dict[str, Any]:
        return {
            "signal": self._held.signal.tobytes(),
            "time_us": self._held.time_us.tobytes(),
            "value": self._held.value.tobytes(),
            "newest_us": self._newest_us,
            "leap_us": self._leap_us,
            "late": self.late,
            "turns": self.turns.saved(),
            "streak": self._streak.saved(),
            "known": sorted(self._known),
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._held = Readings(
            np.frombuffer(saved["signal"], np.int16),
            np.frombuffer(saved["time_us"], np.int64),
            np.frombuffer(saved["value"], np.float64),
        )
        self._newest_us, self._leap_us, self.late = saved["newest_us"], saved["leap_us"], saved["late"]
        self.turns.restore(saved["turns"])
        self._streak.restore(saved["streak"])
        self._known = set(saved["known"])


def _told_on(readings: Readings, by_us: int) -> Readings:
    """The same, so much later."""
    return Readings(readings.signal, readings.time_us + by_us, readings.value)


def _copied(readings: Readings) -> Readings:
    """Own memory, so that a few held readings do not keep a year of them alive."""
    return Readings(readings.signal.copy(), readings.time_us.copy(), readings.value.copy())


def _settled(readings: Readings) -> Readings:
    """By time and signal, one reading a signal and instant: the same twice says nothing new, and of two that
    differ the smaller is taken, so that it does not matter which came first. Mostly they are so already."""
    time_us, signal = readings.time_us, readings.signal
    later = time_us[1:] > time_us[:-1]
    if later.all() or (later | ((time_us[1:] == time_us[:-1]) & (signal[1:] > signal[:-1]))).all():
        return readings
    if not (later | ((time_us[1:] == time_us[:-1]) & (signal[1:] >= signal[:-1]))).all():
        readings = readings.in_time_order()
        time_us, signal = readings.time_us, readings.signal
    again = np.concatenate(([False], (time_us[1:] == time_us[:-1]) & (signal[1:] == signal[:-1])))
    first, repeats = np.flatnonzero(~again), np.flatnonzero(again)
    value = readings.value[first]
    np.fmin.at(value, np.searchsorted(first, repeats) - 1, readings.value[repeats])
    return Readings(signal[first], time_us[first], value)
