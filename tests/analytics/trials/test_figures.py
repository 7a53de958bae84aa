"""What the trials measure, against worked examples from outside and against physics worked out here."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.plant.description import Plant
from analytics.trials.course import TRIALS, Mark, course
from analytics.trials.shapes import Conclusion, Estimate
from analytics.trials.warmth import water_m3
from tests.analytics.trials.plants import (
    BEGUN_US,
    GAL,
    PA,
    PSI,
    plant,
    pressure_of,
    readings,
    slow_draw,
    water_of,
)

S_US = 1_000_000


def concluded(of: Plant, key: str, ends_s: list[float | None], said: object, now_s: float) -> Conclusion:
    """A trial whose steps ended at these seconds; None leaves the step's part out."""
    last = 0.0
    marks = []
    for end in ends_s:
        last = last if end is None else end
        marks.append(Mark(BEGUN_US + round(last * S_US), end is None))
    found = course(of, TRIALS[key], BEGUN_US, marks, said, BEGUN_US + round(now_s * S_US))  # type: ignore[arg-type]
    assert found.conclusion is not None, found
    return found.conclusion


def within(one: Estimate, value: float) -> bool:
    return one.low <= value <= one.high


def fill(of_gal: float, charge: float, seconds: float, after_s: float = 30.0) -> tuple[np.ndarray, ...]:
    """A fall to 30 psi in `after_s`, then an even fill to 50 psi in `seconds`: (time, psi, amps)."""
    low, high = water_of(30.0, of_gal, charge), water_of(50.0, of_gal, charge)
    time_s = np.arange(0.0, after_s + seconds + 60.0)
    rising = low + (high - low) * np.clip((time_s - after_s) / seconds, 0.0, 1.0)
    psi = np.where(time_s < after_s, 45 - 15 * time_s / after_s, pressure_of(rising, of_gal, charge))
    return time_s, psi, np.where((time_s >= after_s) & (time_s < after_s + seconds), 6.0, 0.0)


def test_delivery_of_a_worked_example() -> None:
    """R. Pelikan, "How to Calculate and Control Pressure Tank Drawdown", trade-journal column, Feb 2006,
    Example 1: 85 gal, 28/30/50 psi, atmosphere 14.7 psi, gives 25.1 gal; here in 150 s."""
    time_s, psi, amps = fill(85.0, 28.0, 150.0)
    tank = plant().pressure_tank
    assert tank is not None
    water = water_m3(time_s, psi * PSI, tank, PA, 0.0)  # the example's air keeps its temperature
    assert (water[-1] - water[30]) / GAL == pytest.approx(25.1, abs=0.06)
    said = concluded(plant(), "delivery", [1.0, 240.0], readings(time_s, psi, amps, 0.01), 240.0)
    assert within(said.figures["delivery_m3_s"], 25.1 * GAL / 150.0)
    assert said.figures["fill_s"].value == pytest.approx(150.0, rel=0.003)
    assert (said.outcome, said.said) == ("good", "as_rated")


@pytest.mark.parametrize(
    ("tau_s", "exponent"), [(0.0, 1.0), (1e9, 1.4)], ids=["at the wall's warmth", "without any exchange"]
)
def test_water_from_pressure_at_both_ends_of_how_air_warms(tau_s: float, exponent: float) -> None:
    """Handbook polytropes of air: P V = const kept at one temperature, P V^1.4 = const without exchange."""
    tank = plant().pressure_tank
    assert tank is not None
    pressure = np.linspace(50.0, 30.0, 50) * PSI
    water = water_m3(np.arange(50.0), pressure, tank, PA, tau_s)
    first = tank.volume_m3 - water[0]
    assert first == pytest.approx(tank.volume_m3 * (28 * PSI + PA) / (50 * PSI + PA))
    air = first * ((50 * PSI + PA) / (pressure + PA)) ** (1.0 / exponent)
    assert water == pytest.approx(tank.volume_m3 - air, rel=1e-6)


@pytest.mark.parametrize("tau_s", [45.0, 90.0, 240.0])
@pytest.mark.parametrize("draw_s", [40.0, 400.0])
def test_the_band_of_a_delivery_holds_what_a_real_gas_does(tau_s: float, draw_s: float) -> None:
    """Air by the first law in small steps, drawn down quickly or slowly and filled at 10 gpm."""
    volume, charge = 44.0 * GAL, 28 * PSI + PA
    air, warm, step = volume * charge / (50 * PSI + PA), 1.0, 0.05
    moles, flow = charge * volume, 10.0 * GAL / 60.0
    drawn = water_of(50.0, 44.0, 28.0) * GAL - water_of(30.0, 44.0, 28.0) * GAL
    times, shown, filling, at, began = [], [], False, 0.0, 0.0
    while at < 3000.0:
        pressure = moles * warm / air - PA
        if not filling and pressure <= 30 * PSI:
            filling, began = True, at
        times.append(at)
        shown.append(pressure / PSI)
        if filling and pressure >= 50 * PSI:
            break
        grown = air + (-flow if filling else drawn / draw_s) * step
        warm = 1.0 + (warm * (air / grown) ** 0.4 - 1.0) * np.exp(-step / (1.4 * tau_s))
        air, at = grown, at + step
    every = slice(None, None, 20)
    said = readings(np.array(times)[every], np.array(shown)[every], 6.0)
    found = concluded(plant(44.0), "delivery", [0.5, at], said, at)
    assert within(found.figures["delivery_m3_s"], flow)
    assert within(found.figures["delivery_cut_in_m3_s"], flow)
    # by the clock from 30 to 50 psi, told from a part of it: the air's warmth weighs on both alike
    assert found.figures["fill_s"].value == pytest.approx(at - began, rel=0.05)
    assert found.said == "as_rated"


