"""Our detection beside a general drift detector and a change-point search, on the same run times.

What a programmer would reach for: ADWIN and Page-Hinkley (river) hear each cycle's run time as it
comes; PELT (ruptures) sees the whole series afterwards. The plant is simulated and healthy but for a
repeat of the same weeks with a filter that clogs from a known day. Heavy days, guests and drip lines
move run times as much as faults do: that is what the false alarms show.

Of our findings those count that are told from pressure and runs; an overflow or a low tank is not the
run times' to show. A year of a healthy plant is stood for by WEEKS of each of SEEDS plants, so that
the bench ends within minutes; false alarms are told a plant-year.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from river.drift import ADWIN, PageHinkley
from ruptures import Pelt

from analytics.engine import Engine
from analytics.judging.arbitration import BY_PRESSURE
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from simulator import library
from simulator.onset import FaultPlan
from simulator.simulation import Simulation

SEEDS = (601, 602, 603, 604)
WEEKS = 4
FAULT_DAY = 14.0
START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z
DAY_US = 86_400_000_000
CLOG = FaultPlan("clogged_filter", severity=0.7, from_s=FAULT_DAY * 86_400, onset="ramp", over_s=5 * 86_400)


class Series(NamedTuple):
    """Cycles of one simulated stretch, and what our engine made of the readings."""

    stop_day: NDArray[np.float64]
    run_time_s: NDArray[np.float64]
    raised_day: list[float]
    engine_s: float


class Alarms(NamedTuple):
    false: int
    delay_days: list[float]
    spent_s: float


def run() -> None:
    """Prints a row a method: false alarms a healthy plant-year, delay to the clog, time taken."""
    jobs = [(seed, clogs) for seed in SEEDS for clogs in (False, True)]
    with ProcessPoolExecutor(max_workers=2) as pool:
        made = dict(zip(jobs, pool.map(_series, *zip(*jobs, strict=True)), strict=True))
    healthy = [made[seed, False] for seed in SEEDS]
    clogged = [made[seed, True] for seed in SEEDS]
    years = len(SEEDS) * WEEKS * 7 / 365.25
    cycles = sum(len(one.run_time_s) for one in (*healthy, *clogged))
    print(f"{years:.2f} healthy plant-years, and as much with a filter clogging from day {FAULT_DAY:.0f};")
    print(f"{cycles} cycles")
    print(f"{'method':34}{'false a year':>14}{'found':>8}{'delay (median)':>16}{'time':>10}")
    for name, hear in METHODS.items():
        calm = [_held(one, hear, None) for one in healthy]
        _row(name, calm, [_held(one, hear, FAULT_DAY) for one in clogged], years)


def _row(name: str, healthy: list[Alarms], clogged: list[Alarms], years: float) -> None:
    false = sum(one.false for one in healthy) / years
    delays = [min(one.delay_days) for one in clogged if one.delay_days]
    spent = sum(one.spent_s for one in (*healthy, *clogged))
    delay = f"{np.median(delays):.1f} days" if delays else "-"
    print(f"{name:34}{false:14.1f}{len(delays):5}/{len(clogged)}{delay:>16}{spent:9.2f}s")


def _held(series: Series, hear: Callable[[Series], list[float]], fault_day: float | None) -> Alarms:
    began = time.process_time()
    alarms = hear(series)
    spent = time.process_time() - began
    if hear is _ours:
        spent = series.engine_s
    if fault_day is None:
        return Alarms(len(alarms), [], spent)
    return Alarms(0, [day - fault_day for day in alarms if day >= fault_day], spent)


def _ours(series: Series) -> list[float]:
    return series.raised_day


def _adwin(series: Series) -> list[float]:
    return _streamed(series, ADWIN())


def _page(series: Series) -> list[float]:
    return _streamed(series, PageHinkley(threshold=50.0 * float(np.std(series.run_time_s[:24]))))


def _streamed(series: Series, detector: ADWIN | PageHinkley) -> list[float]:
    alarms = []
    for day, value in zip(series.stop_day.tolist(), series.run_time_s.tolist(), strict=True):
        detector.update(value)
        if detector.drift_detected:
            alarms.append(day)
    return alarms


def _pelt(series: Series) -> list[float]:
    """Change points of the mean, with a penalty of Bayes' criterion for the scatter of the first day."""
    value = series.run_time_s
    noise = float(np.median(np.abs(np.diff(value)))) / 0.954
    penalty = 3.0 * np.log(len(value)) * noise**2
    breaks = Pelt(model="l2", min_size=8, jump=1).fit(value.reshape(-1, 1)).predict(pen=penalty)
    return [float(series.stop_day[at]) for at, _ in pairwise(breaks)]


METHODS: dict[str, Callable[[Series], list[float]]] = {
    "holdwater, from the readings": _ours,
    "ADWIN (river), run times": _adwin,
    "Page-Hinkley (river), run times": _page,
    "PELT (ruptures), run times": _pelt,
}


def _series(seed: int, clogs: bool) -> Series:
    plant = parse_plant(library.plant_text("juniper-bench"), "juniper-bench")
    scenario = replace(library.load_scenario("healthy", plant), faults=(CLOG,) if clogs else ())
    simulation, engine = Simulation(plant, scenario, seed, START_US), Engine(plant)
    stop, ran, raised, spent = [], [], {}, 0.0
    for _ in range(7 * WEEKS):
        batch = simulation.advance(simulation.now_us + DAY_US).in_arrival_order()
        si = batch.value.copy()
        for i, signal in enumerate(plant.signals):
            si[batch.signal == i] = signal.to_si(batch.value[batch.signal == i])
        began = time.process_time()
        outcome = engine.feed(Readings(batch.signal, batch.time_us, si))
        spent += time.process_time() - began
        stop += [(cycle.stop_us - START_US) / DAY_US for cycle in outcome.cycles]
        ran += [cycle.run_time_s for cycle in outcome.cycles]
        raised |= {
            finding.key: (finding.raised_us - START_US) / DAY_US
            for finding in outcome.findings
            if finding.fault in BY_PRESSURE
        }
    return Series(np.array(stop), np.array(ran), sorted(raised.values()), spent)
