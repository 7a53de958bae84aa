"""Flushing a salty bed with good water: how deep, by what the soil is.

(C - Cw) / (C0 - Cw) = k / (Dw / Ds): what salt is left after a depth Dw of water has gone through a
depth Ds of soil. Source: Hoffman (1980, 1986), coefficients from memory: under standing water 0.45
in peat, 0.3 in clay loam and finer, 0.1 in sandy loam; given in turns with pauses, as from drip or a
hose, 0.1 in all but peat, and less water is needed. The law holds while Dw / Ds is above k.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.plant.garden import Soil

#: k under standing water.
STANDING: dict[Soil, float] = {
    "sand": 0.1,
    "sandy loam": 0.1,
    "loam": 0.2,  # between its neighbours; none printed
    "clay loam": 0.3,
    "clay": 0.3,
    "peat": 0.45,
}
IN_TURNS: dict[Soil, float] = {**dict.fromkeys(STANDING, 0.1), "peat": 0.45}


def depth_m(
    soil_s_m: float, target_s_m: float, water_s_m: float, root_depth_m: float, k: float
) -> float | None:
    """Depth of water that must go through. 0 where the soil is as good already; None where this
    water can never bring it there. Salinities are of the saturated extract; the water's counts as
    half, as in a soil at twice its strength.

    >>> depth_m(0.6, 0.3, 0.0, 0.6, 0.1)
    0.12
    """
    rest = water_s_m / 2.0
    if soil_s_m <= target_s_m:
        return 0.0
    if target_s_m <= rest:
        return None
    return k * root_depth_m * max((soil_s_m - rest) / (target_s_m - rest), 1.0)


def left_s_m(soil_s_m: float, water_s_m: float, given_m: float, root_depth_m: float, k: float) -> float:
    """The soil's salinity after a depth has gone through: the law above, turned round."""
    rest = water_s_m / 2.0
    through = given_m / (k * root_depth_m)
    return soil_s_m if through <= 1.0 else rest + (soil_s_m - rest) / through
