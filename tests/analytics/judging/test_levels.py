"""Levels that are followed once for all: no step across what a gauge says that is known to lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.judging.levels import Levels
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
