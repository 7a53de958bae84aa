"""What the rests of a storage lose: the slope that they have in common, and how sure it is.

With y the water at the end of each step, t its time, sums taken within rests (each rest has a height of its
own: analysis of covariance), sigma the scatter about the rests' lines or from step to step, whichever is
larger, and m levels in a row that share a word of the gauge and so scatter together:

    loss = - Sty / Stt,   standard error = sigma sqrt(m / Stt)

The sums are kept by the quarter of the day (`Part`), so that a loss is measured since it began and not since
something else did.

Source: analysis of covariance is textbook.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING

import msgspec

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.judging.balance import LevelStep

QUARTER_US = 6 * 3_600_000_000
QUARTERS = 4
#: Standard errors by which a quarter of the day must be below what it is held against, to speak against a
#: loss at all hours; and by which two must lose together to speak for one. A gauge that swings with the day
#: is asked so twice a day: by 3.5 chance has its way with one such gauge in six a year, by 2 with each often.
TELLS, LOSES = 2.0, 3.5


class Slope(msgspec.Struct):
    """Sums for the common slope of rests: within the rest at hand, and over those that are over."""

    to_us: int = 0  # end of the rest at hand
    from_us: int = 0
    count: int = 0
    mean_s: float = 0.0
    mean_m3: float = 0.0
    stt: float = 0.0
    sty: float = 0.0
    syy: float = 0.0
    freedom: int = -1  # points, less a height for each rest, less the slope

    def step(self, step: LevelStep, before_m3: float) -> None:
        """Take up one step; one that does not follow on the last begins another rest."""
        if step.from_us != self.to_us:
            self.from_us, self.count, self.mean_s, self.mean_m3 = step.from_us, 1, 0.0, before_m3
        self.to_us, self.count = step.to_us, self.count + 1
        at_s = (step.to_us - self.from_us) / 1e6
        off_s, off_m3 = at_s - self.mean_s, before_m3 + step.change_m3 - self.mean_m3
        self.mean_s += off_s / self.count
        self.mean_m3 += off_m3 / self.count
        self.stt += off_s * (at_s - self.mean_s)
        self.sty += off_s * (before_m3 + step.change_m3 - self.mean_m3)
        self.syy += off_m3 * (before_m3 + step.change_m3 - self.mean_m3)
        self.freedom += 1

    def joined(self, other: Slope) -> Slope:
        """The common slope of both's rests."""
        return Slope(
            stt=self.stt + other.stt,
            sty=self.sty + other.sty,
            syy=self.syy + other.syy,
            freedom=self.freedom + other.freedom + 1,
        )

    @property
    def loss_m3_s(self) -> float:
        """What the rests lose; 0 while there is nothing to go by."""
        return -self.sty / self.stt if self.stt > 0.0 else 0.0

    def bounds_m3_s(self, sigma_m3: float, shared: float, errors: float) -> tuple[float, float]:
        """The loss, less and plus so many standard errors; `sigma_m3`: scatter from step to step, `shared`:
        levels in a row that scatter together."""
        if self.stt <= 0.0 or self.freedom < 1:
            return float("-inf"), float("inf")
        about_m3 = sqrt(max(self.syy - self.sty**2 / self.stt, 0.0) / self.freedom)
        error = max(sigma_m3, about_m3) * sqrt(shared / self.stt)
        return self.loss_m3_s - errors * error, self.loss_m3_s + errors * error


class Part(msgspec.Struct):
    """What the quiet steps of one quarter of a day lost, and what went in all of them (`gone_m3`)."""

    since_us: int
    quiet_s: float = 0.0
    lost_m3: float = 0.0
    gone_m3: float = 0.0
    slope: Slope = msgspec.field(default_factory=Slope)

    def follows(self, step: LevelStep) -> bool:
        """Whether a step is of the same quarter."""
        return step.from_us // QUARTER_US == self.since_us // QUARTER_US

    def joined(self, other: Part) -> Part:
        """Both together, `other` being the later."""
        return Part(
            self.since_us,
            self.quiet_s + other.quiet_s,
            self.lost_m3 + other.lost_m3,
            self.gone_m3 + other.gone_m3,
            self.slope.joined(other.slope),
        )


def since_each(parts: Iterable[Part]) -> list[Part]:
    """Everything since the beginning of each part, the newest first."""
    found: list[Part] = []
    for part in reversed(list(parts)):
        found.append(part.joined(found[-1]) if found else part)
    return found


def is_round_the_clock(parts: Iterable[Part], sigma_m3: float, shared: float, share: float) -> bool | None:
    """Whether the loss is there at all hours: no quarter of the day surely loses less than `share` of what
    all of them do, and two that lie opposite each other surely lose together, in which what swings with the
    day cancels. None: nothing speaks against it, but those two are not known; False: something does."""
    by_quarter: dict[int, Slope] = {}
    whole = Slope()
    for part in parts:
        quarter = part.since_us // QUARTER_US % QUARTERS
        by_quarter[quarter] = by_quarter.get(quarter, Slope()).joined(part.slope)
        whole = whole.joined(part.slope)
    if any(
        one.bounds_m3_s(sigma_m3, shared, TELLS)[1] < share * whole.loss_m3_s for one in by_quarter.values()
    ):
        return False
    for quarter in range(QUARTERS // 2):
        here, opposite = (by_quarter.get(at, Slope()) for at in (quarter, quarter + 2))
        errors = [one.loss_m3_s - one.bounds_m3_s(sigma_m3, shared, 1.0)[0] for one in (here, opposite)]
        if here.loss_m3_s + opposite.loss_m3_s > LOSES * hypot(*errors):
            return True
    return None
