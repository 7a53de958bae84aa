"""A tank that has run out of water before the switch closes: its air charge stands above cut-in.

More air is pressed then than the plate's, and pressure tells less of the water (Boyle's law): flows by the
charge it had read too low, as of a filter that clogs. Runs begin where the charge is; samples so near each
other that they meet the fall to cut-in show a leap instead, in a line whose tank is empty.

Parameters:
    EARLY  0.15   of the band, that the start has come up: a switch's own scatter is a third of that; MOVED
                  0.07: a half, and that of a median of eight a sixth
    LEAPS  0.10   of the band, that pressure leaps as the pump starts: twice as far as two samples of a start
                  lie apart by chance

Source: Boyle's law; common practice, no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from analytics.judging.signature import LATELY

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait
    from analytics.seeing.water import Water

EARLY, MOVED, LEAPS = 0.15, 0.07, 0.10


def out_before_cut_in(signature: Signature, clean: dict[str, Trait]) -> bool:
    """Whether runs now begin above where clean ones began, and end where those ended, or with a leap.

    The tank has run out of water before the switch closes, as with too much air charge, and flows by the
    charge it had are wrong."""
    if _leaps(signature, clean):
        return True
    for hourly in (False, True):
        start, stop = (clean.get(name) for name in ("start_pa", "stop_pa"))
        start_pa, stop_pa = (signature.middle(name, LATELY, hourly) for name in ("start_pa", "stop_pa"))
        if not (start and stop) or start_pa is None or stop_pa is None:
            continue
        moved = EARLY * (stop.middle - start.middle)
        if start_pa - start.middle > max(moved, 3.0 * start.sigma) and (
            start_pa - start.middle > 2.0 * (stop_pa - stop.middle)
        ):
            return True
    return False


def _leaps(signature: Signature, traits: dict[str, Trait]) -> bool:
    clean, now = traits.get("leap_pa"), signature.now("leap_pa", LATELY)
    start, stop = (traits.get(name) for name in ("start_pa", "stop_pa"))
    if not (clean and now and start and stop):
        return False
    # a tank that is charged higher holds less water from cut-out down, by all of the leap
    sure_pa = max(LEAPS * (stop.middle - start.middle), 3.0 * clean.sigma)
    return now.middle - clean.middle > sure_pa


def charged_1(signature: Signature, water: Water, clean: dict[str, Trait], runs: int, hourly: bool) -> float:
    """What is told of a flow whose tank may be charged to where the runs begin now, over what there is:
    more air is pressed then, by Boyle's law, and pressure tells less of the water. 1 where they begin as
    ever.
    """
    start, stop = (clean.get(name) for name in ("start_pa", "stop_pa"))
    start_pa, stop_pa = (signature.middle(name, runs, hourly) for name in ("start_pa", "stop_pa"))
    if not (start and stop) or start_pa is None or stop_pa is None:
        return 1.0
    rose_pa = start_pa - start.middle
    by_chance_pa = max(MOVED * (stop.middle - start.middle), 3.0 * start.sigma / sqrt(runs))
    if rose_pa < max(by_chance_pa, 2.0 * (stop_pa - stop.middle)):
        return 1.0
    held_pa_abs = min(water.precharge_pa, start.middle) + water.atmosphere_pa_abs
    return held_pa_abs / (start_pa + water.atmosphere_pa_abs)
