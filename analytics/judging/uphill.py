"""What a sound pump gives less of where its runs now go to a higher pressure: a switch that has moved.

    Q = sqrt((H0 - P) / r):   Q_now / Q_clean = sqrt((H0 - P_now) / (H0 - P_clean))

at either end of the band, and their mean over a run. H0 by the clean ratio of the two ends' deliveries,
since a steep curve loses more; no higher than 1.5 times the cut-out (common practice, no source), and above
where the pump still stops. Runs to a lower pressure excuse nothing: none is made to look worn by that.

Parameters: MOVED 2 % of the band's middle, what a stop's reading scatters by; ABOVE 10 % between the
highest stop and H0, since a pump with less there would have stopped for good.

Source: quadratic pump curve, common practice, no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait

SHUT_OFF = 1.5
MOVED, ABOVE = 0.02, 1.10


def uphill(signature: Signature, clean: dict[str, Trait], runs: int, hourly: bool = False) -> float:
    """Delivery that a sound pump would have at the newest runs' pressures, over its clean one; at most 1."""
    start, stop = clean.get("start_pa"), clean.get("stop_pa")
    start_pa, stop_pa = (signature.middle(name, runs, hourly) for name in ("start_pa", "stop_pa"))
    if not (start and stop) or start_pa is None or stop_pa is None:
        return 1.0
    if start_pa + stop_pa <= (1.0 + MOVED) * (start.middle + stop.middle):
        return 1.0
    head = max(shut_off(clean, start.middle, stop.middle), ABOVE * max(stop_pa, stop.middle))
    ends = ((start.middle, start_pa), (stop.middle, stop_pa))
    shares = [sqrt(max(head - now, 0.0) / (head - then)) for then, now in ends]
    return min(0.5 * sum(shares), 1.0)


def shut_off(clean: dict[str, Trait], low_pa: float, high_pa: float) -> float:
    """H0 by the clean ratio of delivery at both ends of the band, SHUT_OFF of its top at most."""
    most = SHUT_OFF * high_pa
    start, stop = clean.get("delivery_start_m3_s"), clean.get("delivery_stop_m3_s")
    if not (start and stop) or start.middle <= 0.0:
        return most
    steep = stop.middle / start.middle
    if not 0.0 < steep < 1.0:
        return most
    return min(most, (high_pa - steep**2 * low_pa) / (1.0 - steep**2))
