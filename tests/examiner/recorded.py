"""Demand as it was measured in real homes: `--recorded ../shared/reference/open-data`.

Sources, neither of which is committed here; the folder's READMEs say where each file is from:
    ciws       two homes in Utah by pulses of their meters: one of them five days, each 4 s, the other two
               weeks of events with its lawn (github.com/UCHIC/CIWS-Data, CIWS-VisChallenge; BSD-3-Clause)
    weusedto   a flat in Naples, twenty months by each tap of its own (github.com/AnnaDiMauro/WEUSEDTO-Data,
               CC BY 4.0: Di Mauro, Venticinque, Santonastaso, Di Nardo)

The flat is taken one to four times over, other months of it each; the homes by whole days in any order.
What a plant's pump cannot give is capped, as `Demand.between` does: such a home had a larger supply.
"""

from __future__ import annotations

import csv
import gzip
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from tests.examiner.demand import Demand
from tests.examiner.physics import Array

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.random import Generator

DAY_S = 86400.0
US_GAL_M3 = 3.785412e-3
PULSE_M3 = 0.041619 * US_GAL_M3  # of site 019's meter
PART_S = 20.0  # a draw is cut into parts of so long, so that its course stays
LEAST_M3 = 2e-6  # the flat's smallest events are the meters' own
TAPS = ("bidet", "kitchenfaucet", "shower", "washbasin", "washingmachine")
FILLS = {"toilet": 60.0, "dishwasher": 90.0}  # told as litres alone: so long a fill takes, from memory

Draw = tuple[float, float, float]  # start [s], length [s], rate [m3/s]


def demand(rng: Generator, folder: Path, days: int) -> Demand:
    """A demand for a whole case, out of what was recorded."""
    kind = str(rng.choice(["flats", "home", "home and flats", "home with a lawn"]))
    draws: list[Draw] = []
    if "flat" in kind:
        flat = _flat(folder)
        for _ in range(int(rng.integers(1, 5))):
            first = flat[0][0] + DAY_S * int(rng.uniform(0.0, (flat[-1][0] - flat[0][0]) / DAY_S - days))
            draws += _between(flat, first, days * DAY_S, 0.0)
    if "home" in kind:
        home = _lawn(folder) if "lawn" in kind else _home(folder)
        midnight = home[0][0] - home[0][0] % DAY_S
        whole = int((home[-1][0] - midnight) // DAY_S)  # the last day is not
        for day in range(days):
            draws += _between(home, midnight + DAY_S * int(rng.integers(1, whole)), DAY_S, day * DAY_S)
    draws = [draw for draw in draws if draw[1] * draw[2] > LEAST_M3]
    return Demand(sorted(draws), [f"as recorded: {kind}"])


def _between(draws: list[Draw], first_s: float, lasts_s: float, as_from_s: float) -> list[Draw]:
    return [
        (start - first_s + as_from_s, length, rate)
        for start, length, rate in draws
        if first_s <= start < first_s + lasts_s
    ]


@cache
def _home(folder: Path) -> list[Draw]:
    rows = list(_rows(folder / "ciws" / "site019_4s_pulses.csv.gz"))
    times = np.array([_seconds(row[0]) for row in rows])
    return parts(times, np.array([float(row[1]) for row in rows]) * PULSE_M3 / 4.0, 4.0)


@cache
def _lawn(folder: Path) -> list[Draw]:
    found = []
    for row in _rows(folder / "ciws" / "labelled_events_2020.csv.gz"):
        length = max(float(row[2]) * 60.0, 4.0)
        found.append((_seconds(row[0]), length, float(row[3]) * US_GAL_M3 / length))
    return sorted(found)


@cache
def _flat(folder: Path) -> list[Draw]:
    found = []
    for tap in TAPS:
        rows = list(_rows(folder / "weusedto" / f"{tap}.csv.gz"))
        times, flow = (np.array([float(row[k]) for row in rows]) for k in (0, 1))
        found += parts(times, flow * 1e-6, 1.0)
    for device, length in FILLS.items():
        for row in _rows(folder / "weusedto" / f"{device}.csv.gz"):
            found.append((float(row[0]), length, float(row[1]) * 1e-3 / length))
    return sorted(found)


def parts(times: Array, flow: Array, step_s: float) -> list[Draw]:
    """Words of a meter as draws of PART_S at most: (N,) times [s], (N,) flow [m3/s] each for `step_s`.

    Words of nothing are the meter's signs of life, and silence is nothing drawn. No water is lost or won.
    """
    times, flow = times[flow > 0.0], flow[flow > 0.0]
    found: list[Draw] = []
    first = 0
    for at in range(1, len(times) + 1):
        over = at == len(times) or times[at] - times[at - 1] > 3.0 * step_s
        if over or times[at] - times[first] >= PART_S:
            length = float(times[at - 1] - times[first]) + step_s
            found.append((float(times[first]), length, float(flow[first:at].sum()) * step_s / length))
            first = at
    return found


def _rows(path: Path) -> Iterator[list[str]]:
    with gzip.open(path, "rt") as file:
        rows = csv.reader(file)
        next(rows)
        yield from rows


def _seconds(local: str) -> float:
    """A local time as if it were UTC's: its hours of the day are what counts."""
    return datetime.fromisoformat(local).replace(tzinfo=UTC).timestamp()
