"""How well the findings match what is really wrong, over every scenario and a fixed set of seeds.

Simulated plants only: the figures say how the detectors do on this simulator, whose physics was
written apart from theirs; no threshold was set by them.
"""

from __future__ import annotations

import time
from concurrent.futures import ProcessPoolExecutor

from rich.console import Console
from rich.progress import Progress

from analytics.engine import Engine
from analytics.faults import FAULTS
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from simulator import library
from simulator.simulation import Simulation
from simulator.truth.labels import truths
from simulator.truth.score import NOTHING, Found, Labelled, Score, score

SEEDS = (11, 12)
START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z
CHUNK_US = 6 * 3_600_000_000


def run() -> None:
    """Prints a row a fault, the false findings, and what the simulator and the engine cost."""
    total, simulating_s, analysing_s, days = Score(), 0.0, 0.0, 0.0
    jobs = [(name, seed) for name in library.names() for seed in SEEDS]
    with (
        ProcessPoolExecutor(max_workers=2) as pool,
        Progress(console=Console(stderr=True), transient=True) as progress,
    ):
        task = progress.add_task("scenarios", total=len(jobs))
        for marks, spent in pool.map(_one, *zip(*jobs, strict=True)):
            total += marks
            simulating_s += spent[0]
            analysing_s += spent[1]
            days += spent[2]
            progress.advance(task)
    print(f"{'fault':20}{'found':>7}{'missed':>7}{'false':>7}{'again':>7}  {'delay':>9}  cause right")
    for fault, found, missed, false, again, delay, right in total.rows():
        print(f"{fault:20}{found:7}{missed:7}{false:7}{again:7}  {delay:>9}  {right}")
    for (fault, stood), count in sorted(total.false.items()):
        print(f"  false: {fault} x {count} while there was {stood}")
    for (fault, true, found), count in sorted(total.causes.items()):
        if true != found:
            print(f"  cause: {fault} by {true or 'none'} called {found or 'none'} x {count}")
    _confusion(total)
    false = sum(total.false.values())
    print(f"{false} false findings: {false / days * 365.25:.1f} a plant-year, faults standing or not")
    print(f"{days:.0f} plant-days; simulated {days * 86_400 / simulating_s:,.0f} times as fast as they last,")
    print(f"analysed {days * 86_400 / analysing_s:,.0f} times")


def _confusion(total: Score) -> None:
    """Truth by finding: a row what was wrong, a column what was said of it. Off the diagonal is a mistake."""
    names = [*FAULTS, NOTHING]
    true = [name for name in names if any(pair[0] == name for pair in total.confusion)]
    said = [name for name in names if any(pair[1] == name for pair in total.confusion)]
    letters = dict(zip(said, "abcdefghijklmnopqrst", strict=False))
    print("\ntruth, a row, and what was found, a column:")
    print(f"{'':20}" + "".join(f"{letters[name]:>5}" for name in said))
    for row in true:
        counts = (total.confusion[row, column] for column in said)
        print(f"{row:20}" + "".join(f"{count or '.':>5}" for count in counts))
    print("  " + ", ".join(f"{letters[name]} {name}" for name in said) + "\n")


def _one(name: str, seed: int) -> tuple[Score, tuple[float, float, float]]:
    """Marks of one scenario and seed, and (simulating [s], analysing [s], days)."""
    plant = parse_plant(library.plant_text("juniper-bench"), "juniper-bench")
    scenario = library.load_scenario(name, plant)
    simulation, engine, found = Simulation(plant, scenario, seed, START_US), Engine(plant), {}
    until_us = START_US + round(scenario.days * 86_400e6)
    simulating_s = analysing_s = 0.0
    while simulation.now_us < until_us:
        began = time.process_time()
        batch = simulation.advance(min(simulation.now_us + CHUNK_US, until_us))
        simulating_s += time.process_time() - began
        began = time.process_time()
        si = batch.value.copy()
        for i, signal in enumerate(plant.signals):
            si[batch.signal == i] = signal.to_si(batch.value[batch.signal == i])
        for finding in engine.feed(Readings.of(batch.signal, batch.time_us, si)).findings:
            found[finding.key] = finding
        analysing_s += time.process_time() - began
    for finding in engine.finish().findings:
        found[finding.key] = finding
    labelled = [
        Labelled(t.fault, t.cause, t.of, t.from_us, t.symptomatic_us, t.until_us, t.follows)
        for t in truths(simulation)
    ]
    marks = score(labelled, [Found(f.fault, f.cause, f.of, f.raised_us) for f in found.values()])
    return marks, (simulating_s, analysing_s, scenario.days)
