"""Weather of one place: air temperature and rain, day by day."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi
from typing import TYPE_CHECKING

from simulator.seeds import stream

if TYPE_CHECKING:
    from simulator.calendar import Day


@dataclass(frozen=True, slots=True)
class Climate:
    """A temperate, rather dry hillside; any of it can be set by a scenario's [weather] table."""

    mean_c: float = 11.0
    season_c: float = 12.0  # half the range between the means of July and January
    day_c: float = 6.0  # half the range of a clear day
    spread_c: float = 3.0  # of a day's mean about the season's
    rain_day_chance: float = 0.35
    rain_after_rain: float = 0.5
    rain_day_m: float = 0.009
    latitude_deg: float = 43.0


@dataclass(frozen=True, slots=True)
class Shower:
    """Rain at one rate [m/s] from `start_s` to `stop_s`."""

    start_s: float
    stop_s: float
    rate_m_s: float


@dataclass(frozen=True, slots=True)
class DayWeather:
    """One day: its mean at midnight and at the next, its half range, its rain."""

    day: Day
    from_c: float
    to_c: float
    half_range_c: float
    showers: tuple[Shower, ...]

    def air_c(self, at_s: float) -> float:
        """Air temperature: coldest an hour before dawn, warmest at three in the afternoon."""
        share = (at_s - self.day.start_s) / self.day.length_s
        mean = self.from_c + (self.to_c - self.from_c) * share
        return mean + self.half_range_c * cos(2 * pi * (share - 15 / 24))

    @property
    def lowest_c(self) -> float:
        return min(self.from_c, self.to_c) - self.half_range_c

    @property
    def highest_c(self) -> float:
        return max(self.from_c, self.to_c) + self.half_range_c


class Weather:
    """Days in order: each follows from the one before (a two-state chain of wet and dry days)."""

    def __init__(self, climate: Climate, seed: int, dry: bool = False) -> None:
        self.climate = climate
        self._random = stream(seed, "weather")
        self._dry = dry
        self._wet = False
        self._odd_c = 0.0
        self._half_range_c = climate.day_c
        self._last_c: float | None = None

    def next_day(self, day: Day) -> DayWeather:
        """Weather of the day after the one asked for last."""
        climate, random = self.climate, self._random
        chance = climate.rain_after_rain if self._wet else climate.rain_day_chance
        self._wet = bool(random.random() < chance)
        amount = float(random.gamma(0.8, climate.rain_day_m / 0.8))
        # a first-order chain of departures: weather of one day lingers into the next
        self._odd_c = 0.7 * self._odd_c + 0.71 * float(random.normal(0.0, climate.spread_c))
        season = cos(2 * pi * (day.season.timetuple().tm_yday - 200) / 365)
        mean = climate.mean_c + climate.season_c * season + self._odd_c - (1.5 if self._wet else 0.0)
        before = mean if self._last_c is None else self._last_c
        self._last_c = mean
        showers = self._showers(day, amount)
        return DayWeather(day, before, mean, climate.day_c, showers if self._wet and not self._dry else ())

    def _showers(self, day: Day, amount_m: float) -> tuple[Shower, ...]:
        """The day's rain in one to three showers, each in ten-minute pieces of uneven strength."""
        random = self._random
        count = int(random.integers(1, 4))
        shares = random.dirichlet([1.0] * count)
        slots: dict[int, float] = {}
        for share in shares:
            pieces = int(random.integers(3, 19))
            first = int(random.integers(0, 144 - pieces))
            strength = random.gamma(1.2, 1.0, pieces)
            for i, weight in enumerate(strength / strength.sum()):
                slots[first + i] = slots.get(first + i, 0.0) + amount_m * float(share) * float(weight)
        return tuple(
            Shower(day.start_s + slot * 600.0, day.start_s + (slot + 1) * 600.0, depth / 600.0)
            for slot, depth in sorted(slots.items())
        )
