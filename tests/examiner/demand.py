"""What people draw: a household by the hour, a garden by its schedule, guests, heavy days, quiet weeks."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.examiner.physics import Array
from tests.examiner.plants import LITRE_A_MINUTE, Plant

DAY_S = 86400
# How the uses of a day spread over its hours: a morning and an evening peak (common in any household study).
BY_HOUR = np.array(
    [0.3, 0.15, 0.1, 0.1, 0.2, 1, 3, 5, 4, 3, 2.5, 2.5, 3, 2.5, 2, 2, 2.5, 4, 5, 5, 4, 3, 2, 0.8]
)


@dataclass
class Demand:
    """Draws as start [s], length [s], rate [m3/s at the nominal pressure]."""

    draws: list[tuple[float, float, float]] = field(default_factory=list)
    habits: list[str] = field(default_factory=list)

    def daily_m3(self, days: float) -> float:
        """Mean of a day."""
        return sum(length * rate for _, length, rate in self.draws) / days

    def between(self, start_s: float, seconds: int, most: float) -> Array:
        """A value a second, capped at what the openings together can take."""
        asked = np.zeros(seconds)
        for begin, length, rate in self.draws:
            a, b = int(begin - start_s), int(begin + length - start_s)
            if b > 0 and a < seconds:
                asked[max(a, 0) : max(b, a + 1)] += rate
        return np.minimum(asked, most)


def _household(rng: Generator, day: int, uses: float, busy: Array) -> list[tuple[float, float, float]]:
    draws = []
    for kind, often, low, high, shortest, longest in (
        ("toilet", 5.0, 6, 9, 40, 70), ("tap", 8.0, 2, 7, 5, 60), ("shower", 0.9, 6, 11, 200, 600),
        ("washing", 0.3, 8, 12, 60, 150), ("kitchen", 2.0, 4, 9, 20, 150),
    ):  # fmt: skip
        for _ in range(rng.poisson(often * uses)):
            hour = rng.choice(24, p=busy)
            start = day * DAY_S + (hour + rng.random()) * 3600
            for fill in range(3 if kind == "washing" else 1):
                length = rng.uniform(shortest, longest)
                draws.append((start + fill * 900, length, rng.uniform(low, high) * LITRE_A_MINUTE))
    return draws


def drawn(rng: Generator, plant: Plant, days: int, changing: bool) -> Demand:
    """A demand for the whole case; `changing` lets habits change on some day."""
    made = Demand()
    people = float(rng.choice([1, 2, 2, 3, 4, 5]))
    busy = BY_HOUR * rng.uniform(0.6, 1.6, 24)
    busy = np.roll(busy, int(rng.integers(-1, 2))) / busy.sum()
    away = guests = (-1, -1)
    if changing and rng.random() < 0.35:
        first = int(rng.integers(3, max(days - 2, 4)))
        guests = (first, first + int(rng.integers(2, 9)))
        made.habits.append(f"guests from day {first}")
    if changing and rng.random() < 0.2:
        first = int(rng.integers(3, max(days - 2, 4)))
        away = (first, first + int(rng.integers(3, 8)))
        made.habits.append(f"away from day {first}")
    zones = []
    for _ in range(int(rng.integers(0, 5))):
        late = int(rng.integers(3, days)) if changing and rng.random() < 0.15 and days > 4 else 0
        zones.append(
            (late, rng.uniform(0.35, 0.92) * plant.q_out, rng.uniform(600, 2700), int(rng.integers(1, 4)))
        )
        if late:
            made.habits.append(f"new zone from day {late}")
    at_hour = float(rng.choice([5.0, 5.5, 6.0, 19.5, 20.5, 22.0]))
    drip = rng.random() < 0.25
    drip_rate, drip_s, drip_hour = (
        rng.uniform(0.12, 0.5) * plant.q_out,
        rng.uniform(1.5, 6) * 3600,
        rng.uniform(4, 20),
    )
    trough = rng.random() < 0.2
    for day in range(days):
        uses = (
            people
            * (0.0 if away[0] <= day < away[1] else 1.0)
            * (2.2 if guests[0] <= day < guests[1] else 1.0)
        )
        if rng.random() < 0.05:
            uses *= 2.0
        made.draws += _household(rng, day, uses, busy)
        start = day * DAY_S + at_hour * 3600
        for first, rate, length, every in zones:
            if day >= first and (day - first) % every == 0:
                made.draws.append((start, length, rate))
                start += length + 5
        if drip and day % 2 == 0:
            made.draws.append((day * DAY_S + drip_hour * 3600, drip_s, drip_rate))
        if trough:
            for _ in range(int(rng.integers(1, 5))):
                begin = day * DAY_S + rng.uniform(6, 20) * 3600
                made.draws.append((begin, rng.uniform(90, 400), rng.uniform(0.4, 0.95) * plant.q_out))
    if drip:
        made.habits.append("drip")
    made.draws.sort()
    return made
