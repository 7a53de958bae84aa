"""The growing season week by week: how much water the beds want, and by which method that is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate
from typing import TYPE_CHECKING

from analytics.garden import evapotranspiration as et
from analytics.garden import sun
from analytics.plant.crops import AS_REFERENCE, CROPS, Kc

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.plant.garden import Climate, Garden

#: Where in the season a crop begins to spread, covers the ground, and begins to ripen: FAO 56 chapter
#: 6's stages of a vegetable, as shares of its season; from memory.
_STAGES = (0.2, 0.45, 0.8)
_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_MIDDLES = [end - days / 2 for end, days in zip(accumulate(_MONTH_DAYS), _MONTH_DAYS, strict=True)]


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days from `first`; depths in metres over the week. `kc` is 0 out of season."""

    first: date
    reference_m: float
    kc: float

    @property
    def need_m(self) -> float:
        """What the crop drinks."""
        return self.reference_m * self.kc


def at_day(monthly: tuple[float, ...], day: int) -> float:
    """A monthly normal on a day of the year, by straight lines between the months' middles."""
    ends = [_MIDDLES[-1] - 365, *_MIDDLES, _MIDDLES[0] + 365]
    values = [monthly[-1], *monthly, monthly[0]]
    upper = next(i for i, middle in enumerate(ends) if middle >= day)
    share = (day - ends[upper - 1]) / (ends[upper] - ends[upper - 1])
    return values[upper - 1] + share * (values[upper] - values[upper - 1])


def reference(climate: Climate, day: int, altitude_m: float) -> tuple[float, str] | None:
    """Reference evapotranspiration of a mean day [m] and its method; None where nothing tells it."""
    if climate.evapotranspiration_m:
        per_day = tuple(m / n for m, n in zip(climate.evapotranspiration_m, _MONTH_DAYS, strict=True))
        return at_day(per_day, day), et.TYPED_IN
    if not climate.high_c:
        return None
    high, low = at_day(climate.high_c, day), at_day(climate.low_c, day)
    vapour = wind = None
    if climate.humidity:
        vapour = et.vapour_from_humidity_pa(high, low, at_day(climate.humidity, day))
    if climate.wind_m_s:
        wind = et.wind_at_2_m(at_day(climate.wind_m_s, day), climate.wind_height_m)
    weather = et.Day(day, high, low, vapour, wind, _ground(climate, day))
    return et.reference_m(weather, climate.latitude_deg, altitude_m)


def _ground(climate: Climate, day: int) -> float | None:
    if climate.solar_j_m2:
        return at_day(climate.solar_j_m2, day)
    if climate.sunshine_s:
        top = sun.top_of_air_j_m2(climate.latitude_deg, day)
        daylight = sun.daylength_s(climate.latitude_deg, day)
        return sun.from_sunshine_j_m2(top, at_day(climate.sunshine_s, day), daylight)
    return None


def kc_on(kc: Kc, share: float) -> float:
    """The crop coefficient at a share of the season, 0 to 1; FAO 56's curve of four straight pieces."""
    begins, covers, ripens = _STAGES
    if share < begins:
        return kc.start
    if share < covers:
        return kc.start + (kc.full - kc.start) * (share - begins) / (covers - begins)
    if share < ripens:
        return kc.full
    return kc.full + (kc.end - kc.full) * (share - ripens) / (1.0 - ripens)


def season_share(garden: Garden, on: date) -> float | None:
    """How far into the season a day is, 0 to 1; None outside. A season may go over New Year."""
    (begin_month, begin_day), (end_month, end_day) = garden.season
    begin = date(on.year, begin_month, min(begin_day, 28 if begin_month == 2 else begin_day))
    if begin > on:
        begin = begin.replace(year=on.year - 1)
    end = date(begin.year, end_month, min(end_day, 28 if end_month == 2 else end_day))
    if end < begin:
        end = end.replace(year=begin.year + 1)
    return (on - begin).days / max((end - begin).days, 1) if on <= end else None


def weeks_to_end(garden: Garden, today: date) -> int:
    """Weeks from today to the end of the season that is on, or else of the next one; at least four."""
    days = [today + timedelta(days=n) for n in range(2 * 366)]
    on = [season_share(garden, day) is not None for day in days]
    first = on.index(True)
    last = next((n for n in range(first, len(on)) if not on[n]), len(on))
    return min(max(-(-last // 7), 4), 53)


def weeks(plant: Plant, first: date, count: int) -> tuple[list[Week], str] | None:
    """`count` weeks from a day on, and the method of their evapotranspiration. None where the plant
    file gives no garden, or no climate to tell its need from."""
    garden, climate = plant.garden, plant.climate
    if garden is None or climate is None or reference(climate, 1, plant.altitude_m) is None:
        return None
    kc = CROPS[garden.crop].kc if garden.crop is not None else AS_REFERENCE
    found, method = [], ""
    for number in range(count):
        begin = first + timedelta(days=7 * number)
        depth = coefficient = 0.0
        for one in range(7):
            on = begin + timedelta(days=one)
            told = reference(climate, on.timetuple().tm_yday, plant.altitude_m)
            assert told is not None
            depth, method = depth + told[0], told[1]
            share = season_share(garden, on)
            coefficient += 0.0 if share is None else kc_on(kc, share) / 7
        found.append(Week(begin, depth, coefficient))
    return found, method
