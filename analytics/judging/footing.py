"""Where the runs' pressures stand, for samples too far apart to meet a collapse each time.

A sound tank, and one that has lost its air, empty and fill through the whole band: of the time in which the
pump cycles, pressure spends in the band's lowest part about that part's share of the tank's water. A tank
charged above cut-in is empty below its charge: what is below is only the collapse before the start and the
leap after it, which the line's own water makes, a few parts in a hundred of a drawdown. A switch whose
cut-in has moved up never lets pressure go there.

So four statements, each from many runs:

- since when the lowest sample within a run stands off the band's foot, and M, the lowest of these (a few
  runs are left out, as many as could have been sampled in the leap of their first seconds);
- had the runs filled from cut-in, a run of T seconds sampled each `dt` would have missed the part below
  M, which takes it LOWER * w(M) / w(band) * T seconds, with a chance of 1 - that / dt at most: the
  product over the runs is the chance that M is an accident (CHANCE);
- the share of samples below LOW in beats in which the pump cycles, for runs of few samples: the
  log-likelihood ratio of TIME_WHOLE against TIME_RAISED, in which a run or a rest counts as one sample
  (Wald 1945: beyond log(1 / TIME_CHANCE) the wrong one is believed less often than once in TIME_CHANCE);
- dips: beats with a sample about the old cut-in since then. Had the cut-in moved, the pump would have
  started before.

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
    TIME_WHOLE       share of the time below LOW: the water there, less a third for draws that begin high
    TIME_RAISED 0.06 of the time below the charge: the line's own water over a small drawdown
    TIME_CHANCE 1e-3 of each: asked where runs are short already, not to raise anything
    DIPS      2      samples at the very foot, below half of LOW, and COLLAPSE_S 1 s that one takes, for how
                     many were to be expected; EXPECTED 2.3 and none: one chance in ten (Poisson). A
                     collapse starts the pump, WITHIN 2 samples; a wild word of the gauge's does not

Source: none; probabilities of equidistant sampling.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from math import ceil, exp, log
from operator import itemgetter
from typing import TYPE_CHECKING, Literal

import msgspec
import numpy as np

from analytics.judging.reference import USUAL_CUT_IN_PA, USUAL_CUT_OUT_PA
from analytics.seeing.beats import BEAT_US

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
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
THIRD_LESS, TIME_RAISED, TIME_CHANCE = 0.67, 0.06, 1e-3
CYCLES = 2  # starts in a beat in which the pump cycles
DIPS, COLLAPSE_S = 2, 1.0
EXPECTED = 2.3
WITHIN = 2.0
MARGIN = 0.05
FINE_S = 3.0
#: A pressure this far down is no collapse to cut-in but a drop-out, or an emptied line.
NOTHING = 0.5
BEATS = 200

Band = tuple[float, float]  # cut-in and the width of the band [Pa]
Stands = Literal["whole", "overcharged", "raised", "either", "unknown"]


class Footing(msgspec.Struct):
    """Plain data.

    runs    of each: start [us], length [s], interval [s], its lowest sample as a share of the band above
            cut-in
    beats   of each: end [us], its lowest and its highest sample as shares, samples, share of these below LOW,
            time of the lowest [us] where it may be a dip
    starts  of the newest runs [us], for as long as beats are kept
    since   when the newest raised footing began [us], runs since, and dips to be expected of them
    """

    runs: list[list[float]] = []
    beats: list[list[float]] = []
    since: list[float] = []
    starts: list[float] = []


class Said(msgspec.Struct, frozen=True):
    """What the runs say.

    stands   where they stand, and the chance that it is an accident
    foot     share of the band above cut-in, where it is raised
    top      highest that the cycling reached lately, a share of the band
    missed   dips that an overcharged tank was to be expected to show, and of which none was seen
    """

    stands: Stands
    chance: float = 1.0
    foot: float = 0.0
    top: float | None = None
    missed: float = 0.0


def band_of(plant: Plant, usual: Reference) -> tuple[float, float]:
    """Foot and width [Pa]: learned, or, before (a fault may be there from the first run), the plate's."""
    if usual.learned:
        return usual.start_pa, usual.band_pa
    switch = plant.switch
    low = switch.cut_in_pa if switch else USUAL_CUT_IN_PA
    return low, (switch.cut_out_pa if switch else USUAL_CUT_OUT_PA) - low


