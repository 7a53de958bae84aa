"""What a household draws, event by event: toilets, taps, showers, machines.

Shapes (how much, how fast, how long) lie in the range of two open measured sets, WEUSEDTO (a flat
in Naples, fixture by fixture; Di Mauro et al. 2021) and CIWS (houses in Utah; Horsburgh et al.):
the tests compare where those are at hand. How often and when is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.calendar import Day


@dataclass(frozen=True, slots=True)
class Use:
    """One outlet open from `start_s` to `stop_s`, giving `flow_m3_s` at the plant's middle pressure.

    A regulated outlet (pressure-compensating drippers) gives that at any pressure.
    """

    start_s: float
    stop_s: float
    flow_m3_s: float
    place: str  # "house" | "garden"
    regulated: bool = False
    what: str = ""


#: Chance of use by hour, 0 to 23 h: a morning and an evening peak, next to nothing at night.
_ALL_DAY = np.array([1, 0.5, 0.3, 0.3, 0.5, 2, 6, 9, 8, 5, 4, 4, 6, 5, 3, 3, 4, 6, 8, 8, 7, 6, 4, 2], float)
_SHOWERS = np.array([0, 0, 0, 0, 0.5, 3, 9, 9, 5, 2, 1, 1, 1, 1, 0, 0, 1, 3, 4, 4, 5, 4, 2, 0], float)
_MACHINES = np.array([0, 0, 0, 0, 0, 0, 0, 2, 5, 6, 6, 4, 3, 3, 4, 4, 3, 3, 4, 5, 4, 2, 0, 0], float)


@dataclass(frozen=True, slots=True)
class Fixture:
    """A kind of use: how often a person-day, how much, how fast; lognormal with a spread in ln."""

    name: str
    per_person_day: float
    litres: float  # median of one filling or draw
    litre_spread: float
    l_s: float  # median flow
    l_s_spread: float
    hours: np.ndarray
    fills: int = 1  # a machine takes water several times
    pause_s: float = 0.0


FIXTURES = (
    Fixture("toilet", 5.0, 8.0, 0.25, 0.14, 0.25, _ALL_DAY),
    Fixture("basin", 7.0, 0.9, 0.9, 0.045, 0.45, _ALL_DAY),
    Fixture("kitchen", 8.0, 1.2, 0.9, 0.055, 0.40, _ALL_DAY),
    Fixture("shower", 0.8, 45.0, 0.45, 0.11, 0.20, _SHOWERS),
    Fixture("washing machine", 0.22, 12.5, 0.1, 0.17, 0.10, _MACHINES, fills=4, pause_s=800.0),
    Fixture("dishwasher", 0.30, 3.4, 0.15, 0.08, 0.10, _MACHINES, fills=3, pause_s=1_100.0),
)


def household(day: Day, people: float, share: float, random: np.random.Generator) -> list[Use]:
    """All draws of one day by `people` persons; `share` scales how often."""
    uses: list[Use] = []
    for fixture in FIXTURES:
        count = random.poisson(max(fixture.per_person_day * people * share, 0.0))
        for hour in random.choice(24, size=count, p=fixture.hours / fixture.hours.sum()):
            start = day.start_s + (float(hour) + random.random()) * 3_600.0
            uses += _draw(fixture, start, random)
    return uses


def _draw(fixture: Fixture, start_s: float, random: np.random.Generator) -> list[Use]:
    flow = fixture.l_s * float(np.exp(random.normal(0.0, fixture.l_s_spread))) / 1_000
    uses = []
    for _ in range(fixture.fills):
        volume = fixture.litres * float(np.exp(random.normal(0.0, fixture.litre_spread))) / 1_000
        stop = start_s + max(volume / flow, 2.0)
        uses.append(Use(start_s, stop, flow, "house", what=fixture.name))
        start_s = stop + fixture.pause_s * (0.7 + 0.6 * random.random())
    return uses
