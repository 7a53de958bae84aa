"""How much of the pressure tank's air is left, by how fast the same water now moves its pressure.

A tank that has lost air answers to the same water with more pressure: tank water worked out with the plant
file's charge moves 1/f times too fast, where f is what is left of the compliance V (Pc + pa). The pump's
delivery is the same, so

    f = clean delivery / apparent delivery

and every flow that is told from pressure is f times what it seems. f above one is a pump that delivers
less, not more air: whoever uses it holds it to one.

A median's standard error is 1.25 sigma / sqrt(n).

Source: Boyle's law; kinks as in the design's signatures.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING

from analytics.judging.signature import RECENT, best_delivery

if TYPE_CHECKING:
    from analytics.judging.signature import Signature, Trait

OF_A_MEDIAN = 1.2533


def air_left(signature: Signature) -> tuple[float, float] | None:
    """Share of the tank's compliance that is left, and its standard error; None before it is known."""
    name = best_delivery(signature.clean)
    if name is None or signature.learned_us is None:
        return None
    now, count = signature.now(name), min(len(signature.recent), RECENT)
    if now is None or now.middle <= 0.0:
        return None
    share = signature.clean[name].middle / now.middle
    return share, share * hypot(median_error(now, count) / now.middle, clean_error(signature))


def clean_error(signature: Signature) -> float:
    """Relative standard error of the clean delivery."""
    name = best_delivery(signature.clean)
    if name is None:
        return 0.0
    clean = signature.clean[name]
    return median_error(clean, signature.learned_runs) / clean.middle


def median_error(trait: Trait, count: int) -> float:
    """Standard error of a median of so many runs."""
    return OF_A_MEDIAN * trait.sigma / sqrt(max(count, 1))
