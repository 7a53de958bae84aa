"""Why runs are short: the cause, in order of suspicion, and how sure it is.

    what is seen                     lost air   charge above cut-in   narrow band   tank too small, leak
    foot of the runs' pressures      whole      raised, with dips     raised or whole       whole
    top of the runs' pressures       usual      usual                 usual or lower        usual
    apparent delivery, over usual    1/f        r                     1                     1

f is what is left of the compliance, and r = (Pc + pa) / (Pc' + pa) where the runs stand on Pc': a charge
that is too high makes the air that is pressed larger, and what pressure tells of the flow too small by r.

Samples up to 3 s apart meet the leap with which a tank charged too high begins to fill. A long or soft line
takes water itself, and is a while on the way: below the charge pressure moves many times as fast as above it,
in the rest and in the run, and so the kink at the start shows KNEE times that at the stop. Lost air moves all
of the band by the same factor: then both kinks have grown alike, over the plant's own where these are
learned. Further apart, the foot is told from many runs (`analytics.judging.footing`), and charge from cut-in
by dips or by r. What cannot be told is left open, with the causes between which it is open.

Parameters:
    GROWN 1.4       apparent delivery of a learned plant: see `analytics.faults.short_cycling`;
    GROWN_FROM_FILE 1.5  the rating itself may be wrong by a fifth, the tank's size by as much
    KNEE 3          from a pump's own curve 1.5, and 2.3 where it shuts off a tenth above the cut-out; over
                    the plant's own OWN_KNEE 1.3 (wear bends it by less while stops stay quick),
                    and KNEE_ERRORS 3 standard errors beyond 1, of FEWEST_KNEES 4 runs
    LEAP_SURE 0.5   of the band: no tank that holds air leaps so far
    HIGH 0.93, HIGH_ERROR 0.06  delivery in the band's upper part over that of all: from the quadratic
                    curve with a shut-off head 1.3 to 2 times the cut-out
    RATED_ERROR 0.2 of a rating that no run has checked; TIMED_RUNS 6 make a median by times
    BLURRED 0.12    what the mean of 1/T is too large by where T is but 1.5 samples long; fewer than
                    FEWEST_SAMPLES 1.5 on the mean tell nothing
    A_DIP 0.25      log of odds for each dip that was to be expected and not seen, up to NO_DIPS 1.9: a steady
                    draw may keep step with the samples, which then miss them all: alone that tells nothing
    TOLD 2, MOST 4  log of odds of seven to one, less is left open; no witness says more than MOST

Source: Boyle's law; cycle arithmetic, reference values A14-A17.
"""

from __future__ import annotations

from math import ceil, hypot, sqrt
from statistics import fmean, median, stdev
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.charge_or_switch import OF_A_MAD, OF_A_MEDIAN
from analytics.judging.cycling_run import (
    LEAP_SHARE,
    NARROW,
    Seen,
    is_guessed,
    shortest_s,
    sound_delivery_m3_s,
    timed,
)
from analytics.judging.cycling_series import END as LOWER_TOP
from analytics.judging.cycling_series import ends_lower, spans_the_band

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.footing import Said
    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.water import Water

GROWN, GROWN_FROM_FILE = 1.4, 1.5
LEAP_SURE, HALF, KNEE = 0.5, 0.5, 3.0
OWN_KNEE, KNEE_ERRORS, FEWEST_KNEES = 1.3, 3.0, 4
HIGH, HIGH_ERROR = 0.93, 0.06
RATED_ERROR = 0.2
TIMED_RUNS = 6
A_DIP, NO_DIPS = 0.25, 1.9
BLURRED, FEWEST_SAMPLES = 0.12, 1.5
TOLD, MOST = 2.0, 4.0
USUAL_STARTS_PER_HOUR = 15.0


class Verdict(msgspec.Struct, frozen=True):
    """The cause, or None and what it is open between."""

    cause: str | None
    sure: float
    between: tuple[str, ...] = ()


class Kinks(msgspec.Struct, frozen=True):
    """Delivery by the kinks at start and stop of clean runs, over the usual; relative scatter of one over the
    other, and its error."""

    start: float
    stop: float
    scatter: float
    error: float


class Grounds(msgspec.Struct, frozen=True):
    """What a verdict is found on: runs of the fault, and what is usual."""

    runs: list[Seen]
    foot: Said
    grown: float | None  # apparent delivery of the newest runs, over the usual
    has_grown: bool
    only_frequent: bool  # starts too many, runs long enough
    usual: Reference
    plant: Plant
    water: Water
    charge: float | None = None  # log of the odds of a charge above cut-in
    narrowed: bool = False  # rests tell a band of less than half, from cut-in on
    kinks: Kinks | None = None  # of the plant's own clean runs, once learned

    @property
    def limit(self) -> float:
        return GROWN if self.usual.learned else GROWN_FROM_FILE

    @property
    def delivery_m3_s(self) -> float:
        return sound_delivery_m3_s(self.plant, self.usual, self.water)

    @property
    def guessed(self) -> bool:
        """Whether neither the plant's own runs nor a rating tell its delivery."""
        return is_guessed(self.plant, self.usual, self.water)

    @property
    def expected_s(self) -> float:
        return self.usual.drawdown_m3 / (self.usual.delivery_m3_s if self.guessed else self.delivery_m3_s)


