"""What a crop loses to salt, and which water it stands.

Yield [%] = 100 - b (ECe - a), Maas & Hoffman (1977). ECe is that of the saturated soil's extract,
which a laboratory measures; the water that brings it about in the long run depends on how much
drains through, 1.5 times less at a leaching fraction of 15 to 20 % (FAO 29).
"""

from __future__ import annotations

#: ECe over ECw at the usual leaching of 15 to 20 %. Source: FAO Irrigation and Drainage Paper 29.
USUAL_CONCENTRATION = 1.5


def yield_share(soil_s_m: float, threshold_s_m: float, slope: float) -> float:
    """Share of the full yield at a soil salinity ECe; slope is the loss for each S/m.

    >>> round(yield_share(0.7, 0.4, 2.0), 3)
    0.4
    """
    return min(max(1.0 - slope * (soil_s_m - threshold_s_m), 0.0), 1.0)


def soil_for_yield_s_m(share: float, threshold_s_m: float, slope: float) -> float:
    """The soil salinity ECe at which a share of the yield is left."""
    return threshold_s_m + (1.0 - share) / slope


def water_for_soil_s_m(soil_s_m: float, concentration: float = USUAL_CONCENTRATION) -> float:
    """The water ECw that in the long run makes a soil of ECe."""
    return soil_s_m / concentration
