"""Runs that few samples met, together: what they say of the band, and of how long they last."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.faults.short_cycling import CyclingMemory
from analytics.judging.cycling_cause import Verdict
from analytics.judging.cycling_run import Seen, see
from analytics.judging.cycling_series import KEPT, ends_lower, odd, short_on_the_mean, spans_the_band
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces

EVERY_S = 10.0


def sampled(
    count: int, run_s: float, foot: float, top: float, seed: int, collapse_s: float = 0.0
) -> list[Seen]:
    """Runs from `foot` to `top` (shares of the band), sampled each ten seconds with phases of their own. The
    start is met by the rest's line, or, `collapse_s` of each rest, at the very cut-in."""
    rng, seen = np.random.default_rng(seed), []
    for start_s in np.cumsum(rng.integers(60, 3000, count)):
        into_s = rng.uniform(0.0, min(EVERY_S, run_s))
        last_s = into_s + EVERY_S * ((run_s - into_s) // EVERY_S)
        ends = foot + (top - foot) * last_s / run_s
        met = rng.random() < collapse_s / EVERY_S
        begins = (0.0 if met else foot) + 0.03 * rng.standard_normal()
        words_s = EVERY_S * max(round(run_s / EVERY_S + rng.uniform(-0.5, 0.5)), 1)
        seen.append(
            Seen(
                int(start_s * 1e6), int((start_s + run_s) * 1e6), words_s, True, None, None, None, None, True,
                up=begins, top=1.0 - ends, interval_s=EVERY_S, edges_s=EVERY_S,
            )
        )  # fmt: skip
    return seen


def test_a_stop_that_no_sample_met_is_no_lower_one() -> None:
    """Runs of 20 s: the last sample of half of them lies more than a fifth of the band below the stop."""
    whole = [ends_lower(sampled(12, 20.0, 0.0, 1.0, seed)) for seed in range(200)]
    lower = [ends_lower(sampled(24, 20.0, 0.0, 0.6, seed)) for seed in range(200)]
    assert sum(whole) <= 2
    assert sum(lower) > 190


def test_one_wild_word_hides_no_lower_stop() -> None:
    runs = sampled(24, 20.0, 0.0, 0.6, 1)
    runs[5].top = -0.4
    assert ends_lower(runs)


def test_runs_that_begin_at_cut_in_again_and_again_stand_on_no_charge() -> None:
    assert sum(spans_the_band(sampled(12, 20.0, 0.0, 1.0, seed)) for seed in range(200)) > 190
    charged = [spans_the_band(sampled(12, 20.0, 0.6, 1.0, seed, collapse_s=2.0)) for seed in range(200)]
    assert sum(charged) <= 2


def test_runs_whose_stop_was_never_met_do_not_span_the_band() -> None:
    assert not spans_the_band(sampled(12, 20.0, 0.0, 0.6, 1))


@pytest.mark.parametrize(("starts", "short"), [((0, 6, 12, 18, 24), False), ((0, 6, 19, 30, 52), True)])
def test_runs_that_keep_step_with_the_samples_are_one_chance(starts: tuple[int, ...], short: bool) -> None:
    """The motor stands 45 s; runs of that length, each 180 s, may all be met by one word each 30 s. Five that
    come at odds with the samples are too short together."""
    plant = traces.plant(pump=replace(traces.plant().pump, min_run_time_s=45.0))
    met_s = [30.0 * at for at in starts]
    runs = [
        Seen(int(at * 1e6), int(at * 1e6 + 3e7), 30.0, True, None, None, None, None, True, edges_s=30.0)
        for at in met_s
    ]
    assert short_on_the_mean(runs, plant) is short


def test_a_cause_that_most_runs_told_is_not_changed_by_a_few_in_a_row() -> None:
    memory = CyclingMemory()
    for _ in range(3 * KEPT):
        memory.take(Verdict("overcharged_tank", 0.9))
    for _ in range(2 * KEPT):
        memory.take(Verdict("undersized_tank", 0.85))
    assert memory.cause == "overcharged_tank"
    for _ in range(2 * KEPT):
        memory.take(Verdict("undersized_tank", 0.85))
    assert memory.cause == "undersized_tank"


@pytest.mark.parametrize(("run_s", "short"), [(30.0, True), (40.0, False)])
def test_three_words_of_a_motor_each_ten_seconds_are_less_than_forty_seconds(
    run_s: float, short: bool
) -> None:
    """Three words of "on" between two of "off" lie within less than four spacings."""
    plant = traces.plant(pump=replace(traces.plant().pump, min_run_time_s=40.0))
    water = Water.of(plant)
    cycle = Cycle(0, int(run_s * 1e6), run_s, 900.0, 30 * traces.PSI, 50 * traces.PSI)
    seen = see(Run(0, cycle, True, 10.0), plant, reference(plant, water, Signature()), water)
    assert seen.short is short


@pytest.mark.parametrize(("pressure_s", "told"), [(1.0, True), (10.0, False)])
def test_pressure_each_second_tells_a_short_run_that_the_motor_each_ten_hardly_meets(
    pressure_s: float, told: bool
) -> None:
    """Its turning points are the run's edges, and two dozen samples lie between them."""
    plant = traces.plant()
    water = Water.of(plant)
    cycle = Cycle(
        0, 25_000_000, 25.0, 900.0, 30 * traces.PSI, 50 * traces.PSI, delivery_mid_m3_s=2e-3, demand_m3_s=0.0
    )
    run = Run(0, cycle, True, 10.0, pressure_s=pressure_s)
    seen = see(run, plant, reference(plant, water, Signature()), water)
    assert (seen.apparent is not None) is told


@pytest.mark.parametrize(("rest_s", "told"), [(12.0, False), (60.0, True)])
def test_a_rest_of_two_words_does_not_tell_where_it_ended(rest_s: float, told: bool) -> None:
    """A large draw empties the tank within 12 s, the pump fills it against that in 52: the last word of ten
    seconds before the start may lie anywhere in the band, which is whole."""
    plant = traces.plant()
    water = Water.of(plant)
    cycle = Cycle(0, 52_000_000, 52.0, rest_s, 46 * traces.PSI, 50 * traces.PSI)
    seen = see(Run(0, cycle, True, 10.0), plant, reference(plant, water, Signature()), water)
    assert (seen.band is not None) is told


@pytest.mark.parametrize(("every_s", "told"), [(5.0, True), (20.0, False)])
def test_two_samples_at_either_end_tell_no_charge_by_their_kinks(every_s: float, told: bool) -> None:
    plant = traces.plant()
    water = Water.of(plant)
    cycle = Cycle(
        0, 120_000_000, 120.0, 900.0, 30 * traces.PSI, 50 * traces.PSI, delivery_mid_m3_s=5e-4,
        delivery_start_m3_s=2e-3, delivery_stop_m3_s=5e-4, demand_m3_s=0.0,
    )  # fmt: skip
    seen = see(Run(0, cycle, True, every_s), plant, reference(plant, water, Signature()), water)
    assert seen.knee == (pytest.approx(4.0) if told else None)


def test_four_narrow_bands_in_a_row_are_odd() -> None:
    bands = [Seen(k, k + 1, 30.0, False, None, band, None, None, False) for k, band in enumerate([0.4] * 4)]
    assert odd(bands)
    assert not odd(bands[:3])
    bands[3].band = 0.9
    assert not odd(bands)