def note_run(footing: Footing, run: Run, band: Band) -> None:
    """Take up a run that was seen whole, by samples far apart, of which one at least fell into it."""
    if not run.entire or run.interval_s <= FINE_S or run.pressure_low_pa is None:
        return
    low, wide = band
    share = (run.pressure_low_pa - low) / wide
    one = [float(run.cycle.start_us), run.cycle.run_time_s, run.interval_s, share]
    footing.runs = [*footing.runs, one][-KEPT:]
    footing.starts = [*footing.starts, one[0]][-BEATS:]
    dip = min(COLLAPSE_S / run.interval_s, 1.0)
    if share < LOW and len(footing.runs) > 1 and footing.runs[-2][3] < LOW:
        footing.since = []  # two in a row from the foot: the band is whole
    elif footing.since:
        footing.since = [footing.since[0], footing.since[1] + 1.0, footing.since[2] + dip]
    elif share >= LOW:
        footing.since = [one[0], 1.0, dip]


def note_beat(footing: Footing, span: Span | None, to_us: int, band: Band) -> None:
    """Take up the pressures of ten minutes, without drop-outs."""
    if span is None or not span.count or not footing.runs:
        return
    low, wide = band
    count, least_pa, most_pa = span.count, span.low, span.high
    if least_pa < NOTHING * low:
        said = span.value[span.value >= NOTHING * low]
        if not len(said):
            return
        count, least_pa, most_pa = len(said), float(said.min()), float(said.max())
    least, most = (least_pa - low) / wide, (most_pa - low) / wide
    below = 0.0 if least >= LOW else 1.0
    if least < LOW <= most:  # seldom: drop-outs are below too, and taken off
        below = (float(np.count_nonzero((span.value - low) / wide < LOW)) - (span.count - count)) / count
    lowest_us = 0.0
    if least < 0.5 * LOW:  # perhaps a dip
        lowest_us = float(span.time_us[np.flatnonzero(span.value == least_pa)[0]])
    footing.beats.append([float(to_us), least, most, float(count), below, lowest_us])
    from_us = min(footing.runs[0][0], footing.since[0] if footing.since else footing.runs[0][0])
    gone = max(bisect_right(footing.beats, from_us, key=itemgetter(0)), len(footing.beats) - BEATS)
    del footing.beats[:gone]


def seen_below(footing: Footing, pressure_pa: float, band: Band) -> bool:
    """Whether a sample of the runs' time stood well below a pressure that is taken for the cut-in."""
    low, wide = band
    limit = (pressure_pa - low) / wide - 2.0 * MARGIN
    return any(one[1] < limit for one in footing.beats if one[0] > footing.runs[-4:][0][0])


def judged(footing: Footing, band: Band, water: Water, since_us: float = 0.0) -> Said:
    """What the newest runs (since a time, where a fault began then) say of the charge and the cut-in."""
    if since_us > 0.0:
        runs = [one for one in footing.runs if one[0] >= since_us]
        beats = footing.beats[_from(footing.beats, since_us + BEAT_US) :]
        footing = Footing(runs, beats, footing.since, footing.starts)
    cycling = _cycling(footing)
    top = _top(cycling)
    time = _by_time(cycling, band, water)
    raised = _since_raised(footing.runs)
    if len(raised) >= FEW:
        foot = min(one[3] for one in raised if one[3] >= LOW) - MARGIN
        chance = _chance(raised, foot, band, water)
        by_time = time <= log(TIME_CHANCE) and len(raised) >= 2 * FEW
        if by_time or (chance <= log(CHANCE) and time <= 0.0):  # a draw may keep step with the samples
            kind, missed = _which(footing, foot)
            return Said(kind, exp(chance), foot, top, missed)
    lows = sum(one[3] < LOW for one in footing.runs)
    by_runs = len(raised) < FEW and lows > FEW and lows > ceil(sum(_leaping(footing.runs)))
    return Said("whole" if by_runs or time >= -log(TIME_CHANCE) else "unknown", top=top)


