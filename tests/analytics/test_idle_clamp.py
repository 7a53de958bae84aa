"""A clamp of many amperes says something of a motor at rest too; the plant file need not say what."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from analytics.engine import Engine
from analytics.plant.description import Plant
from analytics.readings import Readings
from tests.analytics import traces
from tests.analytics.traces import steady

HOUR = 3600.0
#: A hundredth of a 20 A clamp's range, and now and then over 0.4 A: an unknown motor is taken to run then.
TRACE = traces.Trace(demand=steady(2.0 * traces.LPM), amps=13.0, amps_noise=0.2)


def unsaid() -> Plant:
    """The plant, whose file does not say above what the motor runs."""
    plant = traces.plant(TRACE)
    pump = replace(plant.pump, rated_power_w=None, running_above=None, running_above_measures=None)
    return replace(plant, pump=pump)


@cache
def heard() -> Readings:
    return traces.readings(TRACE, 8 * HOUR, seed=3)


def test_what_a_clamp_says_of_a_motor_at_rest_is_no_run_and_no_fault() -> None:
    engine = Engine(unsaid())
    outcomes = [engine.feed(heard()), engine.finish()]
    assert [finding.fault for outcome in outcomes for finding in outcome.findings] == []
    levels = [cycle.motor_level or 0.0 for outcome in outcomes for cycle in outcome.cycles]
    first = next(k for k, level in enumerate(levels) if level > 5.0)
    assert first > 0  # the clamp does say so before a run was seen
    assert len(levels) - first > 8
    assert min(levels[first:]) > 5.0


def test_the_level_is_learned_alike_in_any_chunks_and_after_any_restart() -> None:
    plant, words = unsaid(), heard()[:20_000]
    whole = Engine(plant)
    cycles = [*whole.feed(words).cycles, *whole.finish().cycles]
    engine, parts = Engine(plant), []
    for at in range(0, len(words), 997):
        parts += engine.feed(words[at : at + 997]).cycles
        engine = Engine.restore(plant, engine.snapshot())
    assert [*parts, *engine.finish().cycles] == cycles


def test_a_motor_that_turns_dry_runs_still() -> None:
    words = heard()
    late = (words.signal == 1) & (words.time_us > traces.START_US + 5 * HOUR * 1e6)
    value = np.where(late & (words.value > 5.0), 0.4 * words.value, words.value)
    engine = Engine(unsaid())
    outcomes = [engine.feed(Readings(words.signal, words.time_us, value)), engine.finish()]
    newest = [cycle for outcome in outcomes for cycle in outcome.cycles][-1]
    assert newest.motor_level is not None
    assert 4.0 < newest.motor_level < 6.5


def test_noise_of_an_eighth_of_what_the_motor_draws_is_no_run_once_eight_are_known() -> None:
    """Each ten minutes three words of 1.6 A, of a motor that draws 13: more than a tenth of it."""
    words = heard()
    at_s = (words.time_us - traces.START_US) / 1e6
    rests = (words.signal == 1) & (words.value < 5.0) & (at_s % 600.0 < 3.0)
    engine = Engine(unsaid())
    outcomes = [
        engine.feed(Readings(words.signal, words.time_us, np.where(rests, 1.6, words.value))),
        engine.finish(),
    ]
    levels = [cycle.motor_level or 0.0 for outcome in outcomes for cycle in outcome.cycles]
    eighth = np.flatnonzero(np.array(levels) > 5.0)[7]
    assert len(levels) - eighth > 8
    assert min(levels[eighth:]) > 5.0
