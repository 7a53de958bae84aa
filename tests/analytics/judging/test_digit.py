"""A slow fill before a gauge of few digits: what stands at one word may flow all the same."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec import structs

from analytics.engine import Engine
from analytics.judging.digit import Digit, with_digit
from analytics.plant.description import Measure, PressureTank, Pump
from analytics.readings import Readings
from analytics.seeing.water import Water
from tests.analytics import traces
from tests.analytics.faults.test_blocked_outlet import LOOK

DIGIT_PA = 3_500.0
LPM = traces.LPM
WATER = Water.of(traces.plant(traces.Trace()))


@pytest.mark.parametrize(("slope_m3_s", "error_m3_s", "flat"), [(0.0, 0.0, True), (1e-6, 1e-6, False)])
def test_a_look_whose_words_are_one_does_not_know_what_flows_below_a_digit(
    slope_m3_s: float, error_m3_s: float, flat: bool
) -> None:
    digit = Digit()
    look = structs.replace(LOOK, slope_m3_s=slope_m3_s, slope_error_m3_s=error_m3_s, noise_pa=0.0)
    assert with_digit(look, digit, WATER) is look  # nobody knows it yet
    digit.pa = DIGIT_PA
    seen = with_digit(look, digit, WATER)
    if not flat:
        assert seen is look
        return
    assert look.pressure_pa is not None
    a_digit_m3_s = DIGIT_PA / look.window_s * WATER.compliance_m3_pa(look.pressure_pa)
    assert seen.slope_error_m3_s == pytest.approx(0.5 * a_digit_m3_s)
    assert seen.noise_pa == pytest.approx(0.5 * DIGIT_PA)


@pytest.mark.parametrize("left_pa", [0.0, DIGIT_PA])
def test_a_run_that_has_not_left_its_first_word_has_stood_for_all_its_length(left_pa: float) -> None:
    """Two minutes at one word, of looks of twenty seconds: a sixth of what one of them alone may hide."""
    pressure_pa = LOOK.pressure_pa
    assert pressure_pa is not None
    look = structs.replace(
        LOOK, age_s=6.0 * LOOK.window_s, pressure_start_pa=pressure_pa,
        pressure_high_pa=pressure_pa + left_pa, slope_m3_s=0.0, slope_error_m3_s=0.0,
    )  # fmt: skip
    seen = with_digit(look, Digit(DIGIT_PA), WATER)
    hides_m3_s = 0.5 * DIGIT_PA / look.window_s * WATER.compliance_m3_pa(pressure_pa)
    assert seen.slope_error_m3_s == pytest.approx(hides_m3_s / (1.0 if left_pa else 6.0))


def test_a_small_pump_that_fills_a_large_tank_a_digit_in_minutes_has_its_prime() -> None:
    """8.5 L/min into 450 L, by a contact, a meter and an 8-bit gauge; at times most of it is drawn."""

    def demand(_: np.random.Generator, t: np.ndarray) -> np.ndarray:
        half_hour = (t // 1800) % 5
        return 7.5 * LPM * ((half_hour == 1) + 0.6 * (half_hour == 3))

    trace = traces.Trace(
        flow_cut_in_m3_s=8.5 * LPM, volume_m3=0.45, demand=demand, motor=Measure.PUMP_RUNNING, every_s=5.0,
        extra={"flow": 1.0},
    )  # fmt: skip
    heard = traces.readings(trace, 24 * 3_600.0, seed=3)
    coarse = np.where(heard.signal == 0, np.round(heard.value / DIGIT_PA) * DIGIT_PA, heard.value)
    plant = traces.plant(
        trace,
        pressure_tank=PressureTank(0.45, 28 * traces.PSI),
        pump=Pump(None, 8.5 * LPM, 90.0, 20.0, None, None),
    )
    found = Engine(plant).feed(Readings(heard.signal, heard.time_us, coarse)).findings
    assert [one.fault for one in found] == []
