"""What is thought of one signal: what speaks against it, and since when.

Parameters: RELAPSE_US three days: one that fails again within them has an intermittent contact.
"""

from __future__ import annotations

import msgspec

from analytics.plant.description import MOTOR_MEASURES, Measure

RELAPSE_US = 3 * 86_400_000_000
#: Signals on which most rests: their loss is priority high.
VITAL = (Measure.LINE_PRESSURE, *MOTOR_MEASURES)


class Doubt(msgspec.Struct):
    """Memory of one signal. Plain data."""

    bad_beats: int = 0
    bad_words: int = 0
    since_us: int = 0
    cause: str | None = None  # while a finding stands
    still_us: int = 0  # since when it has stood still, where it is found stuck
    still_at: float = 0.0  # and at what
    good_beats: int = 0
    silent_since_us: int | None = None
    fell_us: int = 0  # of a silence that is told: when it spoke last
    told_by: int | None = None  # and the signal whose finding tells of it too
    cleared_us: int = 0
    relapses: int = 0

    @property
    def pending(self) -> bool:
        """Whether a beat with nothing against the signal can still change what is thought of it."""
        return self.cause is not None or self.silent_since_us is not None or self.bad_beats > 0

    def found(self, cause: str, since_us: int) -> None:
        """It is found at fault, once more where it was so until lately."""
        self.cause, self.good_beats = cause, 0
        self.fell_us = since_us if cause == "silent" else 0
        recent = since_us - self.cleared_us < RELAPSE_US
        self.relapses = min(self.relapses + 1, 3) if self.cleared_us and recent else 0
