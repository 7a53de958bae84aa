"""A made-up fortnight for the dashboard's tests: the shape of readings, not their physics.

The pump rests and runs by the clock, the pressure is a saw-tooth, the store falls evenly. Nothing
here is used to judge an analysis.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analytics.readings import Readings
from analytics.records import Cycle, Finding, Outlook
from collector.plantfile import load_plant
from collector.store.shapes import Batch
from collector.store.writing import Writer

if TYPE_CHECKING:
    from analytics.plant.description import Plant

PLANT_FILE = Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml"
PSI = 6894.757293168361
GPM = 3.785411784e-3 / 60
GAL = 3.785411784e-3
REST_S, RUN_S = 840, 72
S_US = 1_000_000
DAY_S = 86_400


def juniper() -> Plant:
    return load_plant(PLANT_FILE)


def saw(time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(pressure [psi], current [A]) at epoch seconds."""
    into = time_s % (REST_S + RUN_S)
    falling = 50 - 20 * into / REST_S
    rising = 30 + 20 * (into - REST_S) / RUN_S
    runs = into >= REST_S
    return np.where(runs, rising, falling).round(1), np.where(runs, 5.8, 0.02)


def cycles(begin_s: int, end_s: int) -> list[Cycle]:
    """The runs that ended between two instants; nights are left quiet for the sake of the picture."""
    first = begin_s - begin_s % (REST_S + RUN_S)
    found = []
    for start in range(first + REST_S, end_s - RUN_S, REST_S + RUN_S):
        wobble = 1 + 0.04 * np.sin(start)
        found.append(
            Cycle(
                start * S_US,
                (start + RUN_S) * S_US,
                RUN_S * wobble,
                float(REST_S),
                30 * PSI,
                50 * PSI,
                10.9 * GAL,
                9.2 * GPM * wobble,
                7.9 * GPM,
                0.8 * GPM,
                8.6 * GPM * wobble,
                5.8,
                1.4 * PSI,
            )
        )
    return found


def readings(plant: Plant, begin_s: int, end_s: int, step_s: int = 1) -> Readings:
    """Stored values of pressure, motor, discharge, level and air between two instants."""
    t = np.arange(begin_s, end_s, step_s)
    pressure, current = saw(t)
    slow = t[:: max(1, 60 // step_s)]
    level = 62 - 1.6 * (slow - end_s) / DAY_S
    air = 52 + 14 * np.sin(slow / DAY_S * 2 * np.pi)
    named = {
        "pressure": (t, pressure),
        "motor": (t, current),
        "discharge": (t, pressure + np.where(current > 1, 1.4, 0)),
        "rain tank": (slow, level.round(1)),
        "air": (slow, air.round(1)),
        "rain": (slow, slow * 0.0),
        "supply salt": (slow, 310 + slow * 0.0),
    }
    parts = [
        Readings.of(np.full(len(times), plant.index(name)), times * S_US, values)
        for name, (times, values) in named.items()
    ]
    return Readings.concatenate(parts).in_time_order()


def outlooks(at_us: int) -> list[Outlook]:
    return [
        Outlook("days_to_empty", "rain", at_us, 8.0, 11.0, 15.0),
        Outlook("days_to_flush_filter", None, at_us, 24.0, 36.0, 60.0),
        Outlook("delivery_cut_in_m3_s", None, at_us, 9.0 * GPM, 9.1 * GPM, 9.3 * GPM),
        Outlook("drawdown_m3", None, at_us, 10.6 * GAL, 10.9 * GAL, 11.2 * GAL),
        Outlook("air_charge_pa", None, at_us, 27 * PSI, 28 * PSI, 29 * PSI),
        Outlook("demand_m3_day", None, at_us, 150 * GAL, 180 * GAL, 230 * GAL),
        Outlook("night_flow_m3_s", None, at_us, 0.0, 0.0, 0.0),
    ]


def clogged(at_us: int, *, cleared_us: int | None = None) -> Finding:
    return Finding(
        "clogged_filter",
        None,
        at_us - 3_600 * S_US,
        at_us - 3 * DAY_S * S_US,
        "medium",
        0.94,
        "The pump delivers 5.6 of its 9.4 gpm at every pressure, and the filter takes 9 psi of it. "
        "Runs have grown from 72 to 121 s.",
        None,
        cleared_us,
        {"delivery_mid_m3_s": 5.6 * GPM, "expected_delivery_mid_m3_s": 9.4 * GPM, "run_time_s": 121.0},
    )


def commit(folder: Path, plant: Plant, fresh: Readings, **records: object) -> None:
    """One commit by a writer that comes and goes."""
    with Writer(folder, plant) as writer:
        writer.commit(Batch(writer.admit(fresh), snapshot=b"none", **records))  # type: ignore[arg-type]


def fill(
    folder: Path, at_s: int, days: float = 14.0, findings: tuple[Finding, ...] = (), coarse_s: int = 10
) -> Plant:
    """A healthy stretch up to `at_s`, coarse but for the last hours."""
    plant = juniper()
    begin = at_s - int(days * DAY_S)
    close = max(begin, at_s - 6 * 3600)
    whole = Readings.concatenate([readings(plant, begin, close, coarse_s), readings(plant, close, at_s)])
    told = {
        "cycles": cycles(max(begin, at_s - 14 * DAY_S), at_s),
        "outlooks": outlooks(at_s * S_US),
        "findings": list(findings),
    }
    commit(folder, plant, whole, **told)
    return plant
