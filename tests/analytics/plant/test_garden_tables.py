"""The waters, the garden and the climate, read in SI."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from analytics.plant.crops import CROPS
from analytics.plant.parsing import parse_plant

JUNIPER = (Path(__file__).parent / "juniper.toml").read_text()
GARDEN = """
[sources.rain]
conductivity = "52 uS/cm"
storage = "rain"

[sources.well]
conductivity = "2.6 mS/cm"
uncertainty = "0.1 dS/m"
read_at = "54 degF"
sodium_adsorption_ratio = 4

[garden]
area = "900 ft^2"
crop = "tomato"
soil = "sandy loam"
soil_salinity = "3.4 dS/m"
soil_salinity_on = 2026-03-20
root_depth = "24 in"
irrigation_efficiency = 0.85
season = ["04-20", "10-05"]
watered = [["05:30", "06:30"], [13:00:00, 13:20:00]]
household_use = "60 gal/day"

[climate]
latitude = 43.6
rain = ["1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "1 in", "2.54 cm"]
wind = ["9 km/h", "9 mph", "1 m/s", "1 m/s", "1 m/s", "1 m/s", "1 m/s", "1 m/s", "1 m/s", "1 m/s",
  "1 m/s", "1 kt"]
wind_height = "10 m"
solar = ["1 kWh/m^2", "2 MJ/m2", "9 MJ/m^2", "9 MJ/m^2", "9 MJ/m^2", "9 MJ/m^2", "9 MJ/m^2", "9 MJ/m^2",
  "9 MJ/m^2", "9 MJ/m^2", "9 MJ/m^2", "100 cal/cm^2"]
"""


def test_everything_is_read_in_si() -> None:
    plant = parse_plant(JUNIPER + GARDEN, "p")
    rain, well = plant.sources
    assert (rain.name, rain.storage) == ("rain", "rain")
    assert rain.conductivity_s_m == pytest.approx(0.0052)
    assert well.conductivity_s_m == pytest.approx(0.26)
    assert well.read_at_c == pytest.approx((54 - 32) / 1.8)
    assert well.uncertainty_s_m == pytest.approx(0.01)
    assert well.sodium_adsorption_ratio == 4
    garden = plant.garden
    assert garden is not None
    assert garden.area_m2 == pytest.approx(900 * 0.09290304)
    assert garden.soil_salinity_on == date(2026, 3, 20)
    assert garden.root_depth_m == pytest.approx(0.6096)
    assert garden.season == ((4, 20), (10, 5))
    assert garden.watered == ((19_800, 23_400), (46_800, 48_000))
    assert garden.household_m3_s == pytest.approx(60 * 3.785411784e-3 / 86_400)
    climate = plant.climate
    assert climate is not None
    assert climate.rain_m == pytest.approx([0.0254] * 12)
    assert climate.wind_m_s[0] == pytest.approx(2.5)
    assert climate.wind_m_s[1] == pytest.approx(4.02336)
    assert climate.wind_m_s[11] == pytest.approx(0.514444, rel=1e-6)  # knot: NIST SP 811, from memory
    assert climate.solar_j_m2[0] == pytest.approx(3.6e6)
    assert climate.solar_j_m2[11] == pytest.approx(4.184e6)  # thermochemical calorie: SP 811, from memory


def test_a_plant_without_them_is_as_before() -> None:
    plant = parse_plant(JUNIPER, "p")
    assert plant.sources == ()
    assert plant.garden is plant.climate is None


@pytest.mark.parametrize(
    ("crop", "a", "b"),
    [
        ("tomato", 2.5, 9.9),
        ("bean", 1.0, 19),
        ("zucchini", 4.7, 9.4),
        ("scallop squash", 3.2, 16),
        ("corn", 1.7, 12),
    ],
)
def test_crops_as_printed(crop: str, a: float, b: float) -> None:
    """USDA-ARS Salinity Laboratory, Maas (1990); bean, corn and squashes also PMC6002086 table 3."""
    assert CROPS[crop].threshold_s_m * 10 == pytest.approx(a)
    assert CROPS[crop].slope * 100 / 10 == pytest.approx(b)


def test_a_sensor_that_does_not_compensate() -> None:
    text = (
        JUNIPER
        + """
[[signal]]
name = "salt"
measures = "supply_conductivity"
topic = "s"
unit = "uS/cm"
temperature_coefficient = 0.02

[[signal]]
name = "cold"
measures = "water_temperature"
topic = "t"
unit = "degC"
"""
    )
    plant = parse_plant(text, "p")
    assert plant.signals[plant.index("salt")].temperature_coefficient == 0.02
