"""Where the runs' pressures stand, on a tank that is filled and emptied here second by second.

The tank is between cut-in and cut-out a straight line in water; where it is charged above cut-in, or the
switch's cut-in has moved up, a run begins at FOOT of the band. An overcharged tank collapses from there to
the plate's cut-in within a second, before the motor starts. Sampled each `every_s`, at a random phase.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.judging.footing import (
    BEATS,
    FEW,
    KEPT,
    Footing,
    Said,
    judged,
    note_beat,
    note_run,
    seen_below,
)
from analytics.records import Cycle
from analytics.seeing.beats import BEAT_US, Span
from analytics.seeing.events import Run
from analytics.seeing.water import Water

LOW, WIDE, FOOT = 200_000.0, 140_000.0, 0.5
BAND = (LOW, WIDE)
WATER = cast(Water, SimpleNamespace(between_m3=lambda low, high: 0.03 * (high - low) / WIDE))
RUN_S, REST_S = 90, 110
START_US = 3_000_000 * BEAT_US


def day(
    foot: float, *, dips: bool, hours: float = 5.0, every_s: float = 15.0, seed: int = 0, wild: float = 0.0
) -> Footing:
    """Hours of a cycling pump as the judgement takes them up; `wild`: share of samples that are about cut-in
    for no reason."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(rng.uniform(0.0, every_s), hours * 3_600.0, every_s)
    within = time_s % (RUN_S + REST_S)
    filling = np.minimum(within / RUN_S, 1.0)
    emptying = np.maximum(within - RUN_S, 0.0) / REST_S
    share = foot + (1.0 - foot) * (filling - emptying)
    if dips:
        share = np.where(within > RUN_S + REST_S - 1.0, 0.0, share)
    pressure = LOW + WIDE * (share + 0.005 * rng.standard_normal(len(share)))
    # at rest, where the pump does not start after them
    odd = (rng.random(len(share)) < wild) & (within > RUN_S + 25.0) & (within < RUN_S + REST_S - 25.0)
    pressure[odd] = LOW + WIDE * rng.uniform(-0.3, 0.1, int(odd.sum()))
    footing = Footing()
    beats = int(hours * 3_600e6 // BEAT_US)
    runs = [(at, at + RUN_S) for at in range(0, int(hours * 3_600) - RUN_S, RUN_S + REST_S)]
    for beat in range(beats):
        to_s = (beat + 1) * BEAT_US / 1e6
        while runs and runs[0][1] < to_s:
            start, stop = runs.pop(0)
            inside = pressure[(time_s >= start) & (time_s < stop)]
            note_run(footing, run(start, float(inside.min()), every_s), BAND)
        within_beat = (time_s >= to_s - BEAT_US / 1e6) & (time_s < to_s)
        heard = span(pressure[within_beat], START_US + (1e6 * time_s[within_beat]).astype(np.int64))
        note_beat(footing, heard, START_US + int(1e6 * to_s), BAND)
    return footing


def run(start_s: float, lowest_pa: float, every_s: float, entire: bool = True) -> Run:
    start_us = START_US + int(1e6 * start_s)
    cycle = Cycle(start_us, start_us + RUN_S * 1_000_000, float(RUN_S), float(REST_S))
    return Run(cycle.stop_us, cycle, entire, every_s, pressure_low_pa=lowest_pa)


def span(value: np.ndarray, times: np.ndarray | None = None) -> Span:
    if not len(value):
        value, times = np.array([LOW]), None
    low, high, mean = float(value.min()), float(value.max()), float(value.mean())
    times = np.arange(len(value), dtype=np.int64) if times is None else times
    return Span(len(value), 0, low, high, mean, value[0], value[-1], times, value, 0, len(value))


@pytest.mark.parametrize("every_s", [5.0, 15.0, 30.0])
def test_a_whole_band_is_never_taken_for_a_raised_one(every_s: float) -> None:
    """Forty days of a cycling pump each; CHANCE says one in ten thousand looks."""
    said = [judged(day(0.0, dips=False, every_s=every_s, seed=seed), BAND, WATER) for seed in range(40)]
    assert {one.stands for one in said} <= {"whole", "unknown"}


@pytest.mark.parametrize("every_s", [10.0, 15.0, 25.0])
def test_a_foot_that_stands_off_is_seen_and_where(every_s: float) -> None:
    for seed in range(10):
        said = judged(day(FOOT, dips=True, hours=8.0, every_s=every_s, seed=seed), BAND, WATER)
        assert said.stands in {"overcharged", "raised", "either"}
        assert said.chance < 1e-3
        assert said.foot == pytest.approx(FOOT, abs=0.12)


def test_wild_words_between_the_runs_are_no_dips() -> None:
    """Six of a thousand, as low as a collapse: the pump starts at none of them, so the cut-in has moved."""
    said = [
        judged(day(FOOT, dips=False, hours=8.0, every_s=10.3, seed=seed, wild=0.006), BAND, WATER)
        for seed in range(20)
    ]
    assert "overcharged" not in {one.stands for one in said}


def test_dips_between_the_runs_are_an_overcharged_tanks() -> None:
    """Sampled out of step with the cycle: in step, every dip may be missed, as no real demand keeps it."""
    said = [
        judged(day(FOOT, dips=True, hours=8.0, every_s=10.3, seed=seed), BAND, WATER) for seed in range(20)
    ]
    kinds = [one.stands for one in said]
    assert kinds.count("overcharged") >= 15  # of 14 dips to be expected two are asked for
    assert "whole" not in kinds


def test_a_cut_in_that_has_moved_shows_no_dip() -> None:
    """Eight hours, and dips to be expected of an overcharge: two at least."""
    for seed in range(20):
        said = judged(day(FOOT, dips=False, hours=8.0, every_s=10.0, seed=seed), BAND, WATER)
        assert said.stands == "raised"
        assert said.missed > 2.0


def test_few_runs_say_nothing() -> None:
    footing = Footing()
    for at in range(FEW - 1):
        note_run(footing, run(200.0 * at, LOW + 0.6 * WIDE, 15.0), BAND)
    assert judged(footing, BAND, WATER) == Said("unknown")


def test_runs_that_cannot_tell_are_left_out() -> None:
    footing = Footing()
    note_run(footing, run(0.0, LOW, 1.0), BAND)  # sampled finely: its start is seen
    note_run(footing, run(0.0, LOW, 15.0, entire=False), BAND)
    assert footing.runs == []


def test_what_is_kept_is_bounded() -> None:
    footing = day(0.0, dips=False, hours=60.0)
    assert len(footing.runs) == KEPT
    assert len(footing.beats) <= BEATS


def test_a_drop_out_is_no_dip() -> None:
    """Nought of a reading that was lost is no collapse to cut-in."""
    footing = Footing()
    note_run(footing, run(0.0, LOW + 0.6 * WIDE, 15.0), BAND)
    note_beat(footing, span(np.array([0.0, LOW + 0.7 * WIDE])), START_US + BEAT_US, BAND)
    note_beat(footing, span(np.array([0.0, 0.0])), START_US + 2 * BEAT_US, BAND)
    assert [round(one[1], 6) for one in footing.beats] == [0.7]


def test_seen_below_a_pressure_that_is_taken_for_the_cut_in() -> None:
    footing = day(0.0, dips=False)
    assert seen_below(footing, LOW + FOOT * WIDE, BAND)
    assert not seen_below(footing, LOW, BAND)


def test_runs_before_a_fault_began_are_not_asked() -> None:
    footing = day(FOOT, dips=False, hours=8.0)
    assert judged(footing, BAND, WATER, since_us=footing.runs[-2][0]).stands == "unknown"
