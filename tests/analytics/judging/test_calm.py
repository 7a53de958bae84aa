"""Calm beats: what they spare the checks is nothing, to the last digit, whatever the signals say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import msgspec
import numpy as np
import pytest

from analytics.judging.calm import Calm
from analytics.judging.contradiction import Contradictions, Evidence
from analytics.judging.reference import Reference, reference
from analytics.judging.signature import Signature
from analytics.plant.description import Measure, Plant, Signal
from analytics.seeing.beats import BEAT_US, Beat, Span
from analytics.seeing.water import Water
from tests.analytics import traces

LESSON = 320  # beats until the gauge's pace is known
BEATS, SPELL = 1200, 150
CLAMP = 1.0


def fitted(*measures: Measure) -> Plant:
    plant = traces.plant(traces.Trace())
    return replace(plant, signals=tuple(Signal(one.value, one, f"x/{one.value}", None) for one in measures))


def span(value: np.ndarray, from_us: int) -> Span:
    times = from_us + np.arange(len(value)) * (BEAT_US // len(value))
    ends = float(value[0]), float(value[-1])
    low, high = float(value.min()), float(value.max())
    return Span(len(value), 0, low, high, float(value.mean()), *ends, times, value, 0, len(value))


def line(kind: str, at: float, words: int, rng: np.random.Generator) -> np.ndarray:
    """Ten minutes of a line gauge, in bands above cut-in, which stood at `at`: a rest, or something else."""
    value = at - np.linspace(0.0, rng.choice([0.0, 0.05, 0.1, 0.2]), words) + rng.normal(0.0, 0.01, words)
    edge = int(rng.integers(words))
    if kind == "climbs":
        value[edge:] = np.linspace(at, 1.0, words - edge)
    elif kind == "leaps":
        value[edge:] += rng.choice([-1.0, -0.5, 0.3, 0.6, 1.0])
    elif kind == "spikes":
        value[edge] += rng.choice([-2.0, 0.3, 0.7, 3.0])
    elif kind == "dies":
        value[edge:] = -10.0
    elif kind == "wild":
        value += rng.uniform(-1.0, 1.0, words)
    return np.asarray(value)


def beats(plant: Plant, words: int, seed: int) -> list[Beat]:
    assert plant.switch is not None
    low_pa, band_pa = plant.switch.cut_in_pa, plant.switch.cut_out_pa - plant.switch.cut_in_pa
    rng = np.random.default_rng(seed)
    ills = ["leaps", "spikes", "dies", "wild"]
    behind_valve = seed % 2 == 1  # at rest the outlet falls to nothing
    found, at, sunk, to_us = [], 1.0, 0.0, 1_900_000_200_000_000 // BEAT_US * BEAT_US
    for k in range(BEATS):
        ill = k > LESSON and (k // SPELL) % 2 == 1
        kind = "climbs" if at < 0.1 or rng.random() < 0.03 else "rests"
        runs = kind == "climbs" and not (ill and k % SPELL > SPELL // 2)  # a motor signal that lies
        if ill and rng.random() < 0.15:
            kind = str(rng.choice(ills))
        if rng.random() < 0.2 or not ill:
            sunk = float(rng.choice([0.0, -0.6, -10.0])) if ill else 0.0  # another zero, or none, for a while
        from_us = to_us + (BEAT_US if rng.random() < 0.01 else 0)  # a beat in which nobody spoke
        to_us = from_us + BEAT_US
        count = max(words - int(rng.integers(3)), 1)
        pressure, on = line(kind, at, count, rng), np.zeros(count)
        if kind in ("rests", "climbs"):
            at = float(pressure[-1])
        if runs:
            on[int(rng.integers(count)) :] = 1.0
        spans = {}
        for position, signal in enumerate(plant.signals):
            if rng.random() < 0.01:
                continue
            if signal.measures is Measure.PUMP_RUNNING:
                value = on
            elif signal.measures is Measure.PUMP_CURRENT:
                value = CLAMP * on + rng.choice([0.02, 0.39] if ill else [0.02]) * rng.random(count)
            elif signal.measures is Measure.DISCHARGE_PRESSURE:
                wild = rng.uniform(-1.5, 1.5, count) if ill and rng.random() < 0.1 else 0.1 * on
                value = low_pa + band_pa * (pressure + wild)
                if behind_valve and kind == "rests":
                    value *= rng.choice([0.0, 1.0], p=[0.95, 0.05])
            else:
                value = low_pa + band_pa * (pressure + sunk)
            spans[position] = span(np.maximum(value, 0.0), from_us)
        found.append(Beat(to_us, from_us, to_us, spans, 0.0))
    return found


def usual(plant: Plant, wide: bool) -> Reference:
    """By the plant file; `wide`: learned to have twice the band."""
    known = reference(plant, Water.of(plant), Signature())
    return replace(known, motor_level=CLAMP, stop_pa=known.stop_pa + wide * known.band_pa)


@pytest.mark.parametrize("words", [4, 12, 60])
@pytest.mark.parametrize(
    "measures",
    [
        (Measure.LINE_PRESSURE, Measure.PUMP_CURRENT),
        (Measure.LINE_PRESSURE, Measure.PUMP_RUNNING),
        (Measure.PUMP_RUNNING, Measure.LINE_PRESSURE, Measure.PUMP_CURRENT, Measure.DISCHARGE_PRESSURE),
    ],
    ids=["clamp", "contact", "all"],
)
def test_calm_beats_leave_what_the_checks_would_have_left(
    measures: tuple[Measure, ...], words: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = fitted(*measures)
    takes, calm, causes = Calm.takes, 0, set()
    for seed in range(4):
        known = usual(plant, wide=seed == 3)
        with_it, without = Evidence(), Evidence()
        one, other = Contradictions(plant), Contradictions(plant)
        monkeypatch.setattr(other.calm, "takes", lambda *asked: False)

        def noted(*asked: Any, one: Contradictions = one) -> bool:
            nonlocal calm
            taken = takes(one.calm, *asked)
            calm += taken
            return taken

        monkeypatch.setattr(one.calm, "takes", noted)
        for k, beat in enumerate(beats(plant, words, seed)):
            if k % SPELL == 0:  # the next run starts where it always did
                for evidence in (with_it, without):
                    evidence.leap.at_us, evidence.leap.convicted = 0, False
            said = one.beat(with_it, beat, set(), known)
            assert said == other.beat(without, beat, set(), known)
            assert msgspec.to_builtins(with_it) == msgspec.to_builtins(without)
            causes |= set(said.values())
    assert calm > 200 if words > 4 else calm == 0
    assert "implausible" in causes or words < 60  # there was something to hear
