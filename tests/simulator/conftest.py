"""Plants, scenarios and short runs that the simulator's tests share."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.scenario import Scenario
from simulator.sensing.trace import Trace
from simulator.works.world import World

sys.path.insert(0, str(Path(__file__).parent))

import plants

START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z
DAY_S = 86_400.0


@pytest.fixture(scope="session")
def juniper() -> Plant:
    return plants.juniper()


@pytest.fixture(scope="session")
def bare() -> Plant:
    return plants.bare()


def world_of(plant: Plant, *faults: FaultPlan, seed: int = 3, **changes: object) -> World:
    """A world under a scenario with these faults and changes."""
    return World(plant, Scenario("test", "test", faults=faults, **changes), seed, START_US)  # type: ignore[arg-type]


def ran(world: World, days: float) -> Trace:
    """What happened in so many days."""
    world.run_until(days * DAY_S)
    return Trace(world.take_pieces(), world.hardware)


def runs(trace: Trace) -> np.ndarray:
    """(start, stop) of each finished motor run [s], shape (N, 2)."""
    since, ends = trace["run_since"], trace["t1"]
    last = ~np.isnan(since[:-1]) & (np.isnan(since[1:]) | (since[1:] != since[:-1]))
    return np.column_stack([since[:-1][last], ends[:-1][last]])
