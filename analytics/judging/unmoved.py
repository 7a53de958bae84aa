"""A drop across the filter that has stayed where it was: delivery only seems to have fallen.

Physics. What passes through the filter is what the pump delivers, whoever draws it. Of delivery that has
fallen to a share s of its clean value,

    clogged filter    drop = H - s^2 (H - clean drop), H the head spent in filter and all else: far more
    worn pump         drop = s^2 clean drop: less
    neither           drop = clean drop: somebody draws beside the tank's filling

H by the pump's clean curve, of which no more than SPARED is relied on. Each likelihood is a normal of what
the newest runs' median and the clean one scatter by.

Parameters:
    TELLS     2      log-likelihood by which neither beats both, seven to one: a loss that is spared by chance
                     is asked for again with the next run, while what draws hide comes by every busy morning
    FEWEST    3      runs that know a drop: no demand hides in it
    SPARED    0.5    of H: by the clean curve it is good to a third (`outlooks.filter_drop`), and half is 2 of
                     these errors
    ROUGH     5 %    of the clean drop, by which it may wander with the water (common practice, no source)
    ZERO_PA          of the clean drop, what may be the two gauges' zeros, which no wear takes away: twice
                     half a percent of a usual gauge's range (common practice, no source)

Source: quadratic screen, common practice, no source.
"""

from __future__ import annotations

from math import hypot
from statistics import median
from typing import TYPE_CHECKING

from analytics.judging.signature import LATELY, OF_A_MEDIAN
from analytics.judging.uphill import shut_off

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.brief import Brief
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait

TELLS, FEWEST, SPARED, ROUGH = 2.0, 3, 0.5, 0.05
#: Two gauges' least scatter, as in `judging.blame`.
LEAST_PA = 300.0
ZERO_PA = 7_000.0


def unmoved(signature: Signature, left: float, briefs: Sequence[Brief]) -> bool:
    """Whether the drop speaks against a loss by the filter and by the pump alike, where these runs seem to
    deliver `left` of the clean."""
    bases = [
        (drop, runs)
        for traits, runs in ((signature.clean, signature.learned_runs), (signature.first, LATELY))
        if (drop := traits.get("filter_drop_pa")) is not None
    ]
    start, stop = (signature.clean.get(name) for name in ("start_pa", "stop_pa"))
    if not bases or not (start and stop) or not 0.0 < left < 1.0:
        return False
    base, runs = min(bases, key=lambda one: one[0].middle)  # a filter may clog within the lesson
    middle_pa = 0.5 * (start.middle + stop.middle)
    spare_pa = SPARED * (shut_off(signature.clean, start.middle, stop.middle) - middle_pa)
    fallen = 1.0 - left**2
    clogged_pa, worn_pa = fallen * spare_pa, -fallen * max(base.middle - ZERO_PA, 0.0)
    return _beats(clogged_pa, briefs, base, runs) and _beats(worn_pa, signature.recent, base, runs)


def _beats(moved_pa: float, briefs: Sequence[Brief], base: Trait, runs: int) -> bool:
    """Whether the drop of these runs stands where it was, rather than so far off."""
    drops = [brief.filter_drop_pa for brief in briefs if brief.filter_drop_pa is not None]
    if len(drops) < FEWEST:
        return False
    sigma = OF_A_MEDIAN * max(base.sigma, LEAST_PA)  # the lesson's: few runs tell little of their own scatter
    error = hypot(sigma / max(runs, 1) ** 0.5, sigma / len(drops) ** 0.5, ROUGH * base.middle)
    off = median(drops) - base.middle
    return ((off - moved_pa) ** 2 - off**2) / (2.0 * error**2) >= TELLS
