"""The waters, the garden and the climate as plain data, in SI units; months are twelve, January first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Soil = Literal["sand", "sandy loam", "loam", "clay loam", "clay", "peat"]
SOILS: tuple[Soil, ...] = ("sand", "sandy loam", "loam", "clay loam", "clay", "peat")

#: Conductivity at 25 degC over that at another temperature: share for each degree, referred to 25.
#: Source: Standard Methods 2510 B, from memory; Hayashi (2004) found 0.0187 (0.0175 to 0.0198).
PER_DEGREE = 0.0191


@dataclass(frozen=True, slots=True)
class Source:
    """One water that the valve can mix. `conductivity_s_m` as typed in: at 25 degC, unless `read_at_c`
    says that it was read without compensation in water of that temperature."""

    name: str
    conductivity_s_m: float | None = None
    signal: str | None = None  # the signal that tells it; goes before what was typed in
    uncertainty_s_m: float | None = None  # one standard deviation
    read_at_c: float | None = None
    storage: str | None = None  # which storage it is drawn from: then it is finite
    sodium_adsorption_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class Garden:
    area_m2: float
    crop: str | None = None  # a key of `crops.CROPS`
    salt_limit_s_m: float | None = None  # of the water; goes before the crop's
    soil: Soil | None = None
    soil_salinity_s_m: float | None = None  # ECe
    soil_salinity_on: date | None = None
    root_depth_m: float = 0.6
    efficiency: float = 0.8  # share of the water given that the roots get
    season: tuple[tuple[int, int], tuple[int, int]] = ((4, 15), (10, 15))  # month and day, both included
    #: when the garden is watered, as seconds of the owner's day: tells its use from the house's
    watered: tuple[tuple[float, float], ...] = ()
    household_m3_s: float | None = None  # where the owner knows better than the meter


@dataclass(frozen=True, slots=True)
class Climate:
    """Monthly normals; () where not given. Temperatures are means of the days' highs and lows."""

    latitude_deg: float  # north positive
    rain_m: tuple[float, ...] = ()  # a month
    rain_days: tuple[float, ...] = ()  # a month
    high_c: tuple[float, ...] = ()
    low_c: tuple[float, ...] = ()
    humidity: tuple[float, ...] = ()  # mean relative humidity as a share
    wind_m_s: tuple[float, ...] = ()
    wind_height_m: float = 2.0
    sunshine_s: tuple[float, ...] = ()  # a day
    solar_j_m2: tuple[float, ...] = ()  # a day
    evapotranspiration_m: tuple[float, ...] = ()  # reference, a month
