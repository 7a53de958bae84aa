"""Delivery over what the plant file says that the pump gives when new.

In water that is counted by the tank's size, at the pressures at which the runs were seen.

Parameters: see the constants.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.signature import LATELY, OF_A_MEDIAN, best_delivery
from analytics.judging.uphill import SHUT_OFF

if TYPE_CHECKING:
    from analytics.judging.watch import Known

#: Quickly filled, air warms and flows look a tenth larger (exponent 1.1 to 1.2).
WARMED = 1.10


class Share(msgspec.Struct, frozen=True):
    """Delivery over the rating, as learned and by the newest runs, and the first one's relative error."""

    learned: float
    now: float
    error: float


def share_of_rated(known: Known) -> Share | None:
    """Delivery over what the plant file lets the slope of tank water show when new."""
    rated, switch, clean = known.plant.pump.rated_flow_m3_s, known.plant.switch, known.signature.clean
    name = best_delivery(clean)
    now = known.signature.upper(name, LATELY) if name is not None else None
    if rated is None or switch is None or name is None or now is None or not known.water.true:
        return None
    seen_pa = 0.5 * (switch.cut_in_pa + switch.cut_out_pa)
    if "start_pa" in clean and "stop_pa" in clean:
        seen_pa = 0.5 * (clean["start_pa"].middle + clean["stop_pa"].middle)
        if name == "delivery_start_m3_s":
            seen_pa = clean["start_pa"].middle
    head = SHUT_OFF * switch.cut_out_pa
    new = WARMED * rated * sqrt(max(head - seen_pa, 0.0) / (head - switch.cut_in_pa))
    if new <= 0.0:
        return None
    error = OF_A_MEDIAN * clean[name].sigma / clean[name].middle / sqrt(max(known.signature.learned_runs, 1))
    size = known.signature.tank_size
    if size is None:
        return Share(clean[name].middle / new, now / new, error)
    true, doubt = size
    new /= true
    return Share(clean[name].middle / new, now / new, hypot(error, doubt))
