"""Climbs of pressure that no motor signal has turned for, and which of them speak against it."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.judging.climbs import ClimbMemory, Climbs, Witness
from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US, Beat
from tests.analytics import traces
from tests.analytics.judging.test_calm import span

#: Up through the band within a hundred seconds and down again, three times in ten minutes; a word each 5 s.
SAW = np.tile(np.concatenate((np.linspace(0.1, 0.9, 21), np.linspace(0.9, 0.1, 19))), 3)
#: The same heights, with the whole way up from one word to the next.
STEPS = np.tile(np.repeat([0.1, 0.9], 20), 3)


def convicted(shares: np.ndarray, welded: bool, beats: int = 10, stop: float | None = None) -> bool:
    """Whether a motor signal that says "on" throughout, and never missed a run before, is held to lie."""
    plant = traces.plant()
    climbs = Climbs(plant)
    line = plant.measuring(Measure.LINE_PRESSURE)[0]
    motor = next(iter(climbs.levels))
    memory = ClimbMemory(witnesses={motor: Witness(on=True, climbs=50)}, usual_s=[60.0] * 9)
    assert plant.switch is not None
    band_pa = plant.switch.cut_out_pa - plant.switch.cut_in_pa
    stop_pa = None if stop is None else plant.switch.cut_in_pa + stop * band_pa
    found: list[int] = []
    for beat in range(beats):
        from_us = beat * BEAT_US
        # each climb after another interval than the last, so that no sampling excuses them
        said = np.roll(plant.switch.cut_in_pa + band_pa * shares, 3 * beat)
        spans = {line: span(said, from_us), motor: span(np.full(len(said), 5.0), from_us)}
        found += climbs.beat(
            memory, Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, spans, 600.0), set(), welded, stop_pa
        )
    return bool(found)


@pytest.mark.parametrize("welded", [False, True])
def test_under_a_welded_switch_pressure_comes_back_with_no_start(welded: bool) -> None:
    assert convicted(SAW, welded) is not welded


def test_a_leap_that_no_pump_makes_is_no_climb() -> None:
    """Words two seconds apart: the gauge goes the whole way between two of them."""
    assert not convicted(np.repeat(STEPS, 3)[:300], welded=False)
    assert convicted(np.interp(np.arange(300) / 2.5, np.arange(120), SAW), welded=False)


@pytest.mark.parametrize(("stop", "lies"), [(None, True), (0.95, True), (1.05, False)])
def test_a_pump_runs_on_while_draws_take_more_than_it_brings_and_less(stop: float | None, lies: bool) -> None:
    """Pressure turns at nine tenths of the band: where the switch opens near there each climb is a new run,
    where it opens further up the pump may have run through all of them."""
    assert convicted(SAW, welded=False, stop=stop) is lies
