"""A meter's words and a gauge's, made up from q = c sqrt(P), and the draws that are seen in them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analytics.judging.steady_draws import Standing, SteadyDraw, take_up
from analytics.seeing.beats import Span

HOUR_S, START_S, LEAST = 3_600.0, 1_900_022_400.0, 2e-8
ZONE, TAP = 1.0e-6, 2.0e-7
Floats = NDArray[np.float64]


def span(at_s: Floats, value: Floats) -> Span | None:
    if not len(at_s):
        return None
    low, high, mean = float(value.min()), float(value.max()), float(value.mean())
    time_us = (at_s * 1e6).astype(np.int64)
    return Span(len(value), 0, low, high, mean, value[0], value[-1], time_us, value, 0, len(value))


def seen(at_s: Floats, flow: Floats, pressure: Floats, standing: Standing | None = None) -> list[SteadyDraw]:
    """The draws of some hours, beat by beat. Pressure is told each five seconds."""
    standing = standing or Standing()
    told, draws = np.arange(0.0, at_s[-1], 5.0), []
    heads = np.interp(told, at_s, pressure)
    for from_s in np.arange(0.0, at_s[-1], 600.0):
        mine, gauge = ((s >= from_s) & (s < from_s + 600.0) for s in (at_s, told))
        words = span(START_S + at_s[mine], flow[mine])
        if words is not None:
            draws += take_up(standing, words, span(START_S + told[gauge], heads[gauge]), LEAST)
    return draws


def swings(at_s: Floats) -> Floats:
    """A switch's band of 20 psi, up and down within two minutes."""
    return 2.1e5 + 1.4e5 * np.abs(at_s % 120.0 / 60.0 - 1.0)


def drawn(at_s: Floats, opening: float, from_s: float, to_s: float) -> Floats:
    return np.where((at_s >= from_s) & (at_s < to_s), opening * np.sqrt(swings(at_s)), 0.0)


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
@pytest.mark.parametrize("noise", [0.0, 6e-6])
def test_a_zone_is_one_draw_though_pressure_swings(every_s: float, noise: float) -> None:
    at_s = np.arange(0.0, 3 * HOUR_S, every_s)
    flow = drawn(at_s, ZONE, HOUR_S, HOUR_S + 1_500.0)
    flow = np.where(flow > 0, flow + noise * np.random.default_rng(1).standard_normal(len(at_s)), 0.0)
    (draw,) = seen(at_s, flow, swings(at_s))
    assert draw.opening == pytest.approx(ZONE, rel=0.01)
    assert draw.from_s == pytest.approx(START_S + HOUR_S, abs=2 * every_s + 10)
    assert draw.to_s == pytest.approx(START_S + HOUR_S + 1_500.0, abs=2 * every_s + 10)


def test_a_tap_beside_a_zone_is_a_draw_of_its_own_size() -> None:
    at_s = np.arange(0.0, 2 * HOUR_S, 2.0)
    flow = drawn(at_s, ZONE, 1_800.0, 4_200.0) + drawn(at_s, TAP, 2_700.0, 3_000.0)
    before, both, after = seen(at_s, flow, swings(at_s))
    assert before.opening == pytest.approx(ZONE, rel=0.01)
    assert both.opening == pytest.approx(ZONE + TAP, rel=0.01)
    assert after.opening == pytest.approx(ZONE, rel=0.01)


def test_what_leaks_all_day_is_taken_off() -> None:
    at_s = np.arange(0.0, 6 * HOUR_S, 10.0)
    flow = drawn(at_s, ZONE, 4 * HOUR_S, 5 * HOUR_S) + drawn(at_s, TAP, 0.0, 6 * HOUR_S)
    (draw,) = [one for one in seen(at_s, flow, swings(at_s)) if one.to_s - one.from_s > 1_800.0]
    assert draw.opening == pytest.approx(ZONE, rel=0.03)


def test_words_on_change_show_it_as_well() -> None:
    at_s = np.arange(0.0, 2 * HOUR_S, 1.0)
    flow = drawn(at_s, ZONE, 1_800.0, 4_200.0)
    said = [0]
    for i, word in enumerate(flow.tolist()):
        if abs(word - flow[said[-1]]) > 8e-6 or at_s[i] - at_s[said[-1]] >= 300.0:
            said.append(i)
    standing, draws = Standing(), []
    for from_s in np.arange(0.0, 2 * HOUR_S, 600.0):
        mine = np.array([i for i in said if from_s <= at_s[i] < from_s + 600.0], dtype=int)
        gauge = (at_s >= from_s) & (at_s < from_s + 600.0)
        words = span(START_S + at_s[mine], flow[mine])
        if words is not None:
            draws += take_up(standing, words, span(START_S + at_s[gauge], swings(at_s)[gauge]), LEAST)
    (draw,) = draws
    assert draw.opening == pytest.approx(ZONE, rel=0.02)
    assert draw.to_s - draw.from_s == pytest.approx(2_400.0, abs=60.0)


def test_over_a_silence_nobody_knows_what_was_drawn() -> None:
    at_s = np.arange(0.0, 3 * HOUR_S, 10.0)
    flow = drawn(at_s, ZONE, 1_800.0, 9_000.0)
    heard = (at_s < 3_000.0) | (at_s > 6_000.0)
    first, second = seen(at_s[heard], flow[heard], swings(at_s[heard]))
    assert first.to_s - START_S == pytest.approx(2_990.0, abs=20.0)
    assert second.from_s - START_S == pytest.approx(6_010.0, abs=20.0)


def test_short_draws_and_an_empty_line_are_none() -> None:
    at_s = np.arange(0.0, 2 * HOUR_S, 2.0)
    flow = drawn(at_s, ZONE, 1_800.0, 1_860.0) + drawn(at_s, ZONE, 4_000.0, 5_000.0)
    assert seen(at_s, flow, np.where(at_s > 3_900.0, 2e4, swings(at_s))) == []
