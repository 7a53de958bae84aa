"""The waters, the garden and the climate of a plant file read back, and what follows from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.garden import mix, season
from analytics.garden.limits import water_limit
from analytics.plant.dimensions import Dimension
from analytics.plant.shown import number, shown

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.plant.garden import Climate, Garden, Source

Pairs = list[tuple[str, str]]
_MID_JULY, _MID_JANUARY = 196, 15


def read_back(plant: Plant) -> Pairs:
    """Label and words of each source, the garden and the climate."""
    rows = [(f"source {source.name}", _source(source)) for source in plant.sources]
    if plant.garden is not None:
        rows.append(("garden", _garden(plant, plant.garden)))
    if plant.climate is not None:
        rows.append(("climate", _climate(plant.climate)))
    return rows


def follows(plant: Plant) -> Pairs:
    """The limit for the water, the mix that meets it, and what the beds drink at midsummer."""
    rows: Pairs = []
    if plant.garden is not None:
        limit = water_limit(plant)
        rows.append(("salt", f"water up to {_salt(limit.water_s_m)}: {limit.why}"))
    rows += _mix(plant) + _need(plant)
    return rows


def _salt(s_m: float) -> str:
    return shown(s_m, Dimension.CONDUCTIVITY, "metric", 3)


def _source(source: Source) -> str:
    said = []
    if source.signal is not None:
        said.append(f"told by {source.signal}")
    if source.conductivity_s_m is not None:
        read = f" read in water of {number(source.read_at_c, 3)} °C" if source.read_at_c is not None else ""
        said.append(f"{_salt(source.conductivity_s_m)}{read}{' when that is silent' if said else ''}")
    if source.uncertainty_s_m is not None:
        said.append(f"give or take {_salt(source.uncertainty_s_m)}")
    if source.storage is not None:
        said.append(f"from storage {source.storage}")
    if source.sodium_adsorption_ratio is not None:
        said.append(f"sodium adsorption ratio {number(source.sodium_adsorption_ratio)}")
    return ", ".join(said)


def _garden(plant: Plant, garden: Garden) -> str:
    units = plant.display_units
    said = [shown(garden.area_m2, Dimension.AREA, units)]
    said.append(f"of {garden.crop}" if garden.crop else "no crop named: the reference grass's need is taken")
    if garden.salt_limit_s_m is not None:
        said.append(f"salt limit {_salt(garden.salt_limit_s_m)}")
    deep = shown(garden.root_depth_m, Dimension.LENGTH, units, 3)
    said.append(f"roots {deep} deep in {garden.soil or 'an unnamed soil, taken for loam'}")
    if garden.soil_salinity_s_m is not None:
        said.append(f"ECe {_salt(garden.soil_salinity_s_m)} on {garden.soil_salinity_on}")
    said.append(f"{number(100 * garden.efficiency)} % of the water reaches the roots")
    (a, b), (c, d) = garden.season
    said.append(f"season {a:02d}-{b:02d} to {c:02d}-{d:02d}")
    if garden.watered:
        spans = ", ".join(f"{_clock(begin)} to {_clock(end)}" for begin, end in garden.watered)
        said.append(f"watered {spans}")
    if garden.household_m3_s is not None:
        said.append(f"house {shown(garden.household_m3_s * 86_400, Dimension.VOLUME, units, 3)} a day")
    return ", ".join(said)


def _clock(seconds: float) -> str:
    return f"{int(seconds // 3600):02d}:{int(seconds % 3600 // 60):02d}"


def _climate(climate: Climate) -> str:
    told = (
        ("rain", climate.rain_m),
        ("days of rain", climate.rain_days),
        ("temperatures", climate.high_c),
        ("humidity", climate.humidity),
        ("wind", climate.wind_m_s),
        ("sunshine", climate.sunshine_s),
        ("solar radiation", climate.solar_j_m2),
        ("evapotranspiration", climate.evapotranspiration_m),
    )
    named = ", ".join(name for name, values in told if values) or "no normals"
    side = "N" if climate.latitude_deg >= 0 else "S"
    return f"{number(abs(climate.latitude_deg))}° {side}; monthly {named}"


def _mix(plant: Plant) -> Pairs:
    """The share of the fresher water that meets the limit, from typed-in values alone."""
    told = [s for s in plant.sources if s.conductivity_s_m is not None and s.read_at_c is None]
    if len(told) != 2:
        return []
    fresh, salty = sorted(told, key=lambda source: source.conductivity_s_m or 0.0)
    assert fresh.conductivity_s_m is not None
    assert salty.conductivity_s_m is not None
    target = water_limit(plant).water_s_m
    share = mix.share_for(target, fresh.conductivity_s_m, salty.conductivity_s_m)
    if share is None:
        meets = salty.conductivity_s_m <= target
        return [("mix", f"{salty.name} alone meets the limit" if meets else "no mix meets the limit")]
    return [("mix", f"{number(100 * share, 3)} % {fresh.name} brings {salty.name} to {_salt(target)}")]


def _need(plant: Plant) -> Pairs:
    garden, climate = plant.garden, plant.climate
    if garden is None or climate is None:
        return []
    midsummer = _MID_JULY if climate.latitude_deg >= 0 else _MID_JANUARY
    told = season.reference(climate, midsummer, plant.altitude_m)
    if told is None:
        return [("need", "not known: [climate] has neither temperatures nor evapotranspiration")]
    depth, method = told
    poured = shown(depth * garden.area_m2 / garden.efficiency, Dimension.VOLUME, plant.display_units, 3)
    high = shown(depth, Dimension.LENGTH, plant.display_units, 2)
    return [("need", f"grass drinks {high} a day at midsummer ({method}): {poured} on the whole garden")]
