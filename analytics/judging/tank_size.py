"""The pressure tank's true size over its plate's, by a flow meter behind it.

Physics. A draw that goes on as before while the pump runs is seen twice: by the meter in the run, and by the
tank before it and after. By the plate's size the tank seems to give more or less than the meter sees by as
much as the plate is wrong. (Air that warms as it is pressed makes it look smaller; all flows by the tank look
larger for it likewise.)

Mistaken for. Draws that end as the pump starts and begin as it stops: the meter sees a part of what the
tank gave.

Parameters:
    RUNS   6     that tell it
    DRAWN  0.2   of the delivery, the least that is drawn in them: a meter's least flow
    LEAST  0.45  less is no tank's size: the trade's row is 20, 32, 44, 62, 86 gal (common practice, no
                 source), and two steps in it are a half. Then nobody knows it

Source: common practice, no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.brief import Brief

RUNS, DRAWN, LEAST = 6, 0.2, 0.45
#: A median's standard error over the mean's; and what a flow scatters by at least: kinks at 1 s sampling.
OF_A_MEDIAN, SIGMA_LEAST = 1.2533, 0.04


def size_by_meter(briefs: Sequence[Brief]) -> tuple[float, float] | None:
    """Size and its relative standard error; None where too few runs tell it.

    To be asked of the lesson alone: what leaks before the meter later on makes the tank look small.
    """
    found = sorted(
        (brief.metered_m3_s - brief.delivery_m3_s + brief.demand_m3_s) / brief.demand_m3_s
        for brief in briefs
        if brief.metered_m3_s is not None
        and brief.delivery_m3_s is not None
        and brief.demand_m3_s >= DRAWN * brief.delivery_m3_s
    )
    if len(found) < RUNS or found[0] <= 0.0:
        return None
    middle = found[len(found) // 2]
    if middle < LEAST:
        return None
    spread = (found[3 * len(found) // 4] - found[len(found) // 4]) / 1.349 / middle
    return middle, OF_A_MEDIAN * max(spread, SIGMA_LEAST) / sqrt(len(found))
