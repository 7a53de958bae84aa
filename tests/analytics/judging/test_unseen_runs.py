"""Runs that are over between two words of the motor, in a plant of which all were met before."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.judging.unseen_runs import ENOUGH, UnseenRuns
from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US
from tests.analytics import traces
from tests.analytics.judging.test_calm import span

HOUR_US = 3_600_000_000
BAND = (2.0e5, 1.4e5)
FALLS = [0.9, 0.7, 0.5, 0.3, 0.1]


def learned(missed: int = 0) -> UnseenRuns:
    unseen = UnseenRuns(missed=missed)
    for run in range(25):
        unseen.meet(1 + run * 3 * HOUR_US, healthy=True)
    assert unseen.learned
    return unseen


def beats(unseen: UnseenRuns, motor: list[float], shares: list[float], count: int = ENOUGH) -> bool:
    """Whether runs go by unseen, after beats a minute's words each, of shares of the band."""
    now_us = 0
    for beat in range(count):
        from_us = (600 + beat * 6) * BEAT_US
        pressure = BAND[0] + BAND[1] * np.array(shares)
        unseen.hear(span(pressure, from_us), span(np.array(motor), from_us), 0.5, BAND)
        now_us = from_us + BEAT_US
    return unseen.convict(now_us)


REST = [0.0] * 10
RISE = [*FALLS, 0.8, 0.6, 0.4, 0.2, 0.1]


def test_rises_while_the_motor_says_off_all_about_are_runs_unseen() -> None:
    assert beats(learned(), REST, RISE)
    assert not beats(learned(), REST, RISE, ENOUGH - 1)
    assert not beats(learned(missed=1), REST, RISE)  # runs of this plant were always missed now and then


@pytest.mark.parametrize("on", [4, 5, 6])
def test_a_run_that_a_word_meets_is_none(on: int) -> None:
    motor = [float(at == on) for at in range(10)]
    assert not beats(learned(), motor, RISE)


def test_air_that_warms_and_a_gauge_beyond_its_band_are_no_rise() -> None:
    assert not beats(learned(), REST, [0.9, 0.7, 0.5, 0.3, 0.1, 0.25, 0.2, 0.15, 0.1, 0.05])
    assert not beats(learned(), REST, [0.9, 0.7, 0.5, 0.3, 0.1, 3.0, 0.1, 0.1, 0.1, 0.05])


def test_a_lesson_of_a_gardens_hours_is_none() -> None:
    unseen = UnseenRuns()
    for run in range(30):
        unseen.meet(1 + run * HOUR_US // 10, healthy=True)
    assert not unseen.learned


def test_a_tank_that_loses_its_air_is_told_by_a_word_a_minute() -> None:
    """Runs of two minutes at least, then of twelve seconds: one in five is met."""
    lost_s = 90 * 3600.0
    air = traces.after(lost_s, 0.1 * 44 * traces.GAL, 44 * traces.GAL)
    trace = traces.Trace(
        volume_m3=air, demand=traces.steady(4.0 * traces.LPM), every_s=60.0, motor=Measure.PUMP_RUNNING
    )
    engine, found = Engine(traces.plant(trace)), {}
    readings = traces.readings(trace, lost_s + 24 * 3600.0, seed=3)
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    (short,) = [one for one in found.values() if one.fault == "short_cycling"]
    assert short.cause == "lost_air_charge"
    assert short.evidence["unseen_runs_1"] >= ENOUGH
    assert "lost its air charge" in short.summary
    assert short.raised_us > traces.START_US + lost_s * 1e6


def test_words_a_second_are_not_asked() -> None:
    unseen = learned()
    many = np.tile(RISE, 60)
    unseen.hear(span(BAND[0] + BAND[1] * many, 0), span(np.zeros(600), 0), 0.5, BAND)
    assert unseen.at_us == []
