"""The suction side: what head reaches the pump, when it cavitates, how it gains and loses prime."""

from __future__ import annotations

from math import exp, sqrt

from simulator.physics.water import PA_PER_M

VORTEX_M = 0.02


def cavitation_flow(
    atmosphere_pa: float, vapour_pa: float, static_m: float, needed_m: float, resistance_s2_m5: float
) -> float:
    """Flow [m3/s] at which the head left at the inlet equals what the pump needs (NPSH).

    (pa - pv)/(rho g) + z - k Q^2 = NPSHR. No more than this passes: vapour fills the inlet.
    Source: definition of net positive suction head, ANSI/HI 9.6.1 (from memory).
    """
    left_m = (atmosphere_pa - vapour_pa) / PA_PER_M + static_m - needed_m
    return sqrt(max(left_m, 0.0) / resistance_s2_m5)


def head_factor(prime: float) -> float:
    """Share of the pump's head that is left when only the share `prime` of its casing is water.

    A few per cent of air halve a centrifugal pump's head and ten or so end its delivery; a square
    of the water's share is our own stand-in for that measured fall (no source).
    """
    return prime * prime


def prime_after(prime: float, goal: float, seconds: float, losing_s: float, gaining_s: float) -> float:
    """Prime after some seconds on its way to `goal`: an exponential with one constant each way."""
    constant = losing_s if goal < prime else gaining_s
    return goal + (prime - goal) * exp(-seconds / constant)


def drawn_air(level_m: float, outlet_m: float) -> float:
    """Share of air [0..1] in what the outlet takes: a vortex reaches it in the last 2 cm.

    Common practice, no source.
    """
    return min(max((outlet_m + VORTEX_M - level_m) / VORTEX_M, 0.0), 1.0)
