"""Properties that salt and the garden's water must have, and a second opinion where a library gives one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pyet
import pytest
from hypothesis import given
from hypothesis import strategies as st
from vega_datasets import data

from analytics.garden import (
    budget,
    crop_salt,
    flushing,
    leaching,
    mix,
    rain_years,
    roof,
    season,
    water_grades,
)
from analytics.garden import evapotranspiration as et
from analytics.garden.effective_rain import effective_m
from analytics.garden.limits import water_limit
from analytics.garden.plan import plan
from analytics.plant.description import Plant
from analytics.plant.parsing import parse_plant

JUNIPER = Path(__file__).parents[3] / "simulator" / "plants" / "juniper-bench.toml"
shares = st.floats(0, 1)
salts = st.floats(0.001, 2.0)


@pytest.fixture(scope="module")
def juniper() -> Plant:
    return parse_plant(JUNIPER.read_text(), "juniper-bench")


@given(salts, salts, shares)
def test_a_mix_gives_back_its_share(first: float, second: float, share: float) -> None:
    blended = mix.blend_s_m(first, second, share)
    assert min(first, second) - 1e-12 <= blended <= max(first, second) + 1e-12
    if abs(first - second) > 1e-6:
        assert mix.share_for(blended, first, second) == pytest.approx(share, abs=1e-6)


@given(shares, st.integers(0, 10_000))
def test_the_share_is_known_as_well_as_it_says(share: float, seed: int) -> None:
    """Readings off by their own deviation put the true share outside two of its own about one time in
    twenty; never by a multiple of that."""
    chance = np.random.default_rng(seed)
    rain, well = mix.salt(0.006), mix.salt(0.32)
    true = mix.blend_s_m(rain.conductivity_s_m, well.conductivity_s_m, share)
    deviation = mix.salt(true).deviation_s_m
    read = mix.Salt(true + deviation * float(chance.uniform(-1, 1)), deviation)
    found = mix.share_of_first(read, rain, well)
    assert found is not None
    assert abs(found.share - share) <= 2 * found.deviation + 1e-9


def test_waters_that_are_close_cannot_be_told_apart() -> None:
    assert mix.share_of_first(mix.salt(0.0515), mix.salt(0.05), mix.salt(0.053)) is None


def test_a_third_water_is_seen() -> None:
    found = mix.share_of_first(mix.salt(0.6), mix.salt(0.006), mix.salt(0.32))
    assert found is not None
    assert not found.fits


@given(st.floats(0.01, 0.5), st.floats(0.1, 1.0))
def test_a_saltier_water_asks_for_more_leaching(water: float, soil: float) -> None:
    for method in (leaching.by_formula, leaching.by_profile, leaching.by_exponential):
        less, more = method(water, soil), method(water * 1.2, soil)
        assert less is not None or more is None
        if less is not None and more is not None:
            assert 0 < less <= more + 1e-9 < 1


@given(st.floats(0.1, 2.0), st.floats(0.05, 0.5), st.sampled_from(list(flushing.STANDING)))
def test_flushing_brings_the_soil_where_it_was_said(soil_s_m: float, target: float, soil: str) -> None:
    k = flushing.STANDING[soil]  # type: ignore[index]
    depth = flushing.depth_m(soil_s_m, target, 0.01, 0.6, k)
    assert depth is not None
    after = flushing.left_s_m(soil_s_m, 0.01, depth, 0.6, k)
    assert after <= max(target, 0.0) + 1e-9 or soil_s_m <= target


def test_pure_rain_is_two_things_at_once() -> None:
    assert water_grades.for_plants(0.005) == "none"
    assert water_grades.for_soil(0.005) == "severe"


def test_evapotranspiration_as_pyet_has_it() -> None:
    """pyet (Vremec et al. 2024): FAO 56 Penman-Monteith and Hargreaves, over a year at 43.6 north."""
    days = pd.date_range("2026-01-01", "2026-12-31", freq="7D")
    numbers = days.day_of_year.to_numpy()
    warm = -np.cos(2 * np.pi * (numbers - 20) / 365)
    high, low = 16 + 16 * warm, 3 + 11 * warm
    ground, wind = 12 + 9 * warm, np.full(len(days), 2.2)
    vapour = 0.6 + 0.3 * warm
    latitude, altitude = 43.6, 1400.0

    def series(values: np.ndarray) -> object:
        return pd.Series(values, index=days)

    theirs = pyet.pm_fao56(
        series((high + low) / 2), series(wind), rs=series(ground), tmax=series(high), tmin=series(low),
        ea=series(vapour), elevation=altitude, lat=np.radians(latitude),
    )  # fmt: skip
    ours = [
        1e3 * et.penman_monteith_m(et.Day(int(n), h, c, v * 1e3, w, r * 1e6), latitude, altitude)
        for n, h, c, v, w, r in zip(numbers, high, low, vapour, wind, ground, strict=True)
    ]
    np.testing.assert_allclose(ours, theirs.to_numpy(), rtol=0.01, atol=0.02)
    theirs = pyet.hargreaves(series((high + low) / 2), series(high), series(low), lat=np.radians(latitude))
    ours = [1e3 * et.hargreaves_m(h, c, latitude, int(n)) for n, h, c in zip(numbers, high, low, strict=True)]
    np.testing.assert_allclose(ours, theirs.to_numpy(), rtol=0.02, atol=0.02)


def test_a_roof_under_seattles_rain() -> None:
    """vega-datasets 0.9, seattle-weather: four years of daily rain (NOAA), 1000 ft2 of roof. By the US
    rule 0.623 gallons a square foot and inch, the sum is what the days' yields come to without losses."""
    rain_mm = data.seattle_weather()["precipitation"].to_numpy()
    assert len(rain_mm) == 1461
    area = 1000 * 0.09290304
    whole = roof.yield_m3(rain_mm / 1e3, area, 1.0).sum() / 3.785411784e-3
    assert whole == pytest.approx(0.6234 * 1000 * rain_mm.sum() / 25.4, rel=1e-3)
    less = roof.yield_m3(rain_mm / 1e3, area, 0.85, 0.04).sum() / 3.785411784e-3
    assert 0.6 * 0.85 * whole < less < 0.85 * whole
    years = rain_years.from_gauge(rain_mm / 1e3, 26)
    assert years is not None
    assert years.shape == (4, 26)


