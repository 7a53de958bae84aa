"""Levels that are followed once for all: no step across what a gauge says that is known to lie."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.faults.storage_leak import StorageLeak
from analytics.judging.balance import sigma_m3
from analytics.judging.levels import Levels
from analytics.judging.watch import Claim, Known
from analytics.plant.description import Measure, Plant, Signal, Storage
from analytics.seeing.beats import BEAT_US, Beat, Span
from tests.analytics import traces

FROM_US = 1_900_000_200_000_000 // BEAT_US * BEAT_US
DROP_M = 0.001


def plant() -> Plant:
    level = Signal("level", Measure.STORAGE_LEVEL, "x/level", of="rain")
    return replace(
        traces.plant(traces.Trace()), signals=(level,), storages=(Storage("rain", 10.0, 2.0, 0.1),)
    )


def beat(at: int, level_m: float) -> Beat:
    from_us = FROM_US + at * BEAT_US
    times = from_us + np.arange(10) * (BEAT_US // 10)
    span = Span(10, 0, *[level_m] * 5, times, np.full(10, level_m), 0, 10)
    return Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, {0: span}, 0.0)


@pytest.mark.parametrize("interrupted", [False, True])
def test_no_step_is_made_across_words_that_are_disbelieved(interrupted: bool) -> None:
    """A millimetre in ten minutes; the third beat lies by 5 cm. Taken up
    again from what was saved it goes on as it would have."""
    levels, steps = Levels(plant()), []
    for at in range(6):
        lies = at == 2
        levels.hear(beat(at, 1.0 - DROP_M * at + 0.05 * lies), {"level"} if 2 <= at <= 3 else ())
        assert levels.spoke("rain", beat(at, 1.0))
        steps.append(levels.steps["rain"])
        if interrupted:
            saved, levels = levels.saved(), Levels(plant())
            levels.restore(saved)
    changes = [None if step is None else round(step.change_m, 6) for step in steps]
    assert changes == [None, -DROP_M, None, None, -DROP_M, -DROP_M]


def two() -> Plant:
    levels = tuple(
        Signal(f"level of {name}", Measure.STORAGE_LEVEL, f"x/{name}", of=name) for name in ("rain", "spare")
    )
    return replace(
        traces.plant(traces.Trace()),
        signals=(*levels, Signal("motor", Measure.PUMP_RUNNING, "x/motor")),
        storages=(Storage("rain", 10.0, 2.0, 0.1), Storage("spare", 5.0, 2.0, 0.1)),
    )


def both(at: int, rain_m: float, spare_m: float) -> Beat:
    one, other, motor = beat(at, rain_m), beat(at, spare_m), beat(at, 0.0)
    spans = {0: one.spans[0], 1: other.spans[0], 2: motor.spans[0]}
    return Beat(one.at_us, one.from_us, one.to_us, spans, 0.0)


def told(gains: float, interrupted: bool = False) -> Levels:
    """Ten hours in which one loses a millimetre a beat and the other, half as large, gains so many."""
    levels, rng = Levels(two()), np.random.default_rng(3)
    for at in range(60):
        if interrupted:
            saved, levels = levels.saved(), Levels(two())
            levels.restore(saved)
        rough = (0.0005 * rng.standard_normal(2)).tolist()
        levels.hear(both(at, 1.5 - DROP_M * at + rough[0], 0.5 + gains * DROP_M * at + rough[1]), ())
    return levels


@pytest.mark.parametrize("gains", [2.0, 1.0, 0.4, 0.0, -1.0])
def test_what_another_storage_gains_has_not_leaked(gains: float) -> None:
    levels = told(gains)
    assert levels.goes_elsewhere("rain") == (gains > 0.6)
    assert not levels.goes_elsewhere("spare")
    assert told(gains, interrupted=True).saved() == levels.saved()
    assert len(levels.tracks["rain"].lately) <= 19  # three hours of them


@pytest.mark.parametrize(("gains", "leaks"), [(0.0, True), (2.0, False)])
def test_a_storage_that_evens_out_into_another_does_not_leak(gains: float, leaks: bool) -> None:
    levels, detector = Levels(two()), StorageLeak(two())
    known = SimpleNamespace(levels=levels, plant=two(), is_open=lambda fault, of=None: False)
    rng, said = np.random.default_rng(3), []
    for at in range(6 * 24):
        rough = (0.0005 * rng.standard_normal(2)).tolist()
        now = both(at, 1.5 - DROP_M * at + rough[0], 0.5 + gains * DROP_M * at + rough[1])
        levels.hear(now, ())
        said += detector.beat(now, cast(Known, known))
    assert any(isinstance(word, Claim) and word.of == "rain" for word in said) == leaks


@pytest.mark.parametrize("words", [1, 2, 10])
def test_the_scatter_of_a_level_is_known_however_many_words_a_beat_has(words: int) -> None:
    """White noise of 5 mm: of one word a beat the medians of three share two of them, and step by less."""
    noise_m, rng, levels = 0.005, np.random.default_rng(5), Levels(two())
    heard: list[float] = []
    stepped: list[float] = []
    for at in range(4000):
        now = both(at, 1.0, 0.5)
        times = now.from_us + np.arange(words) * (BEAT_US // words)
        value = np.round(1.0 + noise_m * rng.standard_normal(words), 6)
        now.spans[0] = Span(
            words, 0, float(value[0]), float(value[-1]), float(value.min()), float(value.max()),
            float(value.mean()), times, value, 0, words,
        )  # fmt: skip
        levels.hear(now, ())
        step = levels.steps["rain"]
        if step is not None and at > 500:
            heard.append(sigma_m3(step, levels.watched[0].storage) / 5.0)  # 5 m2 of it
            stepped.append(step.level_m)
    assert np.median(heard) == pytest.approx(np.std(stepped), rel=0.1)


def test_a_rest_begins_a_word_later_where_the_middle_of_three_stands_for_a_level() -> None:
    """A word in the quarter of an hour; each third hour the pump takes 0.1 m in ten minutes. The middle of
    three words shows that a word later, in the rest: none of it has leaked."""
    made = plant()
    motor = Signal("motor", Measure.PUMP_RUNNING, "x/motor")
    levels = Levels(replace(made, signals=(*made.signals, motor)))
    quiet_m, all_m, quiet = 0.0, 0.0, 0
    for at in range(6 * 24):
        from_us, runs = FROM_US + at * BEAT_US, at % 18 == 2
        words_us = [us for us in range(0, (6 * 24) * BEAT_US, 900_000_000) if us // BEAT_US == at]
        spans = {1: Span(1, 0, *[float(runs)] * 5, np.array([from_us]), np.array([float(runs)]), 0, 1)}
        for us in words_us:  # after a run in its beat
            level_m = 1.9 - 0.1 * ((at - 2) // 18 + 1)
            spans[0] = Span(1, 0, *[level_m] * 5, np.array([FROM_US + us]), np.array([level_m]), 0, 1)
        levels.hear(Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, spans, 600.0 * runs), ())
        step = levels.steps["rain"]
        if step is not None:
            all_m -= step.change_m
            quiet_m, quiet = quiet_m - step.change_m * step.quiet, quiet + step.quiet
    assert all_m == pytest.approx(0.8)
    assert quiet_m == pytest.approx(0.0)
    assert quiet > 60
