"""Large draws that shrink, on runs made up from the orifice law, written here apart from the judgement's.

A draw of D through a filter that has grown by k: D' = D / sqrt(1 + k D^2), in units of the pressure.
"""

from __future__ import annotations

from math import sqrt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from msgspec import structs

from analytics.judging.draws import Draws, Shrunk, judged, take_up
from analytics.plant.description import Measure, Plant, PressureTank, Pump, Switch
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water

PSI = 6_894.757
CUT_IN, CUT_OUT, DELIVERY = 30 * PSI, 50 * PSI, 5e-4
PLANT = Plant(
    "made-up", "Made up", "UTC", "metric", 0.0, Pump(500.0, None, 30.0, 20.0, 1.0, Measure.PUMP_CURRENT),
    (), Switch(CUT_IN, CUT_OUT), PressureTank(0.2, 28 * PSI), None, (),
)  # fmt: skip
WATER = Water.of(PLANT)
HELD = WATER.between_m3(CUT_IN, CUT_OUT)
UTC = ZoneInfo("UTC")
MORNING_S = 22_000 * 86_400.0 + 6 * 3_600.0


def season(
    zones: list[list[float]],
    growth: list[float],
    *,
    hour: list[float] | None = None,
    meter: bool = False,
    seed: int = 1,
) -> list[Shrunk | None]:
    """What each day's last draw lets be said. zones: each day's draws, one after the other [m3/s when
    clean], 50 minutes of each; growth: of the filter, each day [s2/m6]."""
    rng, draws, said = np.random.default_rng(seed), Draws(), []
    for day, (today, grown) in enumerate(zip(zones, growth, strict=True)):
        now_s = MORNING_S + 86_400.0 * day + 3_600.0 * (hour[day] if hour else 0.0)
        for flow in today:
            end_s = now_s + 3_000.0
            drawn = flow / sqrt(1.0 + grown * flow**2)
            while now_s < end_s:
                rest_s = HELD / (drawn * (1.0 + 0.04 * rng.standard_normal()))
                run_s = HELD / (DELIVERY - drawn)
                start, stop = int(1e6 * (now_s + rest_s)), int(1e6 * (now_s + rest_s + run_s))
                cycle = Cycle(start, stop, run_s, rest_s, CUT_IN, CUT_OUT)
                one = Run(stop, cycle, True, 1.0)
                take_up(
                    draws, structs.replace(one, flow_m3_s=drawn) if meter else one, WATER, UTC, DELIVERY, True
                )
                now_s += rest_s + run_s
        said.append(judged(draws, 1.0))
    return said


TWO = [2.0e-4, 3.0e-4]
CLOGGED = (0.55**-2 - 1.0) / 3.0e-4**2  # leaves 0.55 of the larger


@pytest.mark.parametrize("meter", [False, True])
def test_a_sudden_clog_is_sure_on_its_second_day(meter: bool) -> None:
    said = season([TWO] * 10, [0.0] * 6 + [CLOGGED] * 4, meter=meter)
    assert not any(one is not None and one.sure for one in said[:7])
    second = said[7]
    assert second is not None
    assert second.sure
    assert second.share == pytest.approx(0.55, abs=0.05)
    assert second.zones == 2
    assert second.since_s == pytest.approx(MORNING_S + 6 * 86_400.0, abs=2 * 3_600.0)


def test_a_slow_clog_is_sure_before_a_third_of_the_draw_is_gone_and_is_not_learned() -> None:
    shares = np.concatenate([np.ones(4), np.linspace(1.0, 0.5, 24)])
    said = season([TWO] * 28, [float((one**-2 - 1.0) / 3.0e-4**2) for one in shares])
    first = next(day for day, one in enumerate(said) if one is not None and one.sure)
    assert 0.67 < shares[first] < 0.85


def test_flushed_it_is_back() -> None:
    said = season([TWO] * 12, [0.0] * 5 + [CLOGGED] * 3 + [0.0] * 4)
    assert said[-1] is not None
    assert said[-1].back
    assert not said[-1].sure


@pytest.mark.parametrize("seed", range(12))
def test_as_ever_nothing_is_said(seed: int) -> None:
    said = season([TWO] * 14, [0.0] * 14, seed=seed)
    assert said[-1] is not None
    assert not any(one is not None and one.sure for one in said)


def test_a_smaller_zone_at_the_hour_of_a_larger_is_another_programme() -> None:
    """The two change places: at the larger's hour flows two thirds, but as much as ever at the other's."""
    said = season([[3.0e-4, 2.0e-4]] * 6 + [[2.0e-4, 3.0e-4]] * 4, [0.0] * 10)
    assert not any(one is not None and one.sure for one in said)


@pytest.mark.parametrize("turn", [[[2.6e-4], [0.9e-4]], [[2.6e-4], [0.9e-4], [0.9e-4]]])
def test_zones_that_take_turns_by_the_day_are_no_clog(turn: list[list[float]]) -> None:
    said = season(turn * 6, [0.0] * 6 * len(turn))
    assert not any(one is not None and one.sure for one in said)


def test_one_zone_of_two_that_shrinks_alone_is_no_filter() -> None:
    said = season([TWO] * 6 + [[2.0e-4, 1.6e-4]] * 4, [0.0] * 10)
    assert not any(one is not None and one.sure for one in said)


def test_days_without_the_programme_say_nothing() -> None:
    said = season([TWO] * 5 + [[]] * 4 + [[0.6e-4]] * 3, [0.0] * 12)
    assert not any(one is not None and one.sure for one in said)


def test_a_tank_that_has_got_its_air_back_shrinks_no_draw() -> None:
    """Of twice the air all flows look half as large, delivery too: over what is left of that, none shrank."""
    draws = Draws(newest=[[86_400.0 * day + k, day, 3e-4, 1.5e-4] for day in (1, 2) for k in range(6)])
    draws.large = [[one[0], one[3]] for one in draws.newest]
    alone, beside = judged(draws, 1.0), judged(draws, 0.5)
    assert alone is not None
    assert alone.sure
    assert beside is not None
    assert not beside.sure
