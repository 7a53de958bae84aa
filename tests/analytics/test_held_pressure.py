"""A pressure gauge that is told on change falls silent where pressure stands: what it said last still holds.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.plant.description import Plant
from analytics.readings import Readings
from analytics.records import Finding
from analytics.seeing.events import Look
from analytics.seeing.holding import Holding
from analytics.seeing.sight import Sight
from analytics.seeing.tracks import DROPOUT_SHORT_US
from tests.analytics import traces
from tests.analytics.faults.test_pump_runs import told
from tests.analytics.test_start_on_change import HEARTBEAT_S, on_change
from tests.analytics.traces import LPM, PSI

HOUR = 3600.0
BREAK_M3_S = 110 * LPM


def garden(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """A sixth of the delivery is drawn, half of it for twenty minutes of each hour, nothing for ten."""
    return np.select([t % HOUR < 1200.0, t % HOUR > 3000.0], [17 * LPM, 0.0], 6 * LPM)


@cache
def begins_s() -> float:
    """When somebody shuts the last tap, 20 s into a run of the ninth hour."""
    true = traces.run(traces.Trace(demand=garden), 8.9 * HOUR, seed=3)
    starts = true["t"][1:][np.diff(true["on"]) > 0.5]
    return float(next(s for s in starts if s > 8.4 * HOUR)) + 20.0


def shut(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    return np.where(t > begins_s(), 0.0, garden(rng, t))


def trace_of(fault: str) -> traces.Trace:
    if fault == "burst_line":
        return traces.Trace(demand=garden, burst_m3_s=traces.after(begins_s(), BREAK_M3_S, 0.0))
    if fault == "lost_prime":
        return traces.Trace(demand=shut, delivers=traces.after(begins_s(), 0.0, 1.0))
    return traces.Trace(demand=garden)


@cache
def heard(fault: str = "", seed: int = 3) -> tuple[Plant, Readings]:
    """Pressure on change; the motor's current each second."""
    trace = trace_of(fault)
    readings = traces.readings(trace, 9.6 * HOUR, seed=seed)
    plant = traces.plant(trace)
    signals = (replace(plant.signals[0], every_s=HEARTBEAT_S), plant.signals[1])
    kept = on_change(readings) | (readings.signal == 1)
    return replace(plant, signals=signals), readings[kept]


def late_s(finding: Finding, since_s: float) -> float:
    return (finding.raised_us - traces.START_US) / 1e6 - since_s


@pytest.mark.parametrize("fault", ["burst_line", "lost_prime"])
def test_what_befalls_a_run_is_told_while_the_gauge_is_silent(fault: str) -> None:
    """Its sign of life comes each five minutes only."""
    (found,) = [one for one in told(*heard(fault)) if one.fault == fault]
    assert 0.0 < late_s(found, begins_s()) <= 120.0


def test_a_sound_plant_stays_sound() -> None:
    assert told(*heard()) == []


def test_the_collectors_tick_shows_that_time_goes_on() -> None:
    """Motor and gauge are both told on change, and nothing else speaks."""
    plant, readings = heard("burst_line")
    plant = replace(plant, signals=tuple(replace(one, every_s=HEARTBEAT_S) for one in plant.signals))
    changes = readings[on_change(readings)]
    tick_us = np.arange(int(readings.time_us[0]), int(readings.time_us[-1]), 10_000_000)
    ticks = Readings.of(np.full(len(tick_us), -1), tick_us, np.zeros(len(tick_us)))
    without, ticking = (
        next(one for one in told(plant, heard_now) if one.fault == "burst_line")
        for heard_now in (changes, Readings.concatenate([changes, ticks]).in_time_order())
    )
    assert late_s(ticking, begins_s()) <= 120.0 < late_s(without, begins_s())


def looks(plant: Plant, parts: list[Readings], restart: bool = False) -> list[Look]:
    sight, found = Sight(plant), []
    for part in parts:
        if restart:
            fresh = Sight(plant)
            fresh.ordering.restore(sight.ordering.saved())
            fresh.observer.restore(sight.observer.saved())
            sight = fresh
        found += [event for event in sight.feed(part).events if isinstance(event, Look)]
    return found + [event for event in sight.finish().events if isinstance(event, Look)]


@pytest.mark.parametrize("fault", ["burst_line", "lost_prime"])
@pytest.mark.parametrize("seed", [1, 2])
def test_looks_into_silence_do_not_depend_on_how_readings_are_handed_over(fault: str, seed: int) -> None:
    plant, readings = heard(fault)
    whole = looks(plant, [readings])
    rng = np.random.default_rng(seed)
    cuts = np.sort(rng.integers(0, len(readings), 400))
    parts = [readings[a:b] for a, b in zip([0, *cuts], [*cuts, len(readings)], strict=True)]
    assert sum(look.slope_m3_s == 0.0 for look in whole) > 50
    assert looks(plant, parts, restart=True) == whole


