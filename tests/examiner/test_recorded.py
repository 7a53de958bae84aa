"""Demand as it was recorded loses no water on its way into a case. The files here are made up."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from tests.examiner import recorded
from tests.examiner.drawing import drawn


def put(folder: Path, name: str, lines: list[str]) -> None:
    path = folder / f"{name}.csv.gz"
    path.parent.mkdir(parents=True, exist_ok=True)
    with gzip.open(path, "wt") as file:
        file.write("\n".join(["a header", *lines]) + "\n")


@pytest.fixture
def homes(tmp_path: Path) -> Path:
    """A flat of 40 days and two homes of a week, each with 30 draws a day."""
    rng = np.random.default_rng(1)
    for tap in recorded.TAPS:
        starts = np.sort(rng.choice(40 * 8640, 240, replace=False)) * 10
        words = [f"{1_550_000_000 + start + k},{100 + k}" for start in starts for k in range(8)]
        put(tmp_path, f"weusedto/{tap}", words)
    for device in recorded.FILLS:
        put(
            tmp_path,
            f"weusedto/{device}",
            [f"{1_550_000_000 + k * 9_000},10.0,{1_550_000_000 + k * 9_000 + 60}" for k in range(380)],
        )
    clock = [f"{k // 900:02d}:{k // 15 % 60:02d}:{k % 15 * 4:02d}" for k in range(21_600)]
    pulses = [f"2019-10-{4 + day:02d} {at},{k % 99 // 97}" for day in range(7) for k, at in enumerate(clock)]
    put(tmp_path, "ciws/site019_4s_pulses", pulses)
    events = [f"2020-07-{1 + k // 30:02d} {k % 24:02d}:10:00,x,2.0,4.0,2.0,0,0,faucet" for k in range(7 * 30)]
    put(tmp_path, "ciws/labelled_events_2020", events)
    return tmp_path


def test_parts_hold_all_the_water_of_the_words() -> None:
    times = np.array([0.0, 1.0, 2.0, 3.0, 50.0, 51.0, *np.arange(100.0, 160.0)])
    flow = np.where(times == 2.0, 0.0, 1e-4 + 1e-6 * times)
    found = recorded.parts(times, flow, 1.0)
    assert sum(length * rate for _, length, rate in found) == pytest.approx(float(flow.sum()))
    assert max(length for _, length, _ in found) <= recorded.PART_S
    assert [start for start, *_ in found] == [0.0, 50.0, 100.0, 120.0, 140.0]


@pytest.mark.parametrize("seed", range(6))
def test_a_case_has_the_days_that_were_recorded(homes: Path, seed: int) -> None:
    demand = recorded.demand(np.random.default_rng(seed), homes, 20)
    assert demand.draws[0][0] >= 0.0
    assert demand.draws[-1][0] < 20 * 86_400.0
    assert 0.05 < demand.daily_m3(20) < 2.0
    assert demand.habits[0].startswith("as recorded: ")
    by_day = np.bincount([int(start // 86_400.0) for start, *_ in demand.draws], minlength=20)
    assert by_day.min() > 0


def test_a_plant_lives_by_it(homes: Path) -> None:
    case = drawn(np.random.default_rng(3), [], 20, changing=False, homes=homes)
    assert case.demand.habits[0].startswith("as recorded: ")
    assert drawn(np.random.default_rng(3), [], 20, changing=False).demand.habits != case.demand.habits
