"""What many runs said of one figure: robust throughout, since draws and odd samples spoil some of them."""

from __future__ import annotations

import msgspec


class Trait(msgspec.Struct):
    """One figure of the signature: its median, quartiles and robust standard deviation."""

    middle: float
    upper: float
    sigma: float
    lower: float = 0.0


def known_of(said: list[float | None]) -> list[float] | None:
    """What runs said of one figure, sorted; None where it is known of too few."""
    values = sorted([value for value in said if value is not None])
    return None if len(values) < 3 or 2 * len(values) < len(said) else values


def trait_of(values: list[float]) -> Trait:
    """Of sorted numbers."""
    middle = middle_of(values)
    sigma = 1.4826 * middle_of(sorted([abs(v - middle) for v in values]))
    last = len(values) - 1
    return Trait(middle, upper(values), sigma, values[(last + 2) // 4])


def upper(values: list[float]) -> float:
    """The upper quartile of sorted numbers."""
    return values[(3 * len(values) - 1) // 4]


def middle_of(values: list[float]) -> float:
    """The median of sorted numbers."""
    half = len(values) // 2
    return values[half] if len(values) % 2 else (values[half - 1] + values[half]) / 2
