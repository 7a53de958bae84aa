"""The season's plan: each week's need, the mix that serves it, and what the rain storage makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.garden import budget, leaching, rain_years, season
from analytics.garden.effective_rain import effective_m
from analytics.garden.mix import blend_s_m

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from analytics.garden.budget import Change, Course, Works
    from analytics.plant.description import Plant


@dataclass(frozen=True, slots=True)
class Line:
    """One week. `garden_m3` is what is to be poured in a mean year: the need less what rain on the beds
    gives, losses and leaching included; `rain_m3` and `well_m3` the two waters' parts of that and of the
    house's use; `held_m3` the storage at its end."""

    first: date
    reference_m: float
    kc: float
    garden_m3: float
    house_m3: float
    rain_m3: float
    well_m3: float
    held_m3: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Plan:
    lines: tuple[Line, ...]
    method: str  # of the evapotranspiration
    years: str  # where the years of rain are from
    rain_share: float
    water_s_m: float | None
    leaching_share: float
    course: Course
    changes: tuple[Change, ...]


def plan(
    plant: Plant,
    first: date,
    works: Works,
    house_m3_day: float,
    rain_share: float,
    waters_s_m: tuple[float, float] | None,
    soil_s_m: float | None,
    gauge_m: NDArray[np.float64] | None = None,
    count: int = 26,
) -> Plan | None:
    """None where the plant file tells no garden, no climate, or no rain.

    rain_share: the share of rain water in the mix, 0 to 1. waters_s_m: rain's and the well's
    conductivity; with soil_s_m, the ECe not to be passed, they give the leaching (Rhoades's formula).
    gauge_m: the owner's own daily rain, oldest first.
    """
    told = season.weeks(plant, first, count)
    garden, climate = plant.garden, plant.climate
    rain, years = _rain(plant, first, count, gauge_m)
    if told is None or garden is None or climate is None or rain is None:
        return None
    water = None if waters_s_m is None else blend_s_m(waters_s_m[0], waters_s_m[1], rain_share)
    leach = _leaching(water, soil_s_m)
    needed = np.maximum(np.array([week.need_m for week in told[0]]) - effective_m(rain, 7.0), 0.0)
    every = needed * leaching.applied_m(1.0, leach, garden.efficiency) * garden.area_m2
    wanted = rain_share * (every + 7 * house_m3_day)
    poured = every.mean(axis=0)
    wet = rain_years.wet_days(climate, first, count) if climate.rain_m else np.full(count, 2.0)
    held = budget.course(works, rain, wet, wanted)
    lines = tuple(
        Line(
            week.first,
            week.reference_m,
            week.kc,
            float(poured[i]),
            7 * house_m3_day,
            float(wanted[:, i].mean()),
            (1 - rain_share) * (float(poured[i]) + 7 * house_m3_day),
            (float(held.held_m3[0, i]), float(held.held_m3[1, i]), float(held.held_m3[2, i])),
        )
        for i, week in enumerate(told[0])
    )
    changes = budget.changes(works, rain, wet, wanted)
    return Plan(lines, told[1], years, rain_share, water, leach, held, changes)


def _rain(
    plant: Plant, first: date, count: int, gauge_m: NDArray[np.float64] | None
) -> tuple[NDArray[np.float64] | None, str]:
    own = None if gauge_m is None else rain_years.from_gauge(gauge_m, count)
    if own is not None:
        return own, f"{len(own)} year{'s' if len(own) > 1 else ''} of your own gauge"
    if plant.climate is not None and plant.climate.rain_m:
        return rain_years.from_normals(plant.climate, first, count), "years made from your monthly normals"
    return None, ""


def _leaching(water_s_m: float | None, soil_s_m: float | None) -> float:
    """The share that must drain; at most a half, beyond which another water is the answer."""
    if water_s_m is None or soil_s_m is None:
        return 0.0
    share = leaching.by_formula(water_s_m, soil_s_m)
    return 0.5 if share is None else min(share, 0.5)
