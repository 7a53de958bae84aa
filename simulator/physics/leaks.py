"""Outflow through holes and outlets under pressure."""

from __future__ import annotations

from math import sqrt

_SMOOTH_M = 0.02  # head over which the square root is rounded off at zero


def root_head(head_m: float) -> tuple[float, float]:
    """(sqrt(h), its slope) with a finite slope at nothing; zero below. Off by 0.05 % at 20 m."""
    if head_m <= 0.0:
        return 0.0, 1.0 / sqrt(_SMOOTH_M)
    root = sqrt(head_m + _SMOOTH_M)
    return head_m / root, (0.5 * head_m + _SMOOTH_M) / (root * root * root)


def leak_m3_s(at_reference_m3_s: float, pressure_pa: float, reference_pa: float, exponent: float) -> float:
    """Leak flow [m3/s]: q = q_ref (p / p_ref)^N1.

    N1 = 0.5 for a fixed hole, 1.5 for a split that opens. Source: FAVAD, May 1994; Thornton, Sturm
    and Kunkel, Water Loss Control, eq. 10.4.
    """
    if pressure_pa <= 0.0 or at_reference_m3_s == 0.0:
        return 0.0
    return float(at_reference_m3_s * (pressure_pa / reference_pa) ** exponent)
