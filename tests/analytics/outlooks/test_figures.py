"""The plain figures of the day, on runs made up one by one, against Boyle's law worked out here.

The drawdown of a tank charged to 28 psi between 30 and 50 psi at sea level is 0.295 of its volume (the
design's trap of gauge pressure in Boyle's law gives 0.373): the one value from outside, by the issue.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.judging.signature import Signature
from analytics.judging.watch import Known
from analytics.outlooks.figures import Figures
from analytics.plant.description import Measure, Plant, PressureTank, Pump, Signal, Switch
from analytics.records import Cycle, Outlook
from analytics.seeing.events import Day, Run
from analytics.seeing.water import Water

PSI = 6_894.757
SEA_LEVEL_PA = 101_325.0
DAY_US = 86_400_000_000
MIDNIGHT_US = 22_000 * DAY_US
CHARGE, CUT_IN, CUT_OUT, VOLUME = 28 * PSI, 30 * PSI, 50 * PSI, 0.2
DELIVERY, RUN_S, RUNS_A_DAY = 5e-4, 100.0, 24
PLANT = Plant(
    "made-up", "Made up", "UTC", "metric", 0.0, Pump(500.0, None, 30.0, 20.0, 1.0, Measure.PUMP_CURRENT),
    (
        Signal("pressure", Measure.LINE_PRESSURE, "p", "Pa", every_s=1.0),
        Signal("motor", Measure.PUMP_CURRENT, "m", "A", every_s=1.0),
    ),
    Switch(CUT_IN, CUT_OUT), PressureTank(VOLUME, CHARGE), None, (),
)  # fmt: skip


def run(at_us: int, apparent: float, rng: np.random.Generator) -> Run:
    low, high, mid = (DELIVERY * apparent * (1.0 + 0.05 * rng.standard_normal()) for _ in range(3))
    start_us = at_us - int(RUN_S * 1e6)
    cycle = Cycle(start_us, at_us, RUN_S, 3000.0, CUT_IN, CUT_OUT, 0.05, 1.1 * low, 0.9 * high, 0.0, mid)
    return Run(at_us, cycle, True, 1.0, 0.0, mid, 0.0, pressure_low_pa=CUT_IN, pressure_high_pa=CUT_OUT)


def told(
    days: int, apparent: list[float], seed: int = 0, runs_a_day: int = RUNS_A_DAY
) -> list[dict[str, Outlook]]:
    """What each day's end says, where the tank's compliance is 1 / apparent of the plant file's."""
    rng, signature, figures = np.random.default_rng(seed), Signature(), Figures(PLANT)
    known = cast(Known, SimpleNamespace(plant=PLANT, signature=signature, water=Water.of(PLANT)))
    said = []
    for day in range(days):
        from_us = MIDNIGHT_US + day * DAY_US
        for k in range(runs_a_day):
            one = run(from_us + (k + 1) * DAY_US // (runs_a_day + 1), apparent[day], rng)
            figures.run(one, known)
            signature.learn(one, True, 0.5 * (CUT_OUT - CUT_IN))
        end = Day(from_us + DAY_US, from_us, from_us + DAY_US)
        said.append({one.kind: one for one in figures.outlooks(end, known)})
    return said


def middle(outlook: Outlook) -> float:
    assert outlook.p10 is not None
    assert outlook.p50 is not None
    assert outlook.p90 is not None
    assert outlook.p10 <= outlook.p50 <= outlook.p90
    return outlook.p50


def test_a_sound_tank_gives_the_drawdown_of_the_tables() -> None:
    last = told(8, [1.0] * 8)[-1]
    assert middle(last["drawdown_m3"]) / VOLUME == pytest.approx(0.295, rel=0.05)
    assert middle(last["air_charge_pa"]) == pytest.approx(CHARGE, abs=1.5 * PSI)
    assert middle(last["delivery_cut_in_m3_s"]) == pytest.approx(1.1 * DELIVERY, rel=0.05)
    assert middle(last["delivery_cut_out_m3_s"]) == pytest.approx(0.9 * DELIVERY, rel=0.05)


def test_demand_is_what_the_pump_brought() -> None:
    last = told(8, [1.0] * 8)[-1]
    assert middle(last["demand_m3_day"]) == pytest.approx(DELIVERY * RUN_S * RUNS_A_DAY, rel=0.03)


def test_air_that_is_gone_is_taken_off_charge_drawdown_and_flows_by_boyles_law() -> None:
    """A fifth of the compliance V (Pc + pa) is gone: apparent flows are a quarter up, true ones are not."""
    last = told(8, [1.0] * 4 + [1.0 / 0.8] * 4)[-1]
    charge = 0.8 * (CHARGE + SEA_LEVEL_PA) - SEA_LEVEL_PA
    assert middle(last["air_charge_pa"]) == pytest.approx(charge, abs=1.5 * PSI)
    assert middle(last["drawdown_m3"]) / VOLUME == pytest.approx(0.8 * 0.295, rel=0.05)
    assert middle(last["delivery_cut_in_m3_s"]) == pytest.approx(1.1 * DELIVERY, rel=0.06)


def test_nothing_is_said_of_air_before_the_plant_is_known() -> None:
    first = told(1, [1.0])[0]
    assert first.get("weeks_to_top_up_air") is None or first["weeks_to_top_up_air"].p50 is None
    assert "demand_m3_day" not in first


@pytest.mark.parametrize("runs_a_day", [RUNS_A_DAY, 5])
def test_weeks_to_top_up_hold_the_truth_in_eight_of_ten(runs_a_day: int) -> None:
    """Air goes by one part in a hundred a day; three quarters left is due. Twelve runs tell each day's air:
    where there are five a day, they are of days that are over."""
    days = 20
    share = [1.0] * 3 + [1.0 - 0.01 * k for k in range(1, days - 2)]
    inside = 0
    for seed in range(40):
        last = told(days, [1.0 / s for s in share], seed, runs_a_day)[-1]["weeks_to_top_up_air"]
        due = (share[-1] - 0.75) / 0.01 / 7.0
        low, high = last.p10, last.p90
        inside += low is not None and low <= due and (high is None or due <= high)
    assert inside / 40 == pytest.approx(0.8, abs=0.19)  # three standard errors of a share of 40


def test_a_plant_whose_tank_is_not_in_its_file_has_no_such_figures() -> None:
    bare = Water.of(replace(PLANT, pressure_tank=None))
    known = cast(Known, SimpleNamespace(plant=PLANT, signature=Signature(), water=bare))
    assert Figures(PLANT).outlooks(Day(MIDNIGHT_US, MIDNIGHT_US - DAY_US, MIDNIGHT_US), known) == ()
