"""What the newest runs are like together, where one alone says little.

Parameters: KEPT 5 runs, the five that short cycling is to be told within. MEAN_ERRORS 0.8: two standard
errors of a run told by samples, whose edges lie anywhere between two (spacing / 6^0.5 each).

Source: none; probabilities of equidistant sampling.
"""

from __future__ import annotations

from statistics import fmean, median
from typing import TYPE_CHECKING

from analytics.judging.cycling_run import LEAP_SHARE, Seen, shortest_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.plant.description import Plant

KEPT = 5
MEAN_ERRORS = 0.8
FINE_ENOUGH_S = 1.5


def odd(runs: Sequence[Seen]) -> bool:
    """Runs that leap at the start, or a band grown narrow: too short soon if not yet."""
    if len(runs) < KEPT:
        return False
    leaps = sum(seen.leap is not None and seen.leap > LEAP_SHARE for seen in runs)
    bands = [seen.band for seen in runs if seen.band is not None]
    return leaps == KEPT or (len(bands) == KEPT and max(bands) < 0.5)


def short_on_the_mean(runs: Sequence[Seen], plant: Plant) -> bool:
    """Whether they are too short together: a run that one sample saw may have been twice as long, or hardly
    there, but the mean of some is right to a part of a sample's spacing."""
    shortest = shortest_s(plant)
    spacing_s = median([seen.interval_s for seen in runs])
    mean_s = fmean([min(seen.run_s, shortest + seen.interval_s) for seen in runs])
    return spacing_s <= FINE_ENOUGH_S or mean_s < shortest - MEAN_ERRORS * spacing_s / len(runs) ** 0.5


def near(runs: Sequence[Seen], plant: Plant) -> bool:
    """Runs that are short, if not surely so: seen too coarsely to tell one by one."""
    return median([seen.run_s for seen in runs]) < shortest_s(plant)
