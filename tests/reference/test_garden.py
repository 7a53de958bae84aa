"""Salt, rain and evapotranspiration against outside values: `garden.csv` gives each its source, its
tolerance as printed, and how it is known. Left out of the collection: hourly evapotranspiration (H09)
and open water (H17), which nothing here works out, and standpipes (F12 to F14)."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analytics.garden import conductivity, crop_salt, leaching, mix, roof, sun, water_grades
from analytics.garden import evapotranspiration as et
from analytics.plant.crops import CROPS

DS_M, MJ, GAL, FT2, IN = 0.1, 1e6, 3.785411784e-3, 0.09290304, 0.0254
Inputs = dict[str, Any]


def yield_percent(i: Inputs) -> float:
    return 100 * crop_salt.yield_share(i["ECe"] * DS_M, i["a"] * DS_M, i["b"] / 100 / DS_M)


def soil_at_yield(i: Inputs) -> float:
    return crop_salt.soil_for_yield_s_m(i["yield_pct"] / 100, i["a"] * DS_M, i["b"] / 100 / DS_M) / DS_M


def roof_gal(i: Inputs) -> float:
    """`k` is gallons a square foot and inch, losses included: 144/231 without."""
    coefficient = i.get("coef", 1.0) * (i.get("k", 144 / 231) / (144 / 231))
    return float(roof.yield_m3(i["rain_in"] * IN, i["area_ft2"] * FT2, coefficient)[0]) / GAL


def roof_less_loss_l(i: Inputs) -> float:
    """The loss of each month's first millimetres, as a first flush of the whole roof."""
    area, share = i["area_m2"], i["A"]
    return 1e3 * float(
        roof.yield_m3(i["rain_mm_month"] / 1e3, area, share, share * area * i["B_mm"] / 1e3)[0]
    )


def weather(i: Inputs) -> et.Day:
    top = sun.top_of_air_j_m2(i["lat"], i["doy"])
    high, low = i["Tmax"], i["Tmin"]
    if "n" in i:
        ground = sun.from_sunshine_j_m2(top, i["n"] * 3600, sun.daylength_s(i["lat"], i["doy"]))
    else:
        ground = sun.from_temperatures_j_m2(top, high, low, i["kRs"])
    if "ea" in i:
        vapour = i["ea"] * 1e3
    elif "Tdew" in i:
        vapour = sun.saturation_pa(i["Tdew"])
    else:
        vapour = from_extremes_pa(i)
    wind = et.wind_at_2_m(i["u10"], 10) if "u10" in i else i["u2"]
    return et.Day(i["doy"], high, low, vapour, wind, ground, i.get("G", 0.0) * MJ)


def from_extremes_pa(i: Inputs) -> float:
    """Equation 17: each extreme of humidity belongs to the other extreme of temperature."""
    low, high = sun.saturation_pa(i["Tmin"]), sun.saturation_pa(i["Tmax"])
    return (low * i["RHmax"] + high * i["RHmin"]) / 200


def penman_mm(i: Inputs) -> float:
    return 1e3 * et.penman_monteith_m(weather(i), i["lat"], i["z"])


EXAMPLE_20 = {"lat": 45.72, "doy": 196, "z": 200, "Tmax": 26.6, "Tmin": 14.8, "Tdew": 14.8, "kRs": 0.16}


def wind_percent(i: Inputs) -> float:
    return 100 * (penman_mm({**EXAMPLE_20, "u2": i["u2"]}) / penman_mm({**EXAMPLE_20, "u2": 2}) - 1)


def radiation(i: Inputs) -> float:
    return sun.from_sunshine_j_m2(i["Ra"] * MJ, i["n"] * 3600, i["N"] * 3600) / MJ