@pytest.mark.parametrize("place", [0.88, 0.89, 0.9, 0.95])
def test_looks_into_silence_rest_on_nothing_that_comes_later(place: float) -> None:
    plant, readings = heard("burst_line")
    upto = int(place * len(readings))
    until_us = int(readings.time_us[upto - 1])
    early = [look for look in looks(plant, [readings]) if look.at_us <= until_us]
    assert [look for look in looks(plant, [readings[:upto]]) if look.at_us <= until_us] == early


def test_a_gauge_that_speaks_by_the_clock_and_drops_out_is_not_held() -> None:
    """For ten minutes of a run."""
    trace = traces.Trace(demand=lambda rng, t: np.where(t > 8.5 * HOUR, 31 * LPM, garden(rng, t)))
    readings = traces.readings(trace, 9.0 * HOUR, seed=3)
    seconds = (readings.time_us - traces.START_US) / 1e6
    lost = (readings.signal == 0) & (np.abs(seconds - 8.6 * HOUR) < 300.0)
    within = [
        look
        for look in looks(traces.plant(trace), [readings[~lost]])
        if abs((look.at_us - traces.START_US) / 1e6 - 8.6 * HOUR) < 299.0
    ]
    assert within == []


def words(every_s: float, loses: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    true = traces.run(traces.Trace(demand=garden), 8 * HOUR, seed=5)
    rng = np.random.default_rng(5)
    at = np.arange(0, len(true["t"]), round(every_s / 0.5))
    at = at[rng.random(len(at)) >= loses]
    value = true["pressure"][at] + rng.normal(0.0, 0.08 * PSI, len(at))
    return (true["t"][at] * 1e6).astype(np.int64), np.round(value / 100.0) * 100.0


@pytest.mark.parametrize("every_s", [1.0, 5.0, 30.0])
@pytest.mark.parametrize("loses", [0.0, 0.1, 0.5])
def test_words_by_the_clock_do_not_hold_however_many_are_lost(every_s: float, loses: float) -> None:
    holding = Holding()
    time_us, value = words(every_s, loses)
    holding.hear(time_us, value)
    assert holding.at(int(time_us[-1])) == (0.0, 0.0)


@pytest.mark.parametrize("parts", [1, 7, 300])
def test_words_on_change_hold_for_their_sign_of_life(parts: int) -> None:
    _, readings = heard()
    time_us, value = readings.time_us[readings.signal == 0], readings.value[readings.signal == 0]
    holding = Holding()
    for part in np.array_split(np.arange(len(value)), parts):
        fresh = Holding()
        fresh.restore(holding.saved())
        fresh.hear(time_us[part], value[part])
        holding = fresh
    holds_s, dead_pa = holding.at(int(time_us[-1]))
    assert holds_s == pytest.approx(HEARTBEAT_S, abs=1.0)
    assert dead_pa == pytest.approx(5000.0, rel=0.1)
    assert holding.at(int(time_us[0])) == (0.0, 0.0)  # nothing was known then


def test_a_zero_that_was_doubted_is_believed_once_it_has_stood() -> None:
    """The line empties between two words, and the second is all that is said for minutes."""
    plant, readings = heard("burst_line")
    pressure = readings.signal == 0
    seconds = (readings.time_us - traces.START_US) / 1e6
    low = np.flatnonzero(pressure & (seconds > begins_s()) & (readings.value < 25 * PSI))
    first, others = low[0], low[1:]
    value = readings.value.copy()
    value[first] = 0.0
    kept = np.ones(len(value), np.bool_)
    kept[others[seconds[others] < seconds[first] + 290.0]] = False
    changed = Readings(readings.signal, readings.time_us, value)[kept]
    since_us = int(readings.time_us[first])
    empty = [look for look in looks(plant, [changed]) if look.pressure_pa == 0.0]
    assert empty
    assert since_us + DROPOUT_SHORT_US < empty[0].at_us < since_us + 60_000_000


def test_a_code_ends_what_was_said_before_it() -> None:
    plant, readings = heard("burst_line")
    seconds = (readings.time_us - traces.START_US) / 1e6
    late = np.flatnonzero((readings.signal == 0) & (seconds > begins_s() + 100.0))
    silent = np.diff(readings.time_us[late], append=2**62)
    last = late[int(np.argmax(silent > 100_000_000))]
    code_us = int(readings.time_us[last]) + 30_000_000
    code = Readings.of([0], [code_us], [6.5535e8])
    until_us = code_us + 60_000_000
    spoken = Readings.concatenate([readings, code]).in_time_order()
    assert any(code_us < look.at_us < until_us for look in looks(plant, [readings]))
    assert not any(code_us <= look.at_us < until_us for look in looks(plant, [spoken]))


def test_an_engine_with_a_state_from_before_goes_on() -> None:
    plant, readings = heard()
    engine = Engine(plant)
    engine.feed(readings[: len(readings) // 2])
    saved = engine._sight.observer.saved()
    saved["looked"] = saved["looked"][:2]
    for track in saved["tracks"]:
        del track["holding"], track["bad"]
    engine._sight.observer.restore(saved)
    assert engine.feed(readings[len(readings) // 2 :]).findings == ()
