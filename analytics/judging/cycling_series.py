"""What the newest runs are like together, where one alone says little.

A steady draw that cycles the pump each 180 s keeps step with a word each 30 s: all runs are then met by the
same part of their length, and are one chance, not many.

Parameters: KEPT 5 runs, the five that short cycling is to be told within; ODD 4 in a row that leap, or whose
band is narrow, for the fifth is known a minute after its stop only: a hand stops one, and no two alike.
MEAN_ERRORS 0.8: two standard errors of a run told by samples, whose edges lie anywhere between two
(spacing / 6^0.5 each).
END 0.2 of the band: twice what a switch moves that has only drifted. A sample misses the last END of a run
with a chance of 1 - END * run / spacing, LEAST_MISS 0.05 at least (a word may be lost); CHANCE 1e-3 of the
product over the runs, asked of runs that are short already. One in ten may lie (a wild word). A collapse
from a charge above cut-in, and the leap after it, take COLLAPSE_S 3 s together: so often a run begins low
all the same, and BENT 0.1 of them by a line through few samples.

Source: none; probabilities of equidistant sampling.
"""

from __future__ import annotations

from itertools import pairwise
from math import comb, log
from statistics import fmean, median
from typing import TYPE_CHECKING

from analytics.judging.cycling_run import LEAP_SHARE, Seen, shortest_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.plant.description import Plant

KEPT, ODD = 5, 4
MEAN_ERRORS = 0.8
FINE_ENOUGH_S = 1.5
END, LEAST_MISS, CHANCE, WILD = 0.2, 0.05, 1e-3, 0.1
COLLAPSE_S, BENT = 3.0, 0.1


def odd(runs: Sequence[Seen]) -> bool:
    """Runs that leap at the start, or a band grown narrow: too short soon if not yet."""
    newest = runs[-ODD:]
    leaps = sum(seen.leap is not None and seen.leap > LEAP_SHARE for seen in newest)
    bands = [seen.band for seen in newest if seen.band is not None]
    return leaps == ODD or (len(bands) == ODD and max(bands) < 0.5)


def short_on_the_mean(runs: Sequence[Seen], plant: Plant) -> bool:
    """Whether they are too short together: a run that one sample saw may have been twice as long, or hardly
    there, but the mean of some is right to a part of a sample's spacing."""
    shortest = shortest_s(plant)
    spacing_s = median([seen.edges_s for seen in runs])
    mean_s = fmean([min(seen.run_s, shortest + seen.edges_s) for seen in runs])
    chances = _chances(runs, spacing_s)
    return spacing_s <= FINE_ENOUGH_S or mean_s < shortest - MEAN_ERRORS * spacing_s / chances**0.5


def _chances(runs: Sequence[Seen], spacing_s: float) -> int:
    """How many of the runs are chances of their own: periods of as many spacings are one."""
    starts_s = [seen.start_us / 1e6 for seen in runs]
    periods = [round((after - before) / spacing_s) for before, after in pairwise(starts_s)]
    again = len(periods) - len(set(periods))
    return len(runs) - again - (again > 0)


def ends_lower(runs: Sequence[Seen]) -> bool:
    """Whether no run comes up to the usual stop, though samples would have met some that did."""
    tops = [seen for seen in runs if seen.top is not None]
    if not tops or sum((seen.top or 0.0) <= END for seen in tops) > WILD * len(tops):
        return False
    missed = [max(1.0 - END * seen.run_s / max(seen.interval_s, 1e-3), LEAST_MISS) for seen in tops]
    return sum(log(chance) for chance in missed) <= log(CHANCE)


def spans_the_band(runs: Sequence[Seen], collapses: bool = True) -> bool:
    """Whether runs begin at the usual cut-in, more often than a charge above it would let samples see (or a
    line through few samples, where nothing `collapses`), and some were seen to come up to the usual stop."""
    ups = [seen.up for seen in runs if seen.up is not None]
    if not ups or sum(seen.top is not None and seen.top < END for seen in runs) < 2:
        return False
    count, low = len(ups), sum(up < LEAP_SHARE for up in ups)
    met = COLLAPSE_S / median([seen.interval_s for seen in runs]) if collapses else 0.0
    chance = min(BENT + met, 0.9)
    by_chance = sum(comb(count, k) * chance**k * (1.0 - chance) ** (count - k) for k in range(low, count + 1))
    return by_chance <= CHANCE


def near(runs: Sequence[Seen], plant: Plant) -> bool:
    """Runs that are short, if not surely so: seen too coarsely to tell one by one."""
    return median([seen.run_s for seen in runs]) < shortest_s(plant)
