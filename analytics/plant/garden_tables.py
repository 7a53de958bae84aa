"""The tables that salt and the garden's water are reckoned from: [sources.NAME], [garden], [climate]."""

from __future__ import annotations

from analytics.plant.crops import CROPS
from analytics.plant.dimensions import EXAMPLE, Dimension
from analytics.plant.fields import choice, number, quantity_of, text
from analytics.plant.garden import SOILS, Climate, Garden, Source
from analytics.plant.garden_fields import between, day, monthly, season, spans_of_day
from analytics.plant.mistakes import Mistakes, Path
from analytics.plant.table import Fields, Key, Table

_SALT = quantity_of(Dimension.CONDUCTIVITY, above=0)
_TEMPERATURE = quantity_of(Dimension.TEMPERATURE, least=-90, most=70)
_MONTHS: tuple[str, ...] = ("January", "February", "March", "April", "May", "June", "July", "August")
_MONTHS += ("September", "October", "November", "December")


def _check_source(source: Fields, written: Fields, path: Path, mistakes: Mistakes) -> None:
    if not {"conductivity", "signal"} & written.keys():
        accepted = f"conductivity = {EXAMPLE[Dimension.CONDUCTIVITY].split(' or ')[0]}, or the signal"
        mistakes.add(path, "nothing says how salty it is", accepted=f"{accepted} that measures it")
    if "read_at" in written and "conductivity" not in written:
        mistakes.add((*path, "read_at"), "belongs to a conductivity typed in, and there is none")


def _check_garden(garden: Fields, written: Fields, path: Path, mistakes: Mistakes) -> None:
    if not {"crop", "salt_limit"} & written.keys():
        mistakes.add(path, "nothing says how much salt it stands", accepted="a crop, or a salt_limit")
    if "soil_salinity" in written and "soil_salinity_on" not in written:
        told = "missing; a soil's salinity is of the day on which it was sampled"
        mistakes.add((*path, "soil_salinity_on"), told, accepted="a date such as 2026-03-20")
    if "soil_salinity_on" in written and "soil_salinity" not in written:
        mistakes.add((*path, "soil_salinity"), "missing; there is a date for it")


def _check_climate(climate: Fields, written: Fields, path: Path, mistakes: Mistakes) -> None:
    for one, other in (("high", "low"), ("low", "high"), ("rain_days", "rain")):
        if one in written and other not in written:
            mistakes.add((*path, other), f"missing; {one} alone is of no use")
    if "sunshine" in written and "solar" in written:
        mistakes.add((*path, "sunshine"), "give sunshine or solar, not both")
    if "wind_height" in written and "wind" not in written:
        mistakes.add((*path, "wind_height"), "belongs to wind, and there is none")
    highs, lows = climate.get("high_c", ()), climate.get("low_c", ())
    for at, (high, low) in enumerate(zip(highs, lows, strict=False)):
        if high < low:
            told = f"{_MONTHS[at]}'s low is above its high"
            mistakes.add((*path, "low", at), told, value=written["low"][at])
    depths, days = climate.get("rain_m", ()), climate.get("rain_days", ())
    for at, (depth, wet) in enumerate(zip(depths, days, strict=False)):
        if (depth > 0) != (wet > 0):
            told = f"{_MONTHS[at]} has {'rain and no day' if depth > 0 else 'days of rain and no rain'}"
            mistakes.add((*path, "rain_days", at), told, value=written["rain_days"][at])


_SOURCES = Table(
    "sources",
    "sources",
    Source,
    (
        Key("conductivity", "conductivity_s_m", _SALT),
        Key("signal", "signal", text("the name of a [[signal]] that measures a conductivity")),
        Key("uncertainty", "uncertainty_s_m", _SALT),
        Key("read_at", "read_at_c", quantity_of(Dimension.TEMPERATURE, least=0, most=60)),
        Key("storage", "storage", text("the name of a [storage.NAME] table")),
        Key(
            "sodium_adsorption_ratio",
            "sodium_adsorption_ratio",
            between(0, 60, "a number from 0 to 60, from a laboratory's report"),
        ),
    ),
    named=True,
    check=_check_source,
)

_GARDEN = Table(
    "garden",
    "garden",
    Garden,
    (
        Key("area", "area_m2", quantity_of(Dimension.AREA, above=0), required=True),
        Key("crop", "crop", choice(*CROPS)),
        Key("salt_limit", "salt_limit_s_m", _SALT),
        Key("soil", "soil", choice(*SOILS)),
        Key("soil_salinity", "soil_salinity_s_m", _SALT),
        Key("soil_salinity_on", "soil_salinity_on", day),
        Key("root_depth", "root_depth_m", quantity_of(Dimension.LENGTH, above=0, most=5)),
        Key(
            "irrigation_efficiency",
            "efficiency",
            number("a share above 0 and up to 1, such as 0.85", above=0, most=1),
        ),
        Key("season", "season", season),
        Key("watered", "watered", spans_of_day),
        Key("household_use", "household_m3_s", quantity_of(Dimension.FLOW, least=0)),
    ),
    check=_check_garden,
)

_CLIMATE = Table(
    "climate",
    "climate",
    Climate,
    (
        Key(
            "latitude",
            "latitude_deg",
            between(-90, 90, "degrees from -90 to 90, north positive, such as 43.6"),
            required=True,
        ),
        Key(
            "rain",
            "rain_m",
            monthly(
                quantity_of(Dimension.LENGTH, least=0, most=10),
                'twelve depths a month, January first, such as "1.2 in"',
            ),
        ),
        Key(
            "rain_days",
            "rain_days",
            monthly(between(0, 31, "days a month, such as 7.5"), "twelve numbers of days, January first"),
        ),
        Key("high", "high_c", monthly(_TEMPERATURE, 'twelve temperatures, January first, such as "38 degF"')),
        Key("low", "low_c", monthly(_TEMPERATURE, 'twelve temperatures, January first, such as "24 degF"')),
        Key(
            "humidity",
            "humidity",
            monthly(
                between(1, 100, "a mean relative humidity in percent, such as 55", 0.01),
                "twelve numbers of percent",
            ),
        ),
        Key(
            "wind",
            "wind_m_s",
            monthly(quantity_of(Dimension.SPEED, least=0, most=60), 'twelve mean speeds, such as "2.1 m/s"'),
        ),
        Key("wind_height", "wind_height_m", quantity_of(Dimension.LENGTH, above=0.5, most=100)),
        Key(
            "sunshine",
            "sunshine_s",
            monthly(quantity_of(Dimension.TIME, least=0, most=86_400), 'twelve times a day, such as "9.2 h"'),
        ),
        Key(
            "solar",
            "solar_j_m2",
            monthly(
                quantity_of(Dimension.RADIANT_EXPOSURE, least=0, most=50e6),
                'twelve sums a day, such as "22 MJ/m^2"',
            ),
        ),
        Key(
            "evapotranspiration",
            "evapotranspiration_m",
            monthly(
                quantity_of(Dimension.LENGTH, least=0, most=1),
                'twelve depths a month, January first, such as "6.1 in"',
            ),
        ),
    ),
    check=_check_climate,
)

GARDEN_TABLES: tuple[Table, ...] = (_SOURCES, _GARDEN, _CLIMATE)