def test_years_from_normals_keep_the_normals(juniper: Plant) -> None:
    assert juniper.climate is not None
    years = rain_years.from_normals(juniper.climate, date(2026, 4, 1), 52)
    assert years.shape == (100, 52)
    assert years.sum(axis=1).mean() == pytest.approx(sum(juniper.climate.rain_m), rel=0.05)
    assert (years == rain_years.from_normals(juniper.climate, date(2026, 4, 1), 52)).all()
    assert (years.std(axis=0) > 0).all()


def test_water_is_neither_made_nor_lost() -> None:
    works = budget.Works(2.0, 10.0, 100.0, 0.9)
    rain = np.full((3, 8), 0.01)
    told = budget.course(works, rain, np.zeros(8), np.full(8, 0.5))
    into = 8 * 0.01 * 100 * 0.9
    assert 2.0 + into - 8 * 0.5 + told.short_m3 - told.spilled_m3 == pytest.approx(told.held_m3[1, -1])


@given(st.floats(0.0, 20.0), st.floats(10.0, 300.0))
def test_more_roof_or_storage_never_runs_dry_sooner(held: float, roof_m2: float) -> None:
    rain = np.abs(np.random.default_rng(1).normal(0.008, 0.01, (20, 26)))
    works = budget.Works(held, 20.0, roof_m2, 0.85)
    told = budget.changes(works, rain, np.ones(26), np.full(26, 1.0))
    as_it_is, *others = told
    assert all(one.short_m3 <= as_it_is.short_m3 + 1e-9 for one in others)


def test_rain_on_the_beds_is_not_poured_again(juniper: Plant) -> None:
    """A wetter climate asks less of the storage; FAO's rule for effective rain, from memory."""
    assert juniper.climate is not None
    works = budget.Works(9.0, 10.6, 0.001, 0.85)
    wet = replace(
        juniper, climate=replace(juniper.climate, rain_m=tuple(3 * m for m in juniper.climate.rain_m))
    )
    dry, wetter = (plan(one, date(2026, 5, 1), works, 0.0, 1.0, None, None) for one in (juniper, wet))
    assert dry is not None
    assert wetter is not None
    assert all(a.garden_m3 >= b.garden_m3 for a, b in zip(dry.lines, wetter.lines, strict=True))
    assert sum(b.garden_m3 for b in wetter.lines) < 0.9 * sum(a.garden_m3 for a in dry.lines)
    assert wetter.course.short_m3 < dry.course.short_m3


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_effective_rain_is_some_of_the_rain(less: float, more: float) -> None:
    low, high = sorted((less, more))
    assert 0 <= effective_m(low) <= effective_m(high) <= high


def test_a_season_that_goes_over_new_year() -> None:
    plant = parse_plant(JUNIPER.read_text(), "j")
    assert plant.garden is not None
    garden = replace(plant.garden, season=((11, 1), (3, 1)))
    assert season.season_share(garden, date(2026, 11, 1)) == 0.0
    assert season.season_share(garden, date(2027, 3, 1)) == 1.0
    assert season.season_share(garden, date(2026, 7, 1)) is None
    assert 0 < (season.season_share(garden, date(2027, 1, 5)) or 0) < 1


def test_the_plan_of_juniper_bench(juniper: Plant) -> None:
    works = budget.Works(9.0, 10.6, 167.0, 0.85, 0.15)
    told = plan(juniper, date(2026, 5, 1), works, 0.4, 0.7, (0.006, 0.32), water_limit(juniper).soil_s_m)
    assert told is not None
    assert told.method == et.HARGREAVES
    assert [line.first for line in told.lines][:2] == [date(2026, 5, 1), date(2026, 5, 8)]
    for line in told.lines:
        assert line.rain_m3 + line.well_m3 == pytest.approx(line.garden_m3 + line.house_m3)
        assert list(line.held_m3) == sorted(line.held_m3)
    assert max(told.lines, key=lambda line: line.garden_m3).first.month in (6, 7, 8)


def test_without_a_garden_there_is_no_plan(juniper: Plant) -> None:
    works = budget.Works(9.0, 10.6, 167.0, 0.85)
    assert plan(replace(juniper, garden=None), date(2026, 5, 1), works, 0.4, 1.0, None, None) is None


def test_the_limit_says_who_set_it(juniper: Plant) -> None:
    assert water_limit(juniper).why == "what tomato stands without loss"
    assert water_limit(juniper).water_s_m == pytest.approx(0.25 / crop_salt.USUAL_CONCENTRATION)
    assert juniper.garden is not None
    own = replace(juniper, garden=replace(juniper.garden, salt_limit_s_m=0.1))
    assert water_limit(own).water_s_m == 0.1
    assert water_limit(replace(juniper, garden=None)).water_s_m == pytest.approx(0.07)
