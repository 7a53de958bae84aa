"""Two statements about a water, never one grade: what its salt does to plants, what its lack of salt
does to the soil.

Source: FAO Irrigation and Drainage Paper 29, table 1. Salinity limits 0.7 and 3.0 dS/m seen; the
infiltration limits by sodium adsorption ratio from memory.
"""

from __future__ import annotations

from typing import Literal

Restriction = Literal["none", "slight to moderate", "severe"]

SALINITY_S_M = (0.07, 0.3)
#: (ratio below which the row holds, no restriction above, severe below), S/m
_INFILTRATION = (
    (3.0, 0.07, 0.02),
    (6.0, 0.12, 0.03),
    (12.0, 0.19, 0.05),
    (20.0, 0.29, 0.13),
    (float("inf"), 0.5, 0.29),
)


def for_plants(water_s_m: float) -> Restriction:
    """How far salt limits what the water can be given to."""
    if water_s_m < SALINITY_S_M[0]:
        return "none"
    return "slight to moderate" if water_s_m <= SALINITY_S_M[1] else "severe"


def for_soil(water_s_m: float, sodium_adsorption_ratio: float = 0.0) -> Restriction:
    """How far the water closes a soil's surface: the purer it is, and the more of its salt is sodium,
    the worse. Rain is of the worst here while it is of the best above."""
    _, free, severe = next(row for row in _INFILTRATION if sodium_adsorption_ratio < row[0])
    if water_s_m > free:
        return "none"
    return "slight to moderate" if water_s_m >= severe else "severe"
