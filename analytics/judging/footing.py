"""Where the runs' pressures stand, for samples too far apart to meet a collapse each time.

A sound tank, and one that has lost its air, fill through the whole band: samples taken within runs lie
all over it, as evenly in water as in time. A tank charged above cut-in is empty below its charge: within
a run pressure stands above the charge from the first second on, and only the collapse before the start,
over in a moment, is ever seen below. A switch whose cut-in has moved up never lets pressure go there.

So three statements, each from many runs:

- since when the lowest sample within a run stands off the band's foot, and M, the lowest of these (a few
  runs are left out, as many as could have been sampled in the leap of their first seconds);
- had the runs filled from cut-in, a run of T seconds sampled each `dt` would have missed the part below
  M, which takes it LOWER * w(M) / w(band) * T seconds, with a chance of 1 - that / dt at most: the
  product over the runs is the chance that M is an accident (CHANCE);
- dips: samples about the old cut-in since then. Had the cut-in moved, the pump would have started before.

Parameters:
    KEPT      24     runs, some hours of a fast-cycling pump
    LEAP_S    2 s    in which pressure may still be leaping: the motor's run-up and the line's filling
    LOWER     0.8    a pump is quicker at the foot of its band than on the whole
    LEAST_M   0.05   chance of a miss that is never called smaller: a sample may be lost
    CHANCE    1e-4   of taking a whole band for a raised footing: one look a run, some 10,000 a year, and
                     asked of short runs only; SURE 1e-6 where it alone raises a finding
    LOW       0.22   of the band: a footing below it is a whole band
    FEW       4      runs
    UNSEEN    2      intervals of a run that a motor seen as coarsely may hide, one at each end
    DIPS      2      samples at the very foot, below half of LOW, and COLLAPSE_S 1 s that one takes, for how
                     many were to be expected; EXPECTED 2.3 and none: one chance in ten (Poisson)

Source: none; probabilities of equidistant sampling.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from math import ceil, exp, log
from operator import itemgetter
from typing import TYPE_CHECKING, Literal

from analytics.judging.reference import USUAL_CUT_IN_PA, USUAL_CUT_OUT_PA
from analytics.seeing.beats import BEAT_US

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Span
    from analytics.seeing.events import Run
    from analytics.seeing.water import Water

KEPT = 24
LEAP_S = 2.0
LOWER = 0.8
LEAST_M = 0.05
CHANCE, SURE = 1e-4, 1e-6
LOW = 0.22
FEW = 4
UNSEEN = 2.0
DIPS, COLLAPSE_S = 2, 1.0
EXPECTED = 2.3
MARGIN = 0.05
FINE_S = 3.0
#: A pressure this far down is no collapse to cut-in but a drop-out, or an emptied line.
NOTHING = 0.5

Stands = Literal["whole", "overcharged", "raised", "either", "unknown"]


LOWS_KEPT = 200


@dataclass
class Footing:
    """Plain data. Of each run: start [us], length [s], interval [s], its lowest sample as a share of the
    band above cut-in."""

    runs: list[list[float]] = field(default_factory=list)
    lows: list[list[float]] = field(default_factory=list)  # of beats: end [us], lowest sample, a share


@dataclass(frozen=True, slots=True)
class Said:
    """What the runs say: where they stand, and the chance that it is an accident."""

    stands: Stands
    chance: float = 1.0


def _band(plant: Plant) -> tuple[float, float]:
    switch = plant.switch
    low = switch.cut_in_pa if switch else USUAL_CUT_IN_PA
    return low, (switch.cut_out_pa if switch else USUAL_CUT_OUT_PA) - low


def note_run(footing: Footing, run: Run, plant: Plant) -> None:
    """Take up a run that was seen whole, by samples far apart, of which one at least fell into it."""
    if not run.entire or run.interval_s <= FINE_S or run.pressure_low_pa is None:
        return
    low, band = _band(plant)
    share = (run.pressure_low_pa - low) / band
    one = [float(run.cycle.start_us), run.cycle.run_time_s, run.interval_s, share]
    footing.runs = [*footing.runs, one][-KEPT:]


def note_beat(footing: Footing, span: Span | None, to_us: int, plant: Plant) -> None:
    """Take up the lowest pressure of ten minutes, if it is one that tells."""
    if span is None or not span.count or not footing.runs:
        return
    low, band = _band(plant)
    lowest = span.low
    if lowest < NOTHING * low:
        real = span.value[span.value >= NOTHING * low]
        if not len(real):
            return
        lowest = float(real.min())
    footing.lows.append([float(to_us), (lowest - low) / band])
    since_us = footing.runs[0][0]
    gone = max(bisect_right(footing.lows, since_us, key=itemgetter(0)), len(footing.lows) - LOWS_KEPT)
    del footing.lows[:gone]


def seen_below(footing: Footing, pressure_pa: float, plant: Plant) -> bool:
    """Whether a sample of the runs' time stood well below a pressure that is taken for the cut-in."""
    low, band = _band(plant)
    limit = (pressure_pa - low) / band - 2.0 * MARGIN
    return any(one[1] < limit for one in footing.lows if one[0] > footing.runs[-4:][0][0])


def judged(footing: Footing, plant: Plant, water: Water) -> Said:
    """What the newest runs say of the tank's charge and the switch's cut-in."""
    runs = _since_raised(footing.runs)
    if len(runs) < FEW:
        lows = sum(one[3] < LOW for one in footing.runs)
        return Said("whole" if lows > FEW and lows > _spare(footing.runs) else "unknown")
    foot = min(one[3] for one in runs if one[3] >= LOW) - MARGIN
    low, band = _band(plant)
    share = water.between_m3(low, low + foot * band) / max(water.between_m3(low, low + band), 1e-12)
    chance = sum(
        log(max(1.0 - LOWER * share * max(one[1] / one[2] - UNSEEN, 0.0), LEAST_M))
        for one in runs
        if one[3] >= LOW
    )
    if chance > log(CHANCE):
        return Said("unknown")
    since_us = runs[1][0] + BEAT_US  # a beat that was all after the change
    dips = sum(one[1] < min(0.5 * LOW, foot) for one in footing.lows if one[0] >= since_us)
    expected = sum(min(COLLAPSE_S / one[2], 1.0) for one in runs)
    kind: Stands = (
        "overcharged" if dips >= DIPS else "raised" if dips == 0 and expected >= EXPECTED else "either"
    )
    return Said(kind, exp(chance))


def _spare(runs: list[list[float]]) -> float:
    """So many runs may have been sampled while their pressure leapt."""
    return ceil(sum(min(LEAP_S / one[2], 1.0) for one in runs))


def _since_raised(runs: list[list[float]]) -> list[list[float]]:
    """The newest runs, from two in a row that stood above the band's foot, if no more than the spare of
    them did not; none otherwise."""
    for at in range(len(runs) - 1):
        since = runs[at:]
        begins = since[0][3] >= LOW and since[1][3] >= LOW
        if begins and sum(one[3] < LOW for one in since) <= _spare(since):
            return since
    return []
