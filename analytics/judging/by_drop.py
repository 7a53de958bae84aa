"""Delivery by what the filter holds back, where the runs themselves do not tell it.

Parameters: see the constants.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from analytics.judging.blame import CLOG_SURE, filter_share, resistance, risen_drop_pa
from analytics.judging.signature import LATELY, SIGMA_LEAST
from analytics.judging.uphill import shut_off
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from analytics.judging.watch import Known

#: A screen's drop doubles long before delivery moves (trial figures).
CLOG_SEEN = 0.97


def by_drop_alone(known: Known) -> Decline | None:
    """What an outlet gauge says where runs are too short to tell the delivery, or the tank that measures it
    is another: what it lost, or a switch that fills less of it, holds no water back in a filter."""
    fitted = known.plant.filter
    if fitted is None or fitted.position != "before_tank":
        return None
    left = left_by_drop(known)
    drop = resistance(known, left)
    if drop is None or not (drop > CLOG_SURE or known.is_open("clogged_filter")):
        return None
    sure = drop > CLOG_SURE and left < CLOG_SEEN
    return Decline(left, SIGMA_LEAST, sure, filter_share(known, left, drop), drop, by_drop=True)


def left_by_drop(known: Known) -> float:
    """Delivery over its clean value by what the filter holds back more than when clean; 1 where none tells.

    It is taken from the head that the pump has to spare, by its clean curve.
    """
    clean, now_pa = known.signature.clean, known.signature.middle("filter_drop_pa", LATELY)
    risen_pa = risen_drop_pa(known.signature)
    if risen_pa is not None:
        now_pa = max(risen_pa, now_pa or 0.0)
    drop, start, stop = (clean.get(name) for name in ("filter_drop_pa", "start_pa", "stop_pa"))
    if not (drop and start and stop) or now_pa is None:
        return 1.0
    spare = shut_off(clean, start.middle, stop.middle) - 0.5 * (start.middle + stop.middle)
    held = (now_pa - drop.middle) / (spare + max(drop.middle, 0.0))
    return sqrt(min(max(1.0 - held, 0.01), 1.0))
