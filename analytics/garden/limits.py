"""How much salt this garden's water may hold, and who says so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.garden.crop_salt import soil_for_yield_s_m, water_for_soil_s_m
from analytics.garden.water_grades import SALINITY_S_M
from analytics.plant.crops import CROPS

if TYPE_CHECKING:
    from analytics.plant.description import Plant


@dataclass(frozen=True, slots=True)
class Limit:
    """`water_s_m` up to which the water may be given for good; `soil_s_m` the ECe that goes with it.
    `why` ends a sentence that begins "the limit is"."""

    water_s_m: float
    soil_s_m: float | None
    why: str


def water_limit(plant: Plant) -> Limit:
    """The owner's own limit, else the crop's, else FAO 29's for any crop."""
    garden = plant.garden
    crop = CROPS[garden.crop] if garden is not None and garden.crop is not None else None
    soil = None if crop is None else soil_for_yield_s_m(1.0, crop.threshold_s_m, crop.slope)
    if garden is not None and garden.salt_limit_s_m is not None:
        return Limit(garden.salt_limit_s_m, soil, "the owner's own")
    if garden is not None and soil is not None:
        return Limit(water_for_soil_s_m(soil), soil, f"what {garden.crop} stands without loss")
    return Limit(SALINITY_S_M[0], None, "what any crop stands, by FAO 29")