def _chance(runs: list[list[float]], foot: float, band: Band, water: Water) -> float:
    """Log of the chance that so many runs from cut-in showed nothing below the foot."""
    share = _water_share(foot, band, water)
    return sum(
        log(max(1.0 - LOWER * share * max(one[1] / one[2] - UNSEEN, 0.0), LEAST_M))
        for one in runs
        if one[3] >= LOW
    )


def _by_time(cycling: list[tuple[list[float], int]], band: Band, water: Water) -> float:
    """Log-likelihood ratio of a whole band over a raised footing, from the time spent below LOW."""
    whole = max(THIRD_LESS * _water_share(LOW, band, water), 2.0 * TIME_RAISED)
    below, above = log(whole / TIME_RAISED), log((1.0 - whole) / (1.0 - TIME_RAISED))
    return sum(
        min(beat[3], 2.0 * starts) * (beat[4] * below + (1.0 - beat[4]) * above) for beat, starts in cycling
    )


def _water_share(foot: float, band: Band, water: Water) -> float:
    """Of the drawdown, what lies below a share of the band."""
    low, wide = band
    return water.between_m3(low, low + foot * wide) / max(water.between_m3(low, low + wide), 1e-12)


def _cycling(footing: Footing) -> list[tuple[list[float], int]]:
    """Beats in which the pump cycled, with the starts in each."""
    starts: dict[float, int] = {}
    for run in footing.runs:
        to_us = (run[0] // BEAT_US + 1.0) * BEAT_US
        starts[to_us] = starts.get(to_us, 0) + 1
    found, beats, at = [], footing.beats, 0
    for to_us, count in starts.items():  # in order, as the runs are
        if count >= CYCLES:
            at = _from(beats, to_us, at)
            if at < len(beats) and beats[at][0] == to_us:
                found.append((beats[at], count))
    return found


def _from(beats: list[list[float]], to_us: float, at: int = 0) -> int:
    """The first beat from place `at` on that ends at a time or later."""
    return bisect_left(beats, to_us, at, key=itemgetter(0))


def _top(cycling: list[tuple[list[float], int]]) -> float | None:
    """The highest pressure of the cycling: the second highest of its beats, for one may be a spike."""
    tops = sorted(beat[2] for beat, _ in cycling)
    return tops[-2] if len(tops) >= 2 else None


def _which(footing: Footing, foot: float) -> tuple[Stands, float]:
    """A charge above cut-in, or a cut-in that has moved up: by the dips between, seen and missed."""
    if not footing.since:
        return "either", 0.0
    since_us, _, expected = footing.since
    beats = footing.beats[_from(footing.beats, since_us + BEAT_US) :]
    dips = sum(one[1] < min(0.5 * LOW, foot) and _starts_the_pump(footing, one[5]) for one in beats)
    if dips >= DIPS:
        return "overcharged", 0.0
    return ("raised" if expected >= EXPECTED else "either", expected) if dips == 0 else ("either", 0.0)


def _starts_the_pump(footing: Footing, dip_us: float) -> bool:
    """Whether a run began at a dip, as at each that is one: not at a wild word of the gauge's."""
    apart_us = WITHIN * 1e6 * footing.runs[-1][2]
    at = bisect_left(footing.starts, dip_us - apart_us)
    return at < len(footing.starts) and footing.starts[at] <= dip_us + apart_us


def _leaping(runs: list[list[float]]) -> list[float]:
    """Of each run the chance that its lowest sample was taken while pressure leapt."""
    return [min(LEAP_S / one[2], 1.0) for one in runs]


def _since_raised(runs: list[list[float]]) -> list[list[float]]:
    """The newest runs, from two in a row that stood above the band's foot, if no more of them did not than
    may have been sampled while their pressure leapt; none otherwise."""
    low, leaping = [one[3] < LOW for one in runs], _leaping(runs)
    for at in range(len(runs) - 1):
        if low[at] or low[at + 1]:
            continue
        if sum(low[at:]) <= ceil(sum(leaping[at:])):
            return runs[at:]
    return []
