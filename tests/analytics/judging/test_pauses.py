"""Spells at rest in which the line's pressure stands still, and what leak they speak against."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.judging.pauses import Pauses
from analytics.seeing.beats import BEAT_US, Beat
from analytics.seeing.water import Water
from tests.analytics import traces
from tests.analytics.judging.test_calm import span

WATER = Water.of(traces.plant())
BAR = 1e5
LEAK_M3_S = 10.0 / 3.6e6  # 10 L/h


def after(leak_m3_s: float, words: int, digit_pa: float, noise_pa: float = 0.0, runs: bool = False) -> Pauses:
    """What six hours leave behind, of a line that leaks or does not."""
    pauses, rng, held_m3 = Pauses(), np.random.default_rng(4), WATER.one(3.2 * BAR)
    for k in range(36):
        from_us = k * BEAT_US
        held = held_m3 - leak_m3_s * (600.0 * k + np.linspace(0.0, 600.0, words, endpoint=False))
        true_pa = np.array([WATER.pressure_pa(one) for one in held]) + rng.normal(0.0, noise_pa, words)
        said = span(np.round(true_pa / digit_pa) * digit_pa, from_us)
        beat = Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, {0: said}, 30.0 if runs else 0.0)
        pauses.hear(beat, said)
    return pauses


@pytest.mark.parametrize("words", [600, 60, 10, 2])
def test_a_line_that_stands_still_does_not_leak(words: int) -> None:
    assert after(0.0, words, 10.0, noise_pa=20.0).refuting(LEAK_M3_S, WATER, 36 * BEAT_US) >= 30


@pytest.mark.parametrize(("leak_m3_s", "refuted"), [(0.0, True), (LEAK_M3_S, False)])
def test_a_sign_of_life_each_ten_minutes_tells_of_an_hour(leak_m3_s: float, refuted: bool) -> None:
    """Half of a leak of 10 L/h takes less in half an hour than the gauge's last digit, and more in one."""
    pauses = after(leak_m3_s, 1, 10.0, noise_pa=500.0)
    half_m3 = 0.5 * LEAK_M3_S * 1200.0
    pauses.digit_pa = 1.2 * half_m3 / WATER.compliance_m3_pa(3.2 * BAR)
    assert bool(pauses.refuting(LEAK_M3_S, WATER, 36 * BEAT_US)) is refuted


@pytest.mark.parametrize("words", [600, 60, 10, 1])
@pytest.mark.parametrize(("digit_pa", "noise_pa"), [(10.0, 20.0), (1000.0, 0.0), (7000.0, 0.0)])
def test_a_leak_is_never_refuted(words: int, digit_pa: float, noise_pa: float) -> None:
    assert after(LEAK_M3_S, words, digit_pa, noise_pa).refuting(LEAK_M3_S, WATER, 36 * BEAT_US) == 0


def test_a_gauge_whose_digit_is_coarser_than_the_fall_refutes_nothing() -> None:
    assert after(0.0, 60, 14000.0, noise_pa=6000.0).refuting(LEAK_M3_S, WATER, 36 * BEAT_US) == 0


def test_beats_with_a_run_say_nothing() -> None:
    assert after(0.0, 60, 10.0, noise_pa=20.0, runs=True).beats == []


def test_what_stood_still_a_day_ago_is_forgotten() -> None:
    pauses = Pauses()
    for k in range(600):
        said = span(np.full(60, 3.0 * BAR), k * BEAT_US)
        pauses.hear(Beat((k + 1) * BEAT_US, k * BEAT_US, (k + 1) * BEAT_US, {0: said}, 0.0), said)
    assert len(pauses.beats) == 138
    assert pauses.refuting(LEAK_M3_S, WATER, 600 * BEAT_US) == 0  # its digit is not known
    pauses.digit_pa = 10.0
    pauses.hear(Beat(601 * BEAT_US, 600 * BEAT_US, 601 * BEAT_US, {0: said}, 0.0), said)
    assert pauses.refuting(LEAK_M3_S, WATER, 601 * BEAT_US) == 138
    assert pauses.refuting(LEAK_M3_S, WATER, 601 * BEAT_US + 24 * 3_600_000_000) == 0


@pytest.mark.parametrize(
    ("leak_m3_s", "every_s", "least"),
    [
        (0.0, 1800.0, 4),
        (0.0, None, 0),
        (LEAK_M3_S, 1800.0, 0),
    ],
)
def test_signs_of_life_alone_tell_of_a_pause(leak_m3_s: float, every_s: float | None, least: int) -> None:
    """Half an hour apart, and nothing else speaks: the beats between them are none. So stood a line for a
    whole afternoon of a house whose draws come at all other hours."""
    pauses, held_m3 = Pauses(digit_pa=7000.0), WATER.one(3.2 * BAR)
    for k in range(0, 36, 3):
        from_us = k * BEAT_US
        true_pa = WATER.pressure_pa(held_m3 - leak_m3_s * 600.0 * k)
        said = span(np.round(np.array([true_pa]) / 7000.0) * 7000.0, from_us)
        beat = Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, {0: said}, 0.0)
        pauses.hear(beat, said, every_s or 0.0)
    found = pauses.refuting(LEAK_M3_S, WATER, 36 * BEAT_US)
    assert found >= least
    assert bool(found) is bool(least)


def test_a_run_between_two_signs_of_life_ends_the_pause() -> None:
    pauses = Pauses(digit_pa=10.0)
    for k in range(0, 36, 3):
        said = span(np.full(1, 3.2 * BAR), k * BEAT_US)
        pauses.hear(Beat((k + 1) * BEAT_US, k * BEAT_US, (k + 1) * BEAT_US, {0: said}, 0.0), said, 1800.0)
        pauses.hear(Beat((k + 2) * BEAT_US, (k + 1) * BEAT_US, (k + 2) * BEAT_US, {}, 60.0), None, 1800.0)
    assert pauses.refuting(LEAK_M3_S, WATER, 36 * BEAT_US) == 0
