"""What the trials measure, against worked examples from outside and against physics worked out here."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.plant.description import Plant
from analytics.trials.course import TRIALS, Mark, course
from analytics.trials.shapes import Conclusion, Estimate
from tests.analytics.trials.plants import (
    BEGUN_US,
    GAL,
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
    said = concluded(plant(), "delivery", [1.0, 240.0], readings(*fill(85.0, 28.0, 150.0), 0.01), 240.0)
    drawdown = said.figures["delivery_m3_s"].value * 150.0 / GAL
    assert drawdown == pytest.approx(25.1, abs=0.06)
    assert said.figures["fill_s"].value == pytest.approx(150.0, rel=0.003)
    assert (said.outcome, said.said) == ("good", "as_rated")


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


def test_a_draw_too_quick_to_tell_is_said_to_be() -> None:
    time_s, psi = slow_draw(44.0, 28.0, minutes=3.0)
    ends = [0.5, 1.0, 1.5, float(time_s[-1]) + 30]
    assert concluded(plant(44.0), "air_charge", ends, drawn(time_s, psi), 9e3).said == "too_quick"


def test_a_tank_without_air_falls_away() -> None:
    psi = np.array([48.0, 30.0, 10.0, 1.0, 0.0])
    assert concluded(plant(), "air_charge", [0.5, 1, 1.5, 30], drawn(np.arange(5.0), psi), 99).said == "lost"