def middle(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if len(known) >= 2 else None


def cause_of(grounds: Grounds) -> Verdict:
    """The first of the statements below that has anything to say."""
    if all(seen.top is None and seen.up is None for seen in grounds.runs):
        return Verdict(None, 0.7)  # without a pressure a short run may have any cause
    return (
        _by_rests(grounds)
        or _by_leap(grounds)
        or _by_filling(grounds)
        or _by_top(grounds)
        or _by_foot(grounds)
        or _by_delivery(grounds)
        or _by_size(grounds)
    )


def _by_rests(grounds: Grounds) -> Verdict | None:
    """No tank makes the switch stop lower."""
    return Verdict("narrow_switch_band", 0.9) if grounds.narrowed else None


def _by_leap(grounds: Grounds) -> Verdict | None:
    """A collapse and a leap that were met, or that many runs imply."""
    if grounds.foot.stands == "overcharged":
        return Verdict("overcharged_tank", 0.95)
    if grounds.charge is not None and grounds.charge > TOLD:
        return Verdict("overcharged_tank", 0.9)
    knee = middle([seen.knee for seen in grounds.runs])
    if knee is not None and (knee > KNEE or _starts_quicker(grounds)):
        return Verdict("overcharged_tank", 0.9)
    leap = middle([seen.leap for seen in grounds.runs])
    if leap is None or leap <= LEAP_SHARE:
        return None
    # the collapse before the start lies in the kink's window and makes it look larger; the rise
    # within the run does not know of it
    rises = _fills(grounds) or grounds.grown
    sure = rises is None or rises < GROWN or leap > LEAP_SURE
    return Verdict("overcharged_tank", 0.9) if sure else None


def _starts_quicker(grounds: Grounds) -> bool:
    """Whether the kink at the start has grown, over the plant's own, by more than that at the stop, and that
    by less than lost air makes of it."""
    own = grounds.kinks
    told = [(seen.knee, seen.apparent) for seen in grounds.runs if seen.knee and seen.apparent]
    if own is None or len(told) < FEWEST_KNEES:
        return False
    grown = [knee * own.stop / own.start for knee, _ in told]
    stops = median([2.0 * apparent / (1.0 + knee) for knee, apparent in told]) / own.stop
    share = median(grown)
    scatter = max(OF_A_MAD * median([abs(one - share) for one in grown]), own.scatter)
    error = hypot(OF_A_MEDIAN * scatter / sqrt(len(grown)), own.error)
    return share > max(OWN_KNEE, 1.0 + KNEE_ERRORS * error) and stops < GROWN


def _fills(grounds: Grounds) -> float | None:
    """How fast the second quickest run filled the tank, of many the quickest sixth: few words may err."""
    nets = sorted(seen.net for seen in grounds.runs if seen.net is not None)
    return nets[-max(2, ceil(len(nets) / 6))] if len(nets) >= 2 else None


def _by_filling(grounds: Grounds) -> Verdict | None:
    """Demand can only slow a fill: two that are quicker than the pump delivers have less air to press."""
    fills = _fills(grounds)
    if fills is None or fills < grounds.limit:
        return None
    return Verdict("lost_air_charge", 0.95 if grounds.has_grown else 0.9)


def _by_top(grounds: Grounds) -> Verdict | None:
    """No tank makes the switch stop lower."""
    if grounds.grown is not None and grounds.grown > 1.6:
        return None
    lower = ends_lower(grounds.runs)
    top = grounds.foot.top
    if top is not None and grounds.foot.stands != "overcharged":
        lower = top < 1.0 - LOWER_TOP
    band = middle([seen.band for seen in grounds.runs])
    narrow = band is None or band < NARROW
    return Verdict("narrow_switch_band", 0.9) if lower and narrow else None


def _by_foot(grounds: Grounds) -> Verdict | None:
    """Runs that begin well above cut-in: the charge stands there, or the switch's cut-in does."""
    foot, runs = grounds.foot.stands, grounds.runs
    if foot in ("raised", "either"):
        return _charge_or_switch(grounds, grounds.foot.foot, min(A_DIP * grounds.foot.missed, NO_DIPS))
    if foot == "whole":
        return None
    coarse = [seen for seen in runs if seen.coarse and seen.leap is None]
    band = middle([seen.band for seen in runs])
    if band is not None and band < NARROW and not spans_the_band(runs, collapses=False):
        up = middle([seen.up for seen in coarse])
        if up is not None and up > LEAP_SHARE:
            return _charge_or_switch(grounds, up, 0.0)
        return (
            None if grounds.grown is not None and grounds.grown > 1.6 else Verdict("narrow_switch_band", 0.9)
        )
    if 2 * len(coarse) <= len(runs) or grounds.grown is not None or spans_the_band(coarse):
        return None
    up = middle([seen.up for seen in coarse])
    high = up is not None and up > HALF  # a rest of two samples of a sound band ends below its middle
    return Verdict(None, 0.7, ("overcharged_tank", "narrow_switch_band" if high else "lost_air_charge"))


def _charge_or_switch(grounds: Grounds, foot: float, switch: float) -> Verdict:
    """By the dips (`switch`: log of odds that they give it), and by apparent delivery: the usual where the
    switch has moved, r of it where the charge has."""
    odds = _charge_by_delivery(grounds, foot) - switch
    if odds > TOLD:
        return Verdict("overcharged_tank", 0.8)
    if odds < -TOLD:
        return Verdict("narrow_switch_band", 0.8)
    return Verdict(None, 0.7, ("overcharged_tank", "narrow_switch_band"))


def _charge_by_delivery(grounds: Grounds, foot: float) -> float:
    """Log of the odds of a charge at `foot` over a switch that starts there."""
    shares = _apparent(grounds, foot)
    if len(shares) < TIMED_RUNS or grounds.guessed:
        return 0.0
    water, usual = grounds.water, grounds.usual
    charged_pa = usual.start_pa + foot * usual.band_pa
    held = (water.precharge_pa + water.atmosphere_pa_abs) / (charged_pa + water.atmosphere_pa_abs)
    share = fmean(shares)
    error = hypot(
        stdev(shares) / sqrt(len(shares)),
        HIGH_ERROR,
        0.0 if usual.learned else RATED_ERROR * share,
        BLURRED * share if _spacing(grounds) > 1.0 / 3.0 else 0.0,
    )
    odds = ((share - HIGH) ** 2 - (share - HIGH * held) ** 2) / (2.0 * error**2)
    return min(max(odds, -MOST), MOST)


def _spacing(grounds: Grounds) -> float:
    """Of the samples, over the mean run."""
    return median([seen.interval_s for seen in grounds.runs]) / fmean([seen.run_s for seen in grounds.runs])


def _apparent(grounds: Grounds, foot: float) -> list[float]:
    """Of each run; by times if samples are far apart: then edges are told right on the mean of many runs,
    as long as none is so short that it is often missed."""
    if not any(seen.coarse for seen in grounds.runs):
        return [seen.apparent for seen in grounds.runs if seen.apparent is not None]
    if _spacing(grounds) > 1.0 / FEWEST_SAMPLES:
        return []
    shares = [timed(seen, grounds.water, grounds.usual, grounds.delivery_m3_s, foot) for seen in grounds.runs]
    return [share for share in shares if share is not None]


def _by_delivery(grounds: Grounds) -> Verdict | None:
    """What moves pressure faster than the pump can has less air to press."""
    usual, grown = grounds.usual, grounds.grown
    small = not usual.learned and not grounds.guessed and grounds.expected_s < shortest_s(grounds.plant)
    if grounds.has_grown or (grown is not None and grown > 1.25 and not small and not grounds.guessed):
        return Verdict("lost_air_charge", 0.95 if grounds.has_grown else 0.8)
    if grown is None and not grounds.guessed:
        coarse = [seen for seen in grounds.runs if seen.coarse]
        times = [timed(seen, grounds.water, usual, grounds.delivery_m3_s) for seen in coarse]
        by_time = middle(times)
        if by_time is not None and by_time >= grounds.limit:
            return Verdict("lost_air_charge", 0.85)
    return None


def _by_size(grounds: Grounds) -> Verdict:
    """A sound tank that is too small for the pump, or that a leak empties without end."""
    usual, runs, grown = grounds.usual, grounds.runs, grounds.grown
    if grounds.guessed and grown is None:
        fills_m3_s = usual.drawdown_m3 / max(median([seen.run_s for seen in runs]), 1.0)
        grown = fills_m3_s / grounds.delivery_m3_s
    if grounds.guessed and grown is not None and grown < GROWN_FROM_FILE:
        return Verdict("undersized_tank", 0.6)  # the motor could deliver as much: the runs fit the tank
    expected_s = grounds.expected_s
    if (
        not grounds.only_frequent
        and grown is None
        and median([seen.run_s for seen in runs]) < 0.6 * expected_s
    ):
        return Verdict("lost_air_charge", 0.7)
    limit = grounds.plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR
    if expected_s < shortest_s(grounds.plant) or (
        grounds.only_frequent and 3600.0 / (4.0 * expected_s) > limit
    ):
        return Verdict("undersized_tank", 0.85)
    demands = [seen.demand for seen in runs if seen.demand is not None]
    if grounds.only_frequent and demands and min(demands) > 0.1:
        return Verdict("leak", 0.7)
    return Verdict(None, 0.7, ("lost_air_charge",))
