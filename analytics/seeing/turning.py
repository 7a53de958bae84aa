"""A clock set back by more than moments: told from stragglers, and followed.

Readings that stay behind the newest time, one after the other and with none on time between, for LASTING_US
of their own time are no stragglers: the clock that stamps them was set back (a small computer that had
guessed its time, a logger that writes local time in autumn). From there on their time is told on by whole
days, so that the engine's own time never turns round while the hours of the day stay what they are;
everything that was learned stands, and the step is a hole in the recording like any other: what was
under way at it is unfinished. What the engine says is told back in the stamps' time.

A lone straggler, or a sensor of which others are on time meanwhile, begins no such streak; nor does a
sensor that has never been on time. A batch sent again may make one if it is long: it is then
gone through twice, with a hole between, which is no fault either.

Parameters: LASTING_US 10 min, longer than a gateway's buffer is usually sent again for (common
practice, no source), and STREAK readings at least, so that two of a slow sensor are not enough; a step
back by less has caught up with itself before it is told. APART_US: a hole that every sensor notices.
TURNS: so many steps are remembered, which bounds the state; times before the oldest of them are told by it.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.instants import DAY_US
from analytics.records import Outcome

if TYPE_CHECKING:
    from analytics.records import Cycle, Finding, Outlook

LASTING_US = 600_000_000
STREAK = 8
APART_US = 3_600_000_000
DISORDER_US = 10_000_000
TURNS = 64


class Streak:
    """Readings in a row that are all late, in order among themselves."""

    def __init__(self) -> None:
        self.count = 0
        self.first_us = self.newest_us = 0

    def late(self, time_us: int) -> bool:
        """Take one up; whether the streak has lasted."""
        if not self.count or not -DISORDER_US <= time_us - self.newest_us <= APART_US:
            self.count, self.first_us, self.newest_us = 1, time_us, time_us
            return False
        self.count += 1
        self.newest_us = max(self.newest_us, time_us)
        return self.count >= STREAK and self.newest_us - self.first_us >= LASTING_US

    def broken(self) -> None:
        self.count = 0

    def saved(self) -> list[int]:
        return [self.count, self.first_us, self.newest_us]

    def restore(self, saved: list[int]) -> None:
        self.count, self.first_us, self.newest_us = saved


class Turns:
    """Where the engine's time parted from the stamps', and by how much."""

    def __init__(self) -> None:
        self._from_us: list[int] = []  # the engine's time
        self._shift_us: list[int] = []  # the engine's less the stamps', from there on

    @property
    def shift_us(self) -> int:
        return self._shift_us[-1] if self._shift_us else 0

    def turn(self, time_us: int, newest_us: int) -> int:
        """A reading at `time_us`, in the engine's time so far, follows `newest_us`. By how much more it
        and all after it are to be told on: whole days."""
        more_us = -((time_us - newest_us - APART_US) // DAY_US) * DAY_US
        if not self._from_us:
            self._from_us, self._shift_us = [-(2**62)], [0]
        self._from_us = [*self._from_us, time_us + more_us][-TURNS:]
        self._shift_us = [*self._shift_us, self.shift_us + more_us][-TURNS:]
        return more_us

    def stamped(self, time_us: int) -> int:
        """The stamps' time of the engine's."""
        return time_us - self._shift_us[max(bisect_right(self._from_us, time_us) - 1, 0)]

    def told(self, outcome: Outcome) -> Outcome:
        """What the engine says, in the stamps' time."""
        if not self._from_us:
            return outcome
        return Outcome(
            tuple(self._cycle(cycle) for cycle in outcome.cycles),
            tuple(self._finding(finding) for finding in outcome.findings),
            tuple(self._outlook(outlook) for outlook in outcome.outlooks),
        )

    def _cycle(self, cycle: Cycle) -> Cycle:
        return replace(cycle, start_us=self.stamped(cycle.start_us), stop_us=self.stamped(cycle.stop_us))

    def _finding(self, finding: Finding) -> Finding:
        cleared = finding.cleared_us
        raised_us = self.stamped(finding.raised_us)
        return replace(
            finding,
            raised_us=raised_us,
            # evidence from before the step may bear a later stamp than the word it led to
            onset_us=min(self.stamped(finding.onset_us), raised_us),
            cleared_us=None if cleared is None else self.stamped(cleared),
        )

    def _outlook(self, outlook: Outlook) -> Outlook:
        return replace(outlook, time_us=self.stamped(outlook.time_us))

    def saved(self) -> list[list[int]]:
        return [self._from_us, self._shift_us]

    def restore(self, saved: list[list[int]]) -> None:
        self._from_us, self._shift_us = [*saved[0]], [*saved[1]]
