"""Delivery of the newest runs over what counts as clean, and the standard error of that.

Which figure. Delivery by the kinks at both ends of a run is free of demand; the mid-run one misses demand
that comes and goes within a run and can only read low by it, so that of it the upper quartile is compared,
not the median; where a flow meter is fitted, what it says and what the tank took together. Each is held
against its own clean value and they are put together by the inverse of their error squared.

What is clean: the lesson, and besides it the lesson's first LATELY runs, so that what begins while the
plant is being learned is not learned.

Parameters: see the constants. SIGMA_LEAST 4 %: kinks at 1 s sampling.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.empty_early import charged_1
from analytics.judging.shifted_gauge import shifted_1
from analytics.judging.signature import LATELY, OF_A_MEDIAN, SIGMA_LEAST
from analytics.judging.uphill import uphill

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait
    from analytics.judging.watch import Known

FIGURES = ("kink_m3_s", "delivery_m3_s", "metered_m3_s")
WHOLE = "whole_m3_s"
#: What is hidden within runs makes the mid-run figure read low, never the kinks: below these by more than two
#: standard errors (one chance in forty, of two figures that should agree) it is not the pump that it shows.
HIDES = 2.0


class Base(msgspec.Struct, frozen=True):
    """Traits that count as clean, of how many runs, and the best figure of each."""

    traits: dict[str, Trait]
    runs: int
    bests: list[float] = []


def bases(signature: Signature, coarse: bool = False) -> list[Base]:
    """What is clean: the lesson, once it is over, and its first runs, before a fault that began within it.

    Seen coarsely, a lesson has a day's runs, as those that are held against it have, and its first are of one
    spell."""
    lesson = Base(signature.clean, signature.learned_runs, signature.bests)
    first = [] if coarse else [Base(signature.first, LATELY, signature.first_bests)]
    return [lesson, *first] if signature.learned_us is not None else first


def left_over(
    known: Known, base: Base, runs: int, hourly: bool = False, fair: bool = False, alike: bool = False
) -> tuple[float, float] | None:
    """Delivery of the newest runs over its clean value, and the standard error of that.

    hourly: of runs an hour apart at least. fair: as often too low as too high, so by the kinks' median where
    there is one; else what reads high is preferred, so that no tap in a window is called a loss.
    """
    found: dict[str, tuple[float, float]] = {}
    for name in FIGURES:
        clean, top = base.traits.get(name), known.signature.upper(name, runs, hourly)
        middle_now = known.signature.middle(name, runs, hourly)
        if clean is None or top is None or middle_now is None or clean.middle <= 0.0:
            continue
        left = top / clean.upper
        if name == "kink_m3_s":
            middle = middle_now / clean.middle  # a tap in the kink's window spoils it either way
            left = middle if fair else max(left, middle)
        sigma = _scatter_1(known.signature, clean, name)
        now = known.signature.now(name, runs, hourly)
        lately = max(sigma, now.sigma / clean.middle) if now is not None else sigma
        error = OF_A_MEDIAN * hypot(sigma / sqrt(max(base.runs, 1)), lately / sqrt(runs))
        found[name] = left, error
    if not found:
        return None
    if "kink_m3_s" in found and "delivery_m3_s" in found:
        kink, doubt = found["kink_m3_s"]
        middle, error = found["delivery_m3_s"]
        found["delivery_m3_s"] = max(middle, kink - HIDES * doubt), error
    if fair and "kink_m3_s" in found:
        found.pop("delivery_m3_s", None)
    weights = sum(error**-2 for _, error in found.values())
    sums = sum(left * error**-2 for left, error in found.values())
    error = min(one[1] for one in found.values()) if alike else 1.0 / sqrt(weights)
    return sums / weights / sound_1(known, base, runs, hourly), error


def left_of_whole_runs(known: Known, base: Base, runs: int) -> tuple[float, float] | None:
    """Delivery of the newest runs over its clean value, and the standard error of that, by what whole runs
    brought: as often too low as too high, so only where nothing is hidden in them."""
    clean, now = base.traits.get(WHOLE), known.signature.now(WHOLE, runs)
    if clean is None or now is None or clean.middle <= 0.0:
        return None
    sigma = _scatter_1(known.signature, clean, WHOLE)
    lately = max(sigma, now.sigma / clean.middle)
    error = OF_A_MEDIAN * hypot(sigma / sqrt(max(base.runs, 1)), lately / sqrt(runs))
    return now.middle / clean.middle / sound_1(known, base, runs, hourly=False), error


def _scatter_1(signature: Signature, clean: Trait, name: str) -> float:
    """How much clean runs scatter: eight alone tell little of it."""
    learned = signature.clean.get(name, clean)
    return max(clean.sigma / clean.middle, learned.sigma / learned.middle, SIGMA_LEAST)


def sound_1(known: Known, base: Base, runs: int, hourly: bool) -> float:
    """What a sound pump's delivery would read as, over its clean one, at the newest runs' pressures."""
    asked = known.signature, known.water, base.traits, runs, hourly
    by_switch = uphill(known.signature, base.traits, runs, hourly) * charged_1(*asked)
    return min(by_switch, shifted_1(*asked))


def left_of_lesson(known: Known, runs: int) -> tuple[float, float, float] | None:
    """Delivery of the newest runs over the lesson's; standard errors by those runs, and of the lesson's."""
    signature = known.signature
    if signature.learned_us is None:
        return None
    found = left_over(known, Base(signature.clean, signature.learned_runs), runs, fair=True)
    if found is None:
        return None
    left, error = found
    ours = sqrt(signature.learned_runs / (signature.learned_runs + runs))
    return left, error * ours, error * sqrt(1.0 - ours**2)
