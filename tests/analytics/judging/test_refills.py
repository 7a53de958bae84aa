"""Runs that fall between the motor's words, told by the climbs of pressure that no word met."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analytics.judging.refills import Refills, are_long_again, length_s, note_refills, too_short
from analytics.seeing.beats import BEAT_US, Beat, Span

PRESSURE, MOTOR, LEVEL = 0, 1, 0.5
BAND = (200e3, 150e3)
START_US = 3_166_667 * BEAT_US  # some beat of 2030


def span(time_us: NDArray[np.int64], value: NDArray[np.float64]) -> Span:
    low, high, mean = float(value.min()), float(value.max()), float(value.mean())
    return Span(
        len(value), 0, low, high, mean, float(value[0]), float(value[-1]), time_us, value, 0, len(value)
    )


def beats(
    hours: float, run_s: float, motor_s: float, seed: int, steady_s: float | None = None, line_s: float = 5.0
) -> list[Beat]:
    """Pressure each `line_s`, the motor each `motor_s`, of runs from cut-in to cut-out. Rests last one to six
    minutes, by chance, or so that runs begin each `steady_s`."""
    rng = np.random.default_rng(seed)
    rests = rng.uniform(60.0, 360.0, int(hours * 60) + 2)
    if steady_s is not None:
        rests[:] = steady_s - run_s
    ends = np.cumsum(np.column_stack((rests, np.full(len(rests), run_s))).ravel())
    level = np.tile((0.0, 1.0), len(rests))
    at, share = np.concatenate(([0.0], ends)), np.concatenate(([1.0], level))
    found = []
    for beat in range(int(hours * 6)):
        spans = {}
        for signal, every_s in ((PRESSURE, line_s), (MOTOR, motor_s)):
            t = np.arange(beat * 600.0 + 0.1 * every_s, (beat + 1) * 600.0, every_s)
            shares = np.interp(t, at, share)
            on = (np.searchsorted(at, t) % 2 == 0).astype(float)
            value = BAND[0] + BAND[1] * shares if signal == PRESSURE else on
            spans[signal] = span(START_US + (t * 1e6).astype(np.int64), value)
        to_us = START_US + (beat + 1) * BEAT_US
        found.append(Beat(to_us, to_us - BEAT_US, to_us, spans, 0.0))
    return found


def told(refills: Refills, heard: list[Beat], shortest_s: float, sound_s: float | None) -> bool:
    for beat in heard:
        fresh = note_refills(refills, beat, PRESSURE, MOTOR, LEVEL, BAND)
        if fresh and too_short(refills, shortest_s, sound_s):
            return True
    return False


@pytest.mark.parametrize("run_s", [45.0, 60.0, 100.0])
@pytest.mark.parametrize("seed", range(4))
def test_runs_that_the_motor_stands_are_met_often_enough(run_s: float, seed: int) -> None:
    """Nine days of a run each four minutes; the motor stands 40 s, and is read each minute."""
    assert not told(Refills(), beats(200.0, run_s, 60.0, seed), 40.0, None)


@pytest.mark.parametrize(("run_s", "motor_s", "shortest_s"), [(15.0, 60.0, 40.0), (6.0, 10.0, 8.0)])
def test_runs_that_no_word_meets_are_told(run_s: float, motor_s: float, shortest_s: float) -> None:
    refills = Refills()
    assert not told(refills, beats(24.0, 2.0 * motor_s, motor_s, 1), shortest_s, 2.0 * motor_s)
    assert told(refills, beats(8.0, run_s, motor_s, 2), shortest_s, 2.0 * motor_s)
    assert 0.5 * run_s < length_s(refills) < shortest_s


def test_runs_in_step_with_the_words_are_no_chances() -> None:
    """A steady draw, a run of 45 s each three minutes, and a word each minute that misses every one."""
    assert not told(Refills(), beats(24.0, 45.0, 60.0, 1, steady_s=180.0), 40.0, None)


def test_a_motor_signal_that_says_nothing_at_all_tells_nothing() -> None:
    heard = beats(24.0, 80.0, 60.0, 1)
    for beat in heard:
        beat.spans[MOTOR].value[:] = 0.0
    assert not told(Refills(), heard, 40.0, None)


def test_runs_are_long_again_after_two_days_of_it() -> None:
    refills = Refills()
    assert told(refills, beats(24.0, 15.0, 60.0, 1), 40.0, None)
    after_h = 0
    for beat in beats(120.0, 100.0, 60.0, 2):
        later = Beat(beat.at_us, beat.from_us, beat.to_us, beat.spans, 0.0)
        if note_refills(refills, later, PRESSURE, MOTOR, LEVEL, BAND) and are_long_again(refills, 40.0, None):
            after_h = (beat.to_us - START_US) // (6 * BEAT_US)
            break
    assert 48 <= after_h < 96
