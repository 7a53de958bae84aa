"""Temperatures of storage, exposed pipe and buried line, and an open storage's surface."""

from __future__ import annotations

from math import exp, log, pi, sqrt

import numpy as np
import pytest
from conftest import DAY_S, ran, world_of

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.physics import warmth
from simulator.weather.climate import Climate


def test_cooling_is_newtons() -> None:
    """T' = (T_around - T) / tau has one solution; a half-life is tau ln 2 (heat transfer textbooks)."""
    assert warmth.towards(20.0, 0.0, 100.0 * log(2), 100.0) == pytest.approx(10.0)
    assert warmth.towards(5.0, -5.0, 1e9, 10.0) == pytest.approx(-5.0)


def test_time_constants_are_those_of_lumps() -> None:
    """rho c V / (h A), by hand: 998.2 x 4182 x 0.025 / (4 x 8) s for a 25 mm pipe."""
    assert warmth.pipe_s(0.025) == pytest.approx(3_261.3, abs=0.1)
    assert warmth.tank_s(8.0, 2.0) / warmth.tank_s(1.0, 1.0) == pytest.approx(2.0)


def test_the_ground_lags_and_softens_the_year() -> None:
    """Kusuda and Achenbach's wave: at the surface the air's; at the damping depth 1/e of the swing, a
    radian (58 days) late."""
    depth_m = sqrt(warmth.SOIL_M2_S * 365 * 86_400 / pi)
    year = np.arange(365)
    surface = [warmth.ground_c(10.0, 12.0, 0.0, day) for day in year]
    below = np.array([warmth.ground_c(10.0, 12.0, depth_m, day) for day in year])
    assert surface[0] == pytest.approx(22.0)
    assert below.max() - 10.0 == pytest.approx(12.0 * exp(-1.0), rel=1e-3)
    assert int(below.argmax()) == pytest.approx(365 / (2 * pi), abs=1.0)


def test_storage_follows_the_days_slowly_and_the_pipe_at_once(juniper: Plant) -> None:
    trace = ran(world_of(juniper, dry=True), 4.0)
    air, water, pipe = trace["air1"], trace["water1"], trace["pipe1"]
    later = trace["t1"] > DAY_S
    assert np.ptp(water[later]) < 0.3 * np.ptp(air[later])
    assert np.ptp(pipe[later]) > 0.6 * np.ptp(air[later])
    assert air[later].min() < water[later].mean() < air[later].max()


def test_running_water_brings_the_storages_warmth(juniper: Plant) -> None:
    trace = ran(world_of(juniper), 2.0)
    since = trace["t1"] - trace["run_since"]
    late = np.nan_to_num(since, nan=0.0) > 30.0
    assert late.sum() > 20
    assert np.abs(trace["pipe1"] - trace["water1"])[late].max() < 0.5
    assert np.abs(trace["warm1"] - trace["water1"]).max() > 1.0


def test_a_still_pipe_freezes_in_a_hard_frost_and_the_tank_does_not(juniper: Plant) -> None:
    cold = FaultPlan("freeze_risk", severity=0.8, from_s=0.5 * DAY_S)
    trace = ran(world_of(juniper, cold, people=0.0, programmes=()), 1.5)
    assert trace["pipe1"].min() < 0.0
    assert trace["water1"].min() > 0.0


def test_an_open_storage_loses_by_its_own_surface(juniper: Plant) -> None:
    """The books still close: what came less what went is what is held."""
    from dataclasses import replace

    from simulator.works.hardware import Sizes

    sizes = replace(Sizes(), storage_open=True)
    world = world_of(juniper, sizes=sizes, dry=True, people=0.0, programmes=(), climate=Climate())
    before = world.reservoir.volumes[0]
    world.run_until(5 * DAY_S)
    totals, storage = world.totals, juniper.storages[0]
    area_m2 = storage.volume_m3 / storage.full_level_m  # a straight line: one area
    assert world.reservoir.surface_m2() == pytest.approx(area_m2)
    assert 0.003 < totals.evaporated / area_m2 / 5 < 0.009  # 3 to 9 mm a June day, as Hargreaves has it
    change = world.reservoir.volumes[0] - before
    assert change == pytest.approx(-totals.evaporated - totals.drawn, rel=1e-9)
