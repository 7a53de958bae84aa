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
AT_CUT_IN = "delivery_start_m3_s"


class Share(msgspec.Struct, frozen=True):
    """Delivery over the rating, as learned and by the newest runs, and the first one's relative error."""

    learned: float
    now: float
    error: float


def share_of_rated(known: Known) -> Share | None:
    """Delivery over what the plant file lets the slope of tank water show when new.

    A rating is a delivery at cut-in: where runs tell that too, what lies nearer to it is believed, since
    a pump whose cut-out lies near its shut-off head gives far less over the band than the usual curve has it.
    """
    best = best_delivery(known.signature.clean)
    share = _share(known, best) if best is not None else None
    at_cut_in = _share(known, AT_CUT_IN) if share is not None else None
    if share is None or at_cut_in is None or at_cut_in.learned <= share.learned:
        return share
    return Share(at_cut_in.learned, at_cut_in.now, share.error)


def _share(known: Known, name: str) -> Share | None:
    rated, switch, clean = known.plant.pump.rated_flow_m3_s, known.plant.switch, known.signature.clean
    now = known.signature.upper(name, LATELY)
    if rated is None or switch is None or name not in clean or now is None or not known.water.true:
        return None
    seen_pa = 0.5 * (switch.cut_in_pa + switch.cut_out_pa)
    if "start_pa" in clean and "stop_pa" in clean:
        seen_pa = 0.5 * (clean["start_pa"].middle + clean["stop_pa"].middle)
        if name == AT_CUT_IN:
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
