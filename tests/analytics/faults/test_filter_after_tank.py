"""A filter after the tank, on a plant with a flow meter: made up from q = c sqrt(P) and 1/c'^2 = 1/c^2 + k.

Zones of sprinklers, at another hour every day, and taps; pressure swings through its band all the time.
"""

from __future__ import annotations

from math import sqrt
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.faults import clogged_filter
from analytics.faults.filter_after_tank import FilterAfterTank
from analytics.judging.watch import AllClear, Claim, Known, Word
from analytics.plant.description import Filter, Measure, Plant, PressureTank, Pump, Signal, Switch
from analytics.readings import Readings
from analytics.seeing.beats import BeatFold
from analytics.seeing.parting import part

DAY_S, START_US = 86_400.0, 1_900_022_400_000_000
ZONES = [(1_800.0, 9e-7), (1_200.0, 6e-7)]
PLANT = Plant(
    "made-up", "Made up", "UTC", "metric", 0.0, Pump(500.0, None, 30.0, 20.0, 1.0, Measure.PUMP_RUNNING),
    (
        Signal("pressure", Measure.LINE_PRESSURE, "m/p", "Pa", every_s=10.0),
        Signal("motor", Measure.PUMP_RUNNING, "m/m", None, every_s=10.0),
        Signal("flow", Measure.SUPPLY_FLOW, "m/f", "m3/s", every_s=10.0),
    ),
    Switch(2.1e5, 3.5e5), PressureTank(0.2, 2.0e5), Filter("after_tank"), (),
)  # fmt: skip


def openings(rng: np.random.Generator, at_s: np.ndarray, share: float) -> np.ndarray:
    """What is open through a day, by its seconds; a share of the larger zone is left."""
    grown = (share**-2 - 1.0) / ZONES[0][1] ** 2
    clean = np.zeros(len(at_s))
    from_s = rng.uniform(5.0, 15.0) * 3_600.0
    for for_s, opening in ZONES:
        clean[(at_s >= from_s) & (at_s < from_s + for_s)] += opening
        from_s += for_s + 60.0
    for _ in range(rng.poisson(6)):
        from_s = rng.uniform(6.0, 22.0) * 3_600.0
        clean[(at_s >= from_s) & (at_s < from_s + rng.uniform(60.0, 400.0))] += rng.uniform(0.5e-7, 3e-7)
    return np.asarray(clean / np.sqrt(1.0 + grown * clean**2))


def words(shares: list[float], *, broken_at: int | None = None, gone: str = "") -> list[tuple[float, Word]]:
    """What the detector says, and on which day. A share for every day; `broken_at`: saved and taken up again
    on that day; gone: a signal whose fault stands."""
    rng, detector = np.random.default_rng(1), clogged_filter.detector(PLANT)
    fold = BeatFold(PLANT, [(0, 0.5)])
    standing: set[str] = set()
    known = cast(
        Known,
        SimpleNamespace(
            usual=SimpleNamespace(start_pa=2.1e5, stop_pa=3.5e5),
            is_open=lambda fault, of=None: fault in standing or (fault == "sensor_fault" and of == gone),
        ),
    )
    said = []
    for day, share in enumerate(shares):
        if day == broken_at:
            saved, detector = detector.saved(), clogged_filter.detector(PLANT)
            detector.restore(saved)
        at_s = np.arange(0.0, DAY_S, 10.0)
        pressure = 2.1e5 + 1.4e5 * np.abs(at_s % 240.0 / 120.0 - 1.0)
        flow = openings(rng, at_s, share) * np.sqrt(pressure)
        time_us = START_US + ((day * DAY_S + at_s) * 1e6).astype(np.int64)
        parts = [
            Readings.of(np.full(len(at_s), signal), time_us, value)
            for signal, value in ((0, pressure), (2, flow))
        ]
        for beat in fold.feed(part(Readings.concatenate(parts).in_time_order(), len(PLANT.signals))):
            for word in detector.beat(beat, known):
                said.append((day + (beat.to_us - START_US) / 1e6 % DAY_S / DAY_S, word))
                (standing.discard if isinstance(word, AllClear) else standing.add)(word.fault)
    return said


SLOW = [*[1.0] * 8, *np.linspace(1.0, 0.5, 14).tolist(), *[1.0] * 5]


def test_a_slow_clog_is_claimed_in_time_at_whatever_hours_and_cleared_when_flushed() -> None:
    said = words(SLOW)
    when, first = said[0]
    assert isinstance(first, Claim)
    assert 8.0 < when < 8.0 + 13.0 * 0.6  # 0.7 is left then
    assert first.evidence["draw_clean_m3_s"] == pytest.approx(9e-7 * sqrt(2.8e5), rel=0.05)
    assert "filter after the tank" in first.summary
    cleared = [day for day, word in said if isinstance(word, AllClear)]
    assert len(cleared) == 1
    assert 22.0 < cleared[0] < 24.0
    assert said[-1][0] == cleared[0]


def test_clean_nothing_is_said() -> None:
    assert words([1.0] * 25) == []


def test_saved_and_taken_up_again_it_says_the_same() -> None:
    assert words(SLOW, broken_at=12) == words(SLOW)


def test_a_meter_that_lies_is_not_believed() -> None:
    assert words(SLOW, gone="flow") == []


def test_what_was_saved_before_there_were_meters_is_taken_up() -> None:
    detector = FilterAfterTank(PLANT)
    detector.restore({"clean": [], "newest": [], "large": [], "before": []})
    assert detector.memory.openings.newest == []
