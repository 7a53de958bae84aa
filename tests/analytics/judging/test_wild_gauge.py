"""Wild gauges: most beats are passed over by their words' steps, and none is that could count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.wild_gauge import WildGauges, WildMemory, _steps
from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US, Beat
from analytics.seeing.middles import unspiked
from analytics.seeing.water import Water
from tests.analytics import traces
from tests.analytics.judging.test_calm import span

WORDS = st.lists(st.floats(0.0, 1e6), min_size=3, max_size=60)


@given(words=WORDS, least_pa=st.floats(0.0, 5e5))
def test_no_more_middles_rise_than_words_step(words: list[float], least_pa: float) -> None:
    value = np.array(words)
    rises = np.count_nonzero(np.diff(unspiked(value)) > least_pa)
    assert rises <= np.count_nonzero(_steps(value) > least_pa)


def test_a_fall_that_uncovers_a_rise_is_a_step() -> None:
    # the middles 1, 1, 5, 9, 9 rise twice, and one of the two steps below them is a fall
    value = np.array([1.0, 0.0, 9.0, 5.0, 9.0])
    assert np.count_nonzero(_steps(value) > 0.5) == 4
    assert np.count_nonzero(np.diff(unspiked(value)) > 0.5) <= 4


@pytest.mark.parametrize(
    ("words", "airless", "convicted"), [(60, False, True), (60, True, False), (300, True, True)]
)
def test_a_tank_without_air_is_up_and_down_between_two_words(
    words: int, airless: bool, convicted: bool
) -> None:
    """Pressure goes through the whole band from word to word, and a meter that speaks each ten seconds says
    nothing of a run: a tank that has lost its air does that too, though not within two seconds."""
    plant = traces.plant()
    usual, gauges, memory = reference(plant, Water.of(plant), Signature()), WildGauges(plant), WildMemory()
    line = plant.measuring(Measure.LINE_PRESSURE)[0]
    motor = next(at for at in range(len(plant.signals)) if at != line)
    said = usual.start_pa + usual.band_pa * np.tile([-0.6, -0.6, 1.6, 1.6], words // 4)
    found: list[int] = []
    for beat in range(4):
        from_us = beat * BEAT_US
        spans = {line: span(said, from_us), motor: span(np.zeros(words), from_us)}
        found += gauges.beat(
            memory, Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, spans, 0.0), usual, airless
        )
    assert bool(found) is convicted


@pytest.mark.parametrize(
    ("words", "low", "high", "convicted"),
    [
        (20, -1.8, 0.9, False),  # half a minute apart: runs between the motor's words
        (20, -1.8, 1.6, False),  # and above a dirty filter
        (60, -1.8, 0.9, True),  # too close for a run to go by unseen
        (60, 1.6, 2.4, True),
    ],
)
def test_an_outlet_behind_a_check_valve_rises_from_nothing_in_runs_that_no_word_tells(
    words: int, low: float, high: float, convicted: bool
) -> None:
    plant = traces.plant(traces.Trace(extra=("discharge",)))
    usual, gauges, memory = reference(plant, Water.of(plant), Signature()), WildGauges(plant), WildMemory()
    outlet = plant.measuring(Measure.DISCHARGE_PRESSURE)[0]
    motor = plant.measuring(Measure.PUMP_CURRENT)[0]
    said = usual.start_pa + usual.band_pa * np.tile([low, low, high, high], words // 4)
    found: list[int] = []
    for beat in range(4):
        from_us = beat * BEAT_US
        spans = {outlet: span(said, from_us), motor: span(np.zeros(words), from_us)}
        found += gauges.beat(memory, Beat(from_us + BEAT_US, from_us, from_us + BEAT_US, spans, 0.0), usual)
    assert bool(found) is convicted
