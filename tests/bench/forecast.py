"""How often the truth falls inside the 80 % bands of the forecasts, over many seeds.

Simulated plants, taken as a black box: a dry season drains the storage, a filter clogs, a tank loses
its air. Each evening's forecast is held against what then happened. A band that is honest holds eight
truths in ten; one that holds all of them is too wide to be of use, which the width tells.

When a filter wanted flushing, or a tank air, is taken from the runs themselves, afterwards: the middle of
seven days' median delivery, of which the forecasts of those evenings knew only the past.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from rich.console import Console
from rich.progress import Progress

from analytics.engine import Engine
from analytics.outlooks.forecast import pinball
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from simulator import library
from simulator.simulation import Simulation

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from analytics.plant.description import Plant
    from analytics.records import Outcome, Outlook
    from simulator.scenario import Scenario

SEEDS = range(501, 517)
SLOW_SEEDS = range(601, 613)
START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z
DAY_US = 86_400_000_000
#: Forecasts of the first days, when little is known, are scored apart.
YOUNG_DAYS = 7
DAYS = 42
SLOW_DAYS, SLOW_FROM_DAY = 35, 6
#: Of the delivery when clean (a filter), of the compliance (air: apparent delivery is then 1 / share).
FLUSH_AT, TOP_UP_AT = 0.75, 0.75
YEAR_DAYS = 366.0
AROUND = 3  # days either side, of which the median is taken for what was true


class Told(NamedTuple):
    """One forecast and what came of it [days]."""

    age: float
    p10: float
    p50: float
    p90: float
    truth: float


def run() -> None:
    """Prints, a forecast a row, the share inside the band and the band's width over the truth."""
    with (
        ProcessPoolExecutor(max_workers=2) as pool,
        Progress(console=Console(stderr=True), transient=True) as progress,
    ):

        def over(seeds: range, one: Callable[[int], list[Told]], name: str) -> list[Told]:
            some = progress.track(pool.map(one, seeds), total=len(seeds), description=name)
            return [told for each in some for told in each]

        told = over(SEEDS, _emptying, "days to empty")
        _row(f"days to empty, first {YOUNG_DAYS} days", [one for one in told if one.age <= YOUNG_DAYS])
        _row("days to empty, later", [one for one in told if one.age > YOUNG_DAYS])
        _row("days to flush filter", over(SLOW_SEEDS, _clogging, "days to flush filter"))
        _row("days to top up air", over(SLOW_SEEDS, _losing_air, "days to top up air"))


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
        f"quantile score {score:.2f} days",
        flush=True,
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
    told: list[Outlook] = []
    for readings, outcome in _days(plant, scenario, seed, DAYS):
        told += [one for one in outcome.outlooks if one.kind == "days_to_empty"]
        mine = readings.signal == level
        low = np.flatnonzero(readings.value[mine] <= storage.outlet_level_m)
        if len(low) > 5:
            return _held(told, int(readings.time_us[mine][low[0]]))
    return []


def _days(plant: Plant, scenario: Scenario, seed: int, days: int) -> Iterator[tuple[Readings, Outcome]]:
    """Each day's readings in SI, and what the engine made of them."""
    simulation, engine = Simulation(plant, scenario, seed, START_US), Engine(plant)
    for _ in range(days):
        batch = simulation.advance(simulation.now_us + DAY_US).in_arrival_order()
        si = batch.value.copy()
        for i, signal in enumerate(plant.signals):
            si[batch.signal == i] = signal.to_si(batch.value[batch.signal == i])
        readings = Readings(batch.signal, batch.time_us, si)
        yield readings, engine.feed(readings)


def _clogging(seed: int) -> list[Told]:
    return _slow("clogged-filter", "days_to_flush_filter", FLUSH_AT, 1.0, seed)


def _losing_air(seed: int) -> list[Told]:
    """In days, as the rest."""
    return _slow("short-cycling", "weeks_to_top_up_air", 1.0 / TOP_UP_AT, 7.0, seed)


def _slow(name: str, kind: str, level: float, unit_days: float, seed: int) -> list[Told]:
    """A fault that comes over weeks; forecasts from its second week on, until delivery passed `level`."""
    plant = parse_plant(library.plant_text("juniper-bench"), "juniper-bench")
    scenario = library.load_scenario(name, plant)
    over_s = (18 + 3 * (seed % 6)) * 86_400.0
    slow = replace(scenario.faults[0], onset="ramp", from_s=SLOW_FROM_DAY * 86_400.0, over_s=over_s)
    scenario = replace(scenario, faults=(slow,), people=2.0 + seed % 3)
    told: list[Outlook] = []
    daily: list[float] = []
    for _, outcome in _days(plant, scenario, seed, SLOW_DAYS):
        kinks = [
            0.5 * (one.delivery_start_m3_s + one.delivery_stop_m3_s)
            for one in outcome.cycles
            if one.delivery_start_m3_s is not None and one.delivery_stop_m3_s is not None
        ]
        daily.append(float(np.median(kinks)) if kinks else float("nan"))
        told += [one for one in outcome.outlooks if one.kind == kind]
    share = np.array(daily) / np.nanmedian(daily[:SLOW_FROM_DAY])
    around = [share[max(k - AROUND, 0) : k + AROUND + 1] for k in range(len(share))]
    known = [some[~np.isnan(some)] for some in around]  # none, of a tank by which no run is measured any more
    smooth = np.array([np.median(some) if len(some) else np.nan for some in known])
    passed = np.flatnonzero(smooth <= level if level < 1.0 else smooth >= level)
    if not len(passed):
        return []
    at_us = START_US + int((passed[0] + 0.5) * DAY_US)
    since_us = START_US + (SLOW_FROM_DAY + 7) * DAY_US
    scaled = [
        replace(
            one,
            p10=unit_days * one.p10,
            p50=_days_or_year(one.p50, unit_days),
            p90=_days_or_year(one.p90, unit_days),
        )
        for one in told
        if one.p10 is not None and one.time_us >= since_us
    ]
    return _held(scaled, at_us)


def _days_or_year(value: float | None, unit_days: float) -> float:
    """A forecast that reaches beyond the year that it looks ahead is taken to its end."""
    return YEAR_DAYS if value is None else unit_days * value


def _held(told: list[Outlook], empty_us: int) -> list[Told]:
    return [
        Told((one.time_us - START_US) / DAY_US, one.p10, one.p50, one.p90, (empty_us - one.time_us) / DAY_US)
        for one in told
        if one.p10 is not None and one.p50 is not None and one.p90 is not None and one.time_us < empty_us
    ]
