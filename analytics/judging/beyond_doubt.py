"""Since how many runs a loss of delivery is beyond doubt.

How sure. A likelihood ratio over when the loss began, as far as WINDOWS go back (a GLR test, Lorden 1971):
over the newest n runs the loss beyond BORNE, divided by its standard error, is z, and the log-likelihood
ratio of a loss against none is z^2 / 2. ENOUGH 12 (z = 4.9) is a chance of 5e-7 a look; four windows and
10,000 runs make one false call in fifty plant-years. Clogs and wear that come slowly are found by the
long windows, which average, and sudden ones by the short, which need no more than four runs.

What scatter does not cover. Runs of one spell share what draws, and demand hidden in eight of them has
read up to a tenth low by their upper quartile (synthetic traces, sampled at 1 to 10 s), half as much in a
day's runs, and more in few: each window has a least loss of its own. None is below LEAST.

Parameters: see the constants.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from analytics.instants import HOUR_US
from analytics.judging.blame import borne_out
from analytics.judging.in_each import (
    BORNE_OUT,
    LEAST,
    LEAST_AGREED,
    hidden_by_draws,
    idle_runs,
    motor_agrees,
    scatters,
)
from analytics.judging.left_over import FIGURES, left_of_whole_runs, left_over
from analytics.judging.signature import COARSE_S, LATELY, LESSON
from analytics.judging.unmoved import unmoved

if TYPE_CHECKING:
    from analytics.judging.brief import Brief
    from analytics.judging.left_over import Base
    from analytics.judging.signature import Signature
    from analytics.judging.watch import Known

BORNE = 0.04
#: Runs, and the least loss that their upper quartile must show.
WINDOWS = ((5, 0.35), (LATELY, 0.20), (16, 0.15), (LESSON, LEAST))
#: Of runs an hour apart that span most of a day hardly two are of one spell, and what is hidden in one is in
#: none of the others: for the upper quartile to read low it takes four of five.
SPREAD = ((5, 0.17), (LATELY, 0.15), (12, LEAST), (LESSON, LEAST))
SPREAD_HOURS = 20.0
#: Below this a loss may be the hour's (mains that sag of an evening, a storage drawn down, what a garden
#: draws). Runs an hour apart must show some of it too: of so many, a spell of six hours has no more than
#: half, and their upper quartile is of the other hours.
OF_AN_HOUR, HOURS, HOURS_Z = 0.20, 12, 2.0
ENOUGH = 12.0
#: Seen coarsely, kinks and mid-run figure are of the same few samples and err together, and a day has few
#: looks that are new: z = 3.9, one chance in 20,000, of some thousand a year.
ENOUGH_COARSE = 7.5
#: A run of a few samples does not show what comes and goes within it: runs of household and of garden
#: differ by a fifth then, and a day has all of them. Its kinks and its middle are of the same samples.
LEAST_COARSE, COARSE_HOURS, FEW_INTERVALS = 0.25, 23.0, 5.0
ROUNDED_UP = 1.0 + 1e-9
#: The upper quartile of three, the fewest that tell a figure, is the largest of them.
FEWEST_LOW = 3


def certain(known: Known, base: Base, interval_s: float) -> tuple[float, float] | None:
    """Delivery left and its error, of the first window in which a loss is beyond doubt."""
    signature, coarse = known.signature, interval_s >= COARSE_S
    few = _lasted_s(signature, base) < FEW_INTERVALS * interval_s
    if not coarse and (told := _idling(known, base)) is not None:
        return told
    for hourly, windows in ((False, WINDOWS), (True, SPREAD)):
        if not _some_are_low(signature, base, hourly):
            continue
        recent = signature.hourly if hourly else signature.recent
        hours = COARSE_HOURS if coarse else hourly * SPREAD_HOURS
        for runs, least in windows:
            if len(recent) < runs or recent[-1].at_us - recent[-runs].at_us < hours * HOUR_US:
                continue
            asked = max(least, LEAST_COARSE) if coarse or few else least
            if not _may_have_lost(signature, base, runs, hourly, min(asked, LEAST_AGREED)):
                continue
            window = _Window(base, recent[-runs:], hourly, asked, coarse)
            found = left_over(known, base, runs, hourly, alike=coarse or few)
            if found is not None and window.shows(known, *found):
                return found
    return None


def _idling(known: Known, base: Base) -> tuple[float, float] | None:
    """By whole runs, where the motor works so much less that no draw explains it: all of them since it does,
    since a meter that reads less, or mains, would have shown by some that brought as much as ever."""
    runs = idle_runs(known)
    if runs < WINDOWS[0][0]:
        return None
    found = left_of_whole_runs(known, base, runs)
    if found is None:
        return None
    left, error = found
    shown = 1.0 - left >= LEAST_AGREED and 1.0 - left - BORNE >= BORNE_OUT * error
    return found if shown and not unmoved(known.signature, left, known.signature.recent[-runs:]) else None


def _lasted_s(signature: Signature, base: Base) -> float:
    """How long runs last, the newest or the clean ones: whichever of them have the fewer samples."""
    clean, lately = base.traits.get("run_time_s"), signature.middle("run_time_s", LATELY)
    return min(inf if clean is None else clean.middle, inf if lately is None else lately)


@dataclass(frozen=True)
class _Window:
    """The newest runs, and the least loss that is asked of them."""

    base: Base
    newest: list[Brief]
    hourly: bool
    least: float
    coarse: bool

    def shows(self, known: Known, left: float, error: float) -> bool:
        loss = 1.0 - left
        z = (loss - BORNE) / error
        if z <= 0.0:
            return False
        agreed = (
            not self.coarse
            and loss >= LEAST_AGREED
            and motor_agrees(known, self.base, self.newest, z, self.hourly)
        )
        alone = agreed or self._shows_alone(known, left, error, z)
        return alone and not unmoved(known.signature, left, self.newest)

    def _shows_alone(self, known: Known, left: float, error: float, z: float) -> bool:
        """By the delivery, whatever the motor says."""
        loss, runs = 1.0 - left, len(self.newest)
        if loss < self.least or (not self.hourly and scatters(known.signature, self.base, runs)):
            return False
        evidence = 0.5 * z**2 + borne_out(known, left, error, runs, self.hourly)
        if evidence < (ENOUGH_COARSE if self.coarse else ENOUGH):
            return False
        if hidden_by_draws(self.newest, self.base, self.least):
            return False
        if self.hourly:
            return _borne_out(known, self.base, loss)
        return loss >= OF_AN_HOUR or _all_day(known, self.base)


def _some_are_low(signature: Signature, base: Base, hourly: bool) -> bool:
    """Whether as many of the newest runs are below the least loss as move the upper quartile of the fewest:
    soonest asked of all."""
    for name in FIGURES:
        clean = base.traits.get(name)
        if clean is None or clean.middle <= 0.0:
            continue
        low = signature.lower_than((1.0 - LEAST) * clean.upper * ROUNDED_UP, name, hourly)
        if low is None or low >= FEWEST_LOW:
            return True
    return False


def _may_have_lost(signature: Signature, base: Base, runs: int, hourly: bool, least: float) -> bool:
    """Whether one figure's upper quartile has lost so much: all together cannot have lost more. Mostly none
    has, and this is soon asked."""
    for name in FIGURES:
        clean = base.traits.get(name)
        if clean is None or clean.middle <= 0.0:
            continue
        top = signature.upper(name, runs, hourly)
        if top is not None and top < (1.0 - least) * clean.upper * ROUNDED_UP:
            return True
    return False


def _borne_out(known: Known, base: Base, loss: float) -> bool:
    """Whether the newest runs, however near each other, have lost half of it at least: runs hours apart may
    all be of the household's short draws."""
    newest = left_over(known, base, LATELY)
    return newest is not None and 1.0 - newest[0] >= 0.5 * loss


def _all_day(known: Known, base: Base) -> bool:
    """Whether runs an hour apart have lost some too."""
    found = left_over(known, base, HOURS, hourly=True) if len(known.signature.hourly) >= HOURS else None
    return found is not None and 1.0 - found[0] - BORNE > HOURS_Z * found[1]
