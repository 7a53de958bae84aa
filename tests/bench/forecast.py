"""How often the truth falls inside the 80 % bands of the forecasts, over many seeds.

Simulated plants, taken as a black box: a dry season drains the storage, a filter clogs, a tank loses
its air. Each evening's forecast is held against what then happened. A band that is honest holds eight
truths in ten; one that holds all of them is too wide to be of use, which the width tells.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from analytics.engine import Engine
from analytics.outlooks.forecast import pinball
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from analytics.records import Outlook
from simulator import library
from simulator.simulation import Simulation

SEEDS = range(501, 517)
START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z
DAY_US = 86_400_000_000
#: Forecasts of the first days, when little is known, are scored apart.
YOUNG_DAYS = 7
DAYS = 42


class Told(NamedTuple):
    """One forecast and what came of it [days]."""

    age: float
    p10: float
    p50: float
    p90: float
    truth: float


def run() -> None:
    """Prints, for days to empty, the share inside the band and the band's width over the truth."""
    with ProcessPoolExecutor(max_workers=2) as pool:
        told = [one for some in pool.map(_emptying, SEEDS) for one in some]
    for name, chosen in (
        (f"first {YOUNG_DAYS} days", [one for one in told if one.age <= YOUNG_DAYS]),
        ("later", [one for one in told if one.age > YOUNG_DAYS]),
    ):
        _row(f"days to empty, {name}", chosen)


def _row(name: str, told: list[Told]) -> None:
    if not told:
        print(f"{name:28} no forecast met its truth")
        return
    _, low, middle, high, truth = np.array(told).T
    inside = np.mean((truth >= low) & (truth <= high))
    below, above = np.mean(truth < low), np.mean(truth > high)
    score = pinball(truth, low, 0.1) + pinball(truth, middle, 0.5) + pinball(truth, high, 0.9)
    print(
        f"{name:28} {len(told):4} forecasts, {inside:4.0%} inside the 80 % band ({below:.0%} sooner, "
        f"{above:.0%} later), width {np.median((high - low) / truth):.2f} of the truth, "
        f"quantile score {score:.2f} days"
    )


def _emptying(seed: int) -> list[Told]:
    """A dry season from a full tank to its outlet, or DAYS of it."""
    plant = parse_plant(library.plant_text("juniper-bench"), "juniper-bench")
    level = next(i for i, signal in enumerate(plant.signals) if signal.measures.value == "storage_level")
    scenario = replace(
        library.load_scenario("healthy", plant), dry=True, storage_share=0.98, people=2.0 + seed % 4,
        faults=(),
    )  # fmt: skip
    storage = plant.storages[0]
    simulation, engine = Simulation(plant, scenario, seed, START_US), Engine(plant)
    told: list[Outlook] = []
    for _ in range(DAYS):
        batch = simulation.advance(simulation.now_us + DAY_US).in_arrival_order()
        si = batch.value.copy()
        for i, signal in enumerate(plant.signals):
            si[batch.signal == i] = signal.to_si(batch.value[batch.signal == i])
        outcome = engine.feed(Readings(batch.signal, batch.time_us, si))
        told += [one for one in outcome.outlooks if one.kind == "days_to_empty"]
        mine = batch.signal == level
        low = np.flatnonzero(si[mine] <= storage.outlet_level_m)
        if len(low) > 5:
            return _held(told, int(batch.time_us[mine][low[0]]))
    return []


def _held(told: list[Outlook], empty_us: int) -> list[Told]:
    return [
        Told((one.time_us - START_US) / DAY_US, one.p10, one.p50, one.p90, (empty_us - one.time_us) / DAY_US)
        for one in told
        if one.p10 is not None and one.p50 is not None and one.p90 is not None and one.time_us < empty_us
    ]
