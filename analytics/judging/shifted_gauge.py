"""What a gauge that reads higher than it did tells less of a flow.

Where runs begin and end higher than clean ones did, and both by as much, the switch has moved or the gauge
has: which of the two, pressure alone does not tell. By a gauge that is off the tank seems to be pressed
further, where it gives less water for the same fall (Boyle's law):

    told / true = (P_clean + atmosphere)^2 / (P_now + atmosphere)^2      in the middle of the band

A pump that gives as much as ever then reads low, for as long as the gauge is off, and no loss is to be laid
to it. A gauge that reads lower shows flows too large, and excuses nothing.

Parameters:
    MOVED  0.07   of the band, either end: a switch scatters by half of it, and a median of eight by a sixth
    ALIKE  0.10   of the band, between the two moves: twice what either end errs by; one spring of a switch
                  moves one end alone

Source: Boyle's law; common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait
    from analytics.seeing.water import Water

MOVED, ALIKE = 0.07, 0.10


def shifted_1(signature: Signature, water: Water, clean: dict[str, Trait], runs: int, hourly: bool) -> float:
    """What would be told of a flow over what there is, if it is the gauge; 1 where both ends are as ever."""
    start, stop = (clean.get(name) for name in ("start_pa", "stop_pa"))
    start_pa, stop_pa = (signature.middle(name, runs, hourly) for name in ("start_pa", "stop_pa"))
    if not (start and stop) or start_pa is None or stop_pa is None:
        return 1.0
    up_pa, top_up_pa, band_pa = start_pa - start.middle, stop_pa - stop.middle, stop.middle - start.middle
    if min(up_pa, top_up_pa) < MOVED * band_pa or abs(top_up_pa - up_pa) > ALIKE * band_pa:
        return 1.0
    then_pa = 0.5 * (start.middle + stop.middle)
    now_pa = 0.5 * (start_pa + stop_pa)
    return water.compliance_m3_pa(now_pa) / water.compliance_m3_pa(then_pa)
