"""A figure of today beside the one that was kept when the plant was well: less, more, or the same.

Two figures, each with the band in which it lies 19 times in 20, differ where their bands do not meet.
Of an unchanged plant that is seen in one comparison of 180 where both bands are as wide (normal errors:
2 x 1.96 / sqrt(2) = 2.77 standard errors of the difference), in one of 20 where one is all but exact.

An air charge moves with the air's warmth, by (Pc + pa)/T for each kelvin at the tank's own volume
(Gay-Lussac). A tank indoors passes some ten kelvin between seasons (common practice, no source), which
is allowed for between two tests; in one out of doors more than that is no loss of air, and is said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from analytics.physics import hydraulics

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.trials.shapes import Estimate

Since = Literal["less", "same", "more"]
SEASONS_K = 10.0


def since(plant: Plant, figure: str, kept: Estimate, now: Estimate) -> Since | None:
    """How `now` lies to `kept`, SI; None where either has no band."""
    if not (kept.known and now.known):
        return None
    allowed = _warmth_pa(plant, kept.value) if figure == "air_charge_pa" else 0.0
    if now.high < kept.low - allowed:
        return "less"
    return "more" if now.low > kept.high + allowed else "same"


def _warmth_pa(plant: Plant, charge_pa: float) -> float:
    """What ten kelvin do to the air charge."""
    atmosphere = float(hydraulics.atmosphere_pa_abs(plant.altitude_m))
    return SEASONS_K * float(hydraulics.thermal_rise_pa_k(charge_pa, atmosphere))
