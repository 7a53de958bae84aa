"""Draws by openings that come back, made up here from the law of resistances in series, in days.

An opening of c behind a filter that has grown by k: 1/c'^2 = 1/c^2 + k; sizes as m3/s at 100 kPa.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import numpy as np
import pytest

from analytics.judging import openings
from analytics.judging.openings import Clogged, Openings
from analytics.judging.steady_draws import SteadyDraw

DAY_S, START_S = 86_400.0, 1_900_022_400.0
Draw = tuple[float, float, float]  # hour, minutes, size
Course = Callable[[float], float]
ZONES: list[Draw] = [(5.5, 30.0, 5e-4), (6.2, 20.0, 3.4e-4)]
SHOWER: Draw = (19.0, 7.0, 2.0e-4)


def grown(share: float, size: float = 5e-4) -> float:
    """How much a filter has grown that leaves a share of the largest."""
    return float((share**-2 - 1.0) / size**2)


def clean(day: float) -> float:
    return 0.0


def slowly(day: float) -> float:
    """From day 10 to two fifths within sixteen days."""
    return grown(float(np.interp(day, [10.0, 26.0], [1.0, 0.4])))


def household(rng: np.random.Generator) -> list[Draw]:
    """Taps: a few every day, each as wide and as long as it happens to be."""
    return [
        (rng.uniform(6, 22), rng.uniform(2, 8), rng.uniform(0.6e-4, 1.8e-4)) for _ in range(rng.poisson(5))
    ]


def told(
    days: int, programme: Callable[[int], list[Draw]], k: Course = clean, low: Course = lambda day: 1.0,
    seed: int = 1, taps: float = 1.0,
) -> list[tuple[float, Clogged | None]]:  # fmt: skip
    """When a clog was told, and when (None) it was said to be gone; looked for each six hours. low: what the
    meter reads of the truth."""
    rng, memory = np.random.default_rng(seed), Openings()
    said: list[tuple[float, Clogged | None]] = []
    for day in range(days):
        draws = sorted([*programme(day), *(household(rng) if rng.random() < taps else [])])
        for quarter in range(4):
            for hour, minutes, size in draws:
                if not 6 * quarter <= hour < 6 * (quarter + 1):
                    continue
                at = day + hour / 24
                seen = low(at) * size / sqrt(1.0 + k(at) * size**2) * (1.0 + 0.01 * rng.standard_normal())
                from_s = START_S + at * DAY_S
                openings.add(memory, SteadyDraw(from_s, from_s + 60.0 * minutes, seen / sqrt(1e5)))
            now = day + (quarter + 1) / 4
            now_s = START_S + now * DAY_S
            if memory.since_s:
                back_s = openings.follow(memory, now_s)
                if back_s is not None:
                    openings.repaired(memory, back_s)
                    said.append((now, None))
            elif (found := openings.judged(memory, now_s)[1]) is not None:
                said.append((now, found))
    return said


def each_day(day: int) -> list[Draw]:
    return [*ZONES, SHOWER]


@pytest.mark.parametrize("seed", range(2))
def test_a_slow_clog_is_told_before_a_third_of_the_largest_draw_is_gone(seed: int) -> None:
    ((when, found),) = told(26, each_day, slowly, seed=seed)
    assert found is not None
    assert 10.0 < when < 18.0  # 0.7 is left at 18
    assert 10.0 - 4.0 < (found.since_s - START_S) / DAY_S < when
    assert found.clean * sqrt(1e5) == pytest.approx(5e-4, rel=0.1)
    assert found.zones >= 2


@pytest.mark.parametrize("takes", [60.0])
def test_one_of_months_is_not_learned(takes: float) -> None:
    ((when, found),) = told(
        100, each_day, lambda day: grown(float(np.interp(day, [10, 10 + takes], [1, 0.4])))
    )
    assert found is not None
    assert 10.0 < when < 10.0 + 0.5 * takes  # 0.7 is left then


def test_at_other_hours_every_day_it_is_told_as_well() -> None:
    def any_hour(day: int) -> list[Draw]:
        later = (5.0 * day) % 15.0
        return [(hour + later, minutes, size) for hour, minutes, size in ZONES]

    ((when, found),) = told(26, any_hour, slowly)
    assert found is not None
    assert 10.0 < when < 18.0


def test_a_sudden_clog_is_told_by_the_second_day() -> None:
    ((when, found),) = told(16, each_day, lambda day: grown(0.5) if day > 10.5 else 0.0)
    assert found is not None
    assert when <= 12.5
    assert found.share == pytest.approx(0.5, abs=0.1)


def test_flushed_it_is_gone_and_a_relapse_is_told_anew() -> None:
    def twice(day: float) -> float:
        return slowly(day) if day < 22 else slowly(day - 18.0) if day > 28 else 0.0

    first, gone, again = told(44, each_day, twice)
    assert first[1] is not None
    assert gone[1] is None
    assert 22.0 < gone[0] < 24.0
    assert again[1] is not None
    assert 28.0 < again[0] < 36.0


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(
    ("name", "programme"),
    [
        ("as ever", each_day),
        ("turns", lambda day: [ZONES[day % 2]] if day % 3 else [*ZONES, SHOWER]),
        ("a new zone between", lambda day: [*each_day(day), *([(7.0, 25.0, 4.1e-4)] if day > 12 else [])]),
        ("the season ends", lambda day: each_day(day) if day < 12 else [SHOWER]),
        ("the largest zone is given up", lambda day: [*ZONES[day > 12 :], SHOWER]),
        ("guests", lambda day: [*each_day(day), *[(h, 7.0, 2e-4) for h in range(8, 8 + 6 * (day > 12))]]),
        ("nobody there", lambda day: [] if 10 < day < 18 else each_day(day)),
        ("one zone's nozzles", lambda day: [(5.5, 30.0, 5e-4 if day < 12 else 3.9e-4), ZONES[1], SHOWER]),
    ],
)
def test_other_habits_are_no_clog(name: str, programme: Callable[[int], list[Draw]], seed: int) -> None:
    assert told(30, programme, seed=seed) == []


@pytest.mark.parametrize("seed", range(2))
def test_a_household_alone_whose_draws_never_come_back_tells_nothing(seed: int) -> None:
    assert told(60, lambda day: [], seed=seed) == []


@pytest.mark.parametrize("seed", range(2))
def test_a_meter_that_reads_low_is_no_clog(seed: int) -> None:
    """A fifth less of all draws, which come back truly, the small ones too."""
    small = [(8.0, 12.0, 1.2e-4), (12.0, 12.0, 0.9e-4)]
    low = lambda day: 0.8 if day > 14 else 1.0  # noqa: E731
    said = told(26, lambda day: [*each_day(day), *small], low=low, seed=seed, taps=0.0)
    assert said == []


def test_what_is_kept_is_bounded() -> None:
    memory, rng = Openings(), np.random.default_rng(1)
    for day in range(200):
        for hour in range(24):
            from_s = START_S + (day + hour / 24) * DAY_S
            openings.add(memory, SteadyDraw(from_s, from_s + 300.0, rng.uniform(1e-6, 2e-6)))
    assert len(memory.first) <= 100
    assert len(memory.newest) <= 100