OURS: dict[str, Callable[[Inputs], float]] = {
    "rain_constant": roof_gal,
    "rain_volume": roof_gal,
    "rain_volume_si": lambda i: 1e3 * float(roof.yield_m3(i["rain_mm"] / 1e3, i["area_m2"], i["coef"])[0]),
    "rain_volume_si_loss": roof_less_loss_l,
    "first_flush": lambda i: i["area_ft2"] * i["gal_per_100ft2"] / 100,
    "leaching_requirement": lambda i: leaching.by_formula(i["ECw"], i["ECe"]) or 1.0,
    "applied_water": lambda i: leaching.applied_m(i.get("ET_cm", i.get("ET_mm")), i["LR"]),
    "maas_hoffman": yield_percent,
    "maas_hoffman_inverse": soil_at_yield,
    "ece_to_ecw": lambda i: crop_salt.water_for_soil_s_m(soil_at_yield(i), i["factor"]),
    "blend": lambda i: mix.blend_s_m(*((i["EC1"], i["EC2"]) if "EC1" in i else (i["C1"], i["C2"])), i["f1"]),
    "blend_solve": lambda i: mix.share_for(i["target"], i["C1"], i["C2"]) or 0.0,
    "concentration_factor": lambda i: leaching.concentration(i["LF"], tuple(i["uptake"])),
    "ec_temperature": lambda i: float(conductivity.at_25(i["ec"], i["temp_C"], i["alpha"])),
    "tds": lambda i: conductivity.dissolved_solids_mg_l(i["EC_dSm"] * DS_M),
    "restriction_class": lambda i: ["none", "slight to moderate", "severe"].index(
        water_grades.for_plants(i["EC_dSm"] * DS_M)
    ),
    "et0_pm": penman_mm,
    "et0_pm_missing": penman_mm,
    "et0_hargreaves": lambda i: 1e3 * et.hargreaves_m(i["Tmax"], i["Tmin"], i["lat"], i["doy"]),
    "et0_wind_sensitivity": wind_percent,
    "fao56_rs": radiation,
    "fao56_rs_temp": lambda i: sun.from_temperatures_j_m2(i["Ra"] * MJ, i["Tmax"], i["Tmin"], i["kRs"]) / MJ,
    "fao56_ra": lambda i: sun.top_of_air_j_m2(i["lat"], i["doy"]) / MJ,
    "fao56_daylength": lambda i: sun.daylength_s(i["lat"], i["doy"]) / 3600,
    "fao56_wind": lambda i: et.wind_at_2_m(i["u_z"], i["z"]),
    "fao56_es": lambda i: (sun.saturation_pa(i["Tmax"]) + sun.saturation_pa(i["Tmin"])) / 2e3,
    "fao56_ea": lambda i: from_extremes_pa(i) / 1e3,
    "fao56_pressure": lambda i: et.air_pressure_pa(i["altitude_m"]) / 1e3,
    "crop_demand": lambda i: leaching.applied_m(i["ET0_mm"] * i["Kc"], 0.0, i["efficiency"]) * i["area_m2"],
}

ROWS = list(csv.DictReader((Path(__file__).parent / "garden.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['id']}-{row['topic']}")
def test_outside_value(row: dict[str, str]) -> None:
    found = OURS[row["topic"]](json.loads(row["inputs"]))
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def test_every_row_says_where_it_is_from() -> None:
    assert all(row["source"] and row["evidence"] for row in ROWS)


def test_the_methods_for_leaching_disagree_and_both_are_told() -> None:
    """The tomato case of SDSU CIVE 633 lecture 2: 0.316 by the formula, 0.20 by ASCE Manual 71's chart."""
    told = leaching.methods(3.0 * DS_M, 2.5 * DS_M)
    assert told[0].share == pytest.approx(0.316, abs=0.001)
    assert told[1].share == pytest.approx(0.20, abs=0.005)
    assert len({method.name for method in told}) == len(told)


@pytest.mark.parametrize(
    ("crop", "a", "b"), [("tomato", 2.5, 9.9), ("bean", 1.0, 19), ("zucchini", 4.7, 9.4)]
)
def test_crops_as_the_salinity_laboratory_has_them(crop: str, a: float, b: float) -> None:
    """USDA-ARS Salinity Laboratory (Maas 1990); bean and zucchini also in PMC6002086 table 3."""
    assert pytest.approx((a, b)) == (CROPS[crop].threshold_s_m / DS_M, CROPS[crop].slope * 100 * DS_M)