@pytest.mark.parametrize(("seconds", "said"), [(150.0, "as_rated"), (230.0, "below")])
def test_delivery_is_held_against_the_rated_flow(seconds: float, said: str) -> None:
    found = concluded(plant(), "delivery", [1.0, 400.0], readings(*fill(85.0, 28.0, seconds)), 400.0)
    assert found.said == said
    assert within(found.figures["delivery_m3_s"], 25.1 * GAL / seconds)


def test_delivery_without_a_rated_flow_is_told_and_not_judged() -> None:
    said = readings(*fill(85.0, 28.0, 150.0))
    assert concluded(plant(rated_gpm=None), "delivery", [1.0, 240.0], said, 240.0).said == "told"


def test_leak_of_a_worked_example() -> None:
    """Boyle's law, absolute: 85 gal charged to 28 psi falls from 50 to 45 psi in an hour by a leak of
    0.0783 gal a minute (formula as in Pelikan 2006; value computed by hand, printed to 0.0002)."""
    time_s = np.arange(0.0, 3600.0)
    high, low = water_of(50.0, 85.0, 28.0), water_of(45.0, 85.0, 28.0)
    psi = pressure_of(high - (high - low) * time_s / 3600.0, 85.0, 28.0)
    # everything shut from the third step on; the hold of the tank runs to its end
    said = concluded(
        plant(), "leak_down", [1.0, 2.0, None, 2.0 + 1500.0], readings(time_s, psi, 0.0, 0.01), 1600.0
    )
    assert said.said == "somewhere"
    leak = said.figures["leak_m3_s"]
    assert leak.value * 60.0 / GAL == pytest.approx(0.0783, abs=0.0004)
    assert within(leak, 0.0783 * GAL / 60.0)


@pytest.mark.parametrize("minutes", [10.0, 15.0, 30.0])
@pytest.mark.parametrize("charge", [12.0, 20.0, 28.0, 36.0])
def test_air_charge_lies_in_its_band(charge: float, minutes: float) -> None:
    time_s, psi = slow_draw(44.0, charge, minutes=minutes)
    of = plant(44.0, charge)
    said = concluded(of, "air_charge", [0.5, 1.0, 1.5, float(time_s[-1]) + 60], drawn(time_s, psi), 9e3)
    band = said.figures["air_charge_pa"]
    assert within(band, charge * PSI), (charge, [v / PSI for v in (band.low, band.value, band.high)])
    assert band.high - band.low < 3 * PSI
    assert said.said == ("above_cut_in" if charge == 36.0 else "as_set")


def drawn(time_s: np.ndarray, psi: np.ndarray) -> object:
    """A draw that begins two seconds into the trial, and a minute of nothing after it."""
    after = np.arange(1.0, 60.0)
    return readings(
        np.concatenate([2.0 + time_s, 2.0 + time_s[-1] + after]), np.concatenate([psi, after * 0])
    )


@pytest.mark.parametrize(("true_psi", "said"), [(12.0, "low"), (20.0, "low"), (28.0, "as_set")])
def test_air_charge_is_held_against_the_plant_file(true_psi: float, said: str) -> None:
    time_s, psi = slow_draw(44.0, true_psi, minutes=15.0)
    ends = [0.5, 1.0, 1.5, float(time_s[-1]) + 60]
    assert concluded(plant(44.0), "air_charge", ends, drawn(time_s, psi), 9e3).said == said


def test_a_tap_above_the_gauge_leaves_its_own_height_standing() -> None:
    """Two metres of water are 2.84 psi (9.81 kPa a metre): the line is empty, the gauge never at zero."""
    time_s, psi = slow_draw(44.0, 28.0, minutes=15.0)
    psi = np.maximum(psi, 2.84)
    after_s = np.arange(1.0, 120.0)
    stood = readings(
        np.concatenate([[0.0, 1.0], 2.0 + time_s, 2.0 + time_s[-1] + after_s]),
        np.concatenate([[psi[0]] * 2, psi, np.full(len(after_s), 2.84)]),
    )
    ends = [0.5, 1.0, 1.5, float(time_s[-1]) + 110]
    said = concluded(plant(44.0), "air_charge", ends, stood, 9e3)
    assert said.said == "as_set"
    assert within(said.figures["air_charge_pa"], 28.0 * PSI)


def test_a_tap_shut_on_the_way_is_no_empty_line() -> None:
    time_s, psi = slow_draw(44.0, 28.0, minutes=15.0)
    stood = readings(time_s, np.maximum(psi, 20.0))
    assert concluded(plant(44.0), "air_charge", [0.5, 1.0, 1.5, 900.0], stood, 9e3).said == "too_early"


def test_a_draw_too_quick_to_tell_is_said_to_be() -> None:
    time_s, psi = slow_draw(44.0, 28.0, minutes=3.0)
    ends = [0.5, 1.0, 1.5, float(time_s[-1]) + 30]
    assert concluded(plant(44.0), "air_charge", ends, drawn(time_s, psi), 9e3).said == "too_quick"


def test_a_tank_without_air_falls_away() -> None:
    psi = np.array([48.0, 30.0, 10.0, 1.0, 0.0])
    assert concluded(plant(), "air_charge", [0.5, 1, 1.5, 30], drawn(np.arange(5.0), psi), 99).said == "lost"
