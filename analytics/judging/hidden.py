"""The best figure of a run, and how likely it is that so many of the newest read so low by chance.

What is drawn from just before a run until just after it stands in none of the run's windows and hides
delivery from all of its figures; a shorter draw lowers one or two of the three (the kink at the start, the
one at the stop, mid-run), and a clog or a worn pump lowers all. So of each run the largest counts, over its
clean median. (A tap that closes at the start makes one read high: as often now as when clean.)

A tank whose drawdown is what a common draw takes is emptied by one and filled beside the next: some tenth of
its runs read low by their best figure too, nearly independent of each other (synthetic traces of tanks of 8
to 20 gal, 100 days each). How many do, the lesson shows. By it, runs of which so many read so low are a
chance of

    sum over k >= m of C(n, k) share^k (1 - share)^(n - k)

for m of n runs (binomial), share = (low + 1/2) / (learned + 1) (Jeffreys).

Parameters:
    CHANCE   2e-5  a look; the windows overlap, so that some 3,000 runs a year are fewer than a thousand
                   independent looks: one false call in fifty plant-years

Source: any text on the binomial; H. Jeffreys, Proc. R. Soc. A 186 (1946) 453 (from memory).
"""

from __future__ import annotations

from math import comb
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.judging.brief import Brief
    from analytics.judging.trait import Trait

CHANCE = 2e-5


def bests(briefs: list[Brief], clean: dict[str, Trait]) -> list[float]:
    """Of each run the largest figure of delivery over its clean median, sorted; those that have one."""
    return sorted(best for brief in briefs if (best := _best(brief, clean)) is not None)


def _best(brief: Brief, clean: dict[str, Trait]) -> float | None:
    figures = {
        "delivery_start_m3_s": brief.delivery_start_m3_s,
        "delivery_stop_m3_s": brief.delivery_stop_m3_s,
        "delivery_m3_s": brief.delivery_m3_s,
    }
    shares = [
        figure / clean[name].middle
        for name, figure in figures.items()
        if figure is not None and name in clean and clean[name].middle > 0.0
    ]
    return max(shares, default=None)


def by_chance(learned: list[float], newest: list[float], low: int) -> float:
    """How likely clean runs, which read as `learned`, are to read as the `low` lowest of the newest do (both
    sorted)."""
    count, top = len(newest), newest[low - 1]
    share = (sum(one <= top for one in learned) + 0.5) / (len(learned) + 1.0)
    return sum(comb(count, k) * share**k * (1.0 - share) ** (count - k) for k in range(low, count + 1))
