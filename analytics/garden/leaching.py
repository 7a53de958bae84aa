"""How much more than the crop drinks must go through the soil, so that salt does not stay.

Published methods disagree, and each is given with its name: the formula of Rhoades (1974) as in
FAO 29, LR = ECw / (5 ECe - ECw); the exponential uptake behind ASCE Manual 71's chart; and the
profile in which roots take 40, 30, 20 and 10 % from the quarters of their depth (FAO 29's table 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

_UPTAKE = (0.4, 0.3, 0.2, 0.1)
_UPTAKE_DEPTH = 0.2
_LEAST, _MOST = 0.005, 0.9


@dataclass(frozen=True, slots=True)
class Method:
    """A leaching requirement as a share of the water given, by a named method; None: none is enough."""

    name: str
    share: float | None


def by_formula(water_s_m: float, soil_s_m: float) -> float | None:
    """Rhoades (1974) in FAO 29: share of the water given that must drain. None where the soil cannot
    be kept at `soil_s_m` with this water at all.

    >>> round(by_formula(1.5, 6.0), 4)
    0.0526
    """
    below = 5.0 * soil_s_m - water_s_m
    share = water_s_m / below if below > 0 else 1.0
    return share if share < 1.0 else None


def concentration(leaching: float, uptake: tuple[float, ...] = _UPTAKE) -> float:
    """ECe over ECw when a share `leaching` of the water given drains (FAO 29, table 3).

    Soil water at the bottom of each layer holds the water's salt in what is left of it; the root
    zone's mean is that of the five depths; the saturated extract is half as strong.

    >>> round(concentration(0.15), 1)
    1.6
    """
    left, taken = 1.0, 0.0
    strengths = [1.0]
    for part in uptake:
        taken += part
        left = 1.0 - taken * (1.0 - leaching)
        strengths.append(1.0 / left)
    return sum(strengths) / len(strengths) / 2.0


def by_profile(water_s_m: float, soil_s_m: float) -> float | None:
    """The leaching at which the 40-30-20-10 profile makes `soil_s_m`."""
    return _least_leaching(concentration, soil_s_m / water_s_m)


def by_exponential(water_s_m: float, soil_s_m: float) -> float | None:
    """The same with uptake that dies away with depth, the model behind ASCE Manual 71's chart.

    Hoffman & van Genuchten (1983), from memory: C/Ci = 1/L + d/L ln(L + (1 - L) exp(-1/d)), d = 0.2
    of the root depth, less its value at L = 0.5, where crops' thresholds were measured; the saturated
    extract is half as strong. It gives back the chart's 0.20 for ECw 3.0 and ECe 2.5 dS/m.
    """

    def strength(leaching: float) -> float:
        inside = leaching + (1.0 - leaching) * exp(-1.0 / _UPTAKE_DEPTH)
        return (1.0 + _UPTAKE_DEPTH * log(inside)) / leaching

    return _least_leaching(lambda leaching: (strength(leaching) - strength(0.5)) / 2.0, soil_s_m / water_s_m)


def _least_leaching(model: Callable[[float], float], wanted: float) -> float | None:
    """Where a model of ECe over ECw, falling with leaching, comes down to what is wanted; by bisection."""
    if model(_MOST) > wanted:
        return None
    low, high = _LEAST, _MOST
    if model(low) <= wanted:
        return low
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if model(middle) > wanted else (low, middle)
    return high


def methods(water_s_m: float, soil_s_m: float) -> tuple[Method, ...]:
    """All three, each with its name."""
    return (
        Method("Rhoades's formula, FAO 29", by_formula(water_s_m, soil_s_m)),
        Method("exponential uptake, as in ASCE Manual 71's chart", by_exponential(water_s_m, soil_s_m)),
        Method("root-zone profile 40-30-20-10, FAO 29 table 3", by_profile(water_s_m, soil_s_m)),
    )


def applied_m(need_m: float, leaching: float, efficiency: float = 1.0) -> float:
    """Depth to give for a need: need / (1 - LR), over the share that the roots get.

    >>> round(applied_m(0.76, 0.0526), 4)
    0.8022
    """
    return need_m / (1.0 - leaching) / efficiency
