"""Watering: drip and spray programmes by the clock and the season, and the hose by hand."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi
from typing import TYPE_CHECKING

from simulator.demand.enduses import Use

if TYPE_CHECKING:
    import numpy as np

    from simulator.calendar import Day


@dataclass(frozen=True, slots=True)
class Programme:
    """A controller's programme: zones one after the other from a time of day."""

    name: str
    kind: str = "drip"  # "drip": regulated emitters; "spray": plain nozzles
    start_h: float = 5.5
    zones: int = 2
    zone_s: float = 1_800.0
    flow_m3_s: float = 0.0  # 0: a fifth of the pump's rated flow
    every_days: int = 1
    first_month: int = 4
    last_month: int = 10


@dataclass(frozen=True, slots=True)
class Hose:
    """Watering by hand: how often a day in high summer, how long, how fast."""

    per_day: float = 0.6
    median_s: float = 360.0
    flow_m3_s: float = 0.0002


def summer_share(day: Day) -> float:
    """Water use of the garden by season: 1 at the end of July, 0.15 in January (northern half)."""
    of_year = day.season.timetuple().tm_yday
    return max(0.15, 0.55 + 0.45 * cos(2 * pi * (of_year - 208) / 365))


def programmed(day: Day, programme: Programme, rated_m3_s: float, random: np.random.Generator) -> list[Use]:
    """The programme's draws of one day; drip times follow the season, as owners set them."""
    in_season = programme.first_month <= day.season.month <= programme.last_month
    if not in_season or day.number % programme.every_days:
        return []
    flow = programme.flow_m3_s or 0.2 * rated_m3_s
    length = programme.zone_s * (summer_share(day) if programme.kind == "drip" else 1.0)
    start = day.start_s + programme.start_h * 3_600.0
    uses = []
    for _ in range(programme.zones):
        drawn = flow * (0.9 + 0.2 * random.random())  # zones differ
        uses.append(
            Use(start, start + length, drawn, "garden", programme.kind == "drip", what=programme.name)
        )
        start += length + 2.0
    return uses


def by_hand(day: Day, hose: Hose, random: np.random.Generator) -> list[Use]:
    """Hose draws of one day: mornings and evenings."""
    uses = []
    for _ in range(random.poisson(hose.per_day * summer_share(day))):
        hour = random.normal(8.5, 1.2) if random.random() < 0.5 else random.normal(18.5, 1.2)
        start = day.start_s + float(min(max(hour, 5.0), 22.0)) * 3_600.0
        length = hose.median_s * float(min(max(random.lognormal(0.0, 0.8), 0.2), 6.0))
        flow = hose.flow_m3_s * (0.7 + 0.6 * random.random())
        uses.append(Use(start, start + length, flow, "garden", what="hose"))
    return uses
