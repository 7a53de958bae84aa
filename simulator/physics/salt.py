"""Conductivities: two waters mixed by a valve, and the lag of tank and line."""

from __future__ import annotations

from math import exp


def blend(rain_s_m: float, well_s_m: float, well_share: float) -> float:
    """Conductivity [S/m] of a mix: by shares of volume.

    Source: FAO Irrigation and Drainage Paper 29, blending example (0.23 at 75 % and 3.6 at 25 %
    make 1.07 dS/m; from memory).
    """
    return rain_s_m + (well_s_m - rain_s_m) * well_share


def mixed_after(held_s_m: float, coming_s_m: float, moved_m3: float, held_m3: float) -> float:
    """Conductivity at the far end after `moved_m3` went through a well-mixed volume `held_m3`."""
    return coming_s_m + (held_s_m - coming_s_m) * exp(-moved_m3 / held_m3)
