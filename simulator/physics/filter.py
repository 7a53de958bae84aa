"""A spin-down filter: its loss grows with the sediment that the flow has carried into it."""

from __future__ import annotations


def loss_ratio(caught_share: float) -> float:
    """Filter loss over the clean screen's, at the share [0..1) of its open area that is covered.

    A screen is an orifice: at one flow the velocity through what is left open goes as 1/(1 - x)
    and the loss as its square. Source: orifice equation; the share is capped at 0.985, since a
    real screen bursts or leaks past before it closes (common practice, no source).
    """
    open_share = 1.0 - min(max(caught_share, 0.0), 0.985)
    return 1.0 / open_share**2


def covered(caught_share: float, sediment_kg: float, capacity_kg: float) -> float:
    """Share covered after `sediment_kg` more has come: what meets open screen stays on it."""
    return min(caught_share + (1.0 - caught_share) * sediment_kg / capacity_kg, 0.985)
