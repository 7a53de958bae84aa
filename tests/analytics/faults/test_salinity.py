"""Salt against the garden's own limit, by probes that compensate for temperature and by one that does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.plant.description import Measure, Plant, Pump, Signal
from analytics.plant.garden import Garden
from analytics.readings import Readings
from analytics.records import Finding

START_US = 1_900_022_400_000_000
PLANT = Plant(
    "p", "P", "UTC", "metric", 0.0, Pump(),
    (
        Signal("salt", Measure.SUPPLY_CONDUCTIVITY, "s", "S/m", every_s=60.0),
        Signal("warmth", Measure.WATER_TEMPERATURE, "w", "degC", every_s=60.0),
    ),
    garden=Garden(80.0, crop="tomato"),
)  # fmt: skip


def found(plant: Plant, salt_s_m: float, water_c: float | None) -> list[Finding]:
    """Three hours of a steady supply, a little noise on it so that the probe is not stuck."""
    t = START_US + np.arange(0, 3 * 3600, 60) * 1_000_000
    ripple = 1 + 0.01 * np.sin(np.arange(len(t)))
    parts = [Readings.of(np.zeros(len(t), np.int16), t, salt_s_m * ripple)]
    if water_c is not None:
        parts.append(Readings.of(np.ones(len(t), np.int16), t + 1, water_c + 0.1 * ripple))
    engine = Engine(plant)
    outcomes = [engine.feed(Readings.concatenate(parts).in_time_order()), engine.finish()]
    said = [one for outcome in outcomes for one in outcome.findings]
    return [one for one in said if one.fault == "salinity_high"]


def raw(per_degree: float = 0.0191) -> Plant:
    salt, warmth = PLANT.signals
    return replace(PLANT, signals=(replace(salt, temperature_coefficient=per_degree), warmth))


def test_the_limit_is_the_crops() -> None:
    """Tomato: ECe 2.5 dS/m (Maas 1990), which ECw 1.67 keeps (ECe = 1.5 ECw, FAO 29)."""
    assert not found(PLANT, 0.14, None)
    (one,) = found(PLANT, 0.20, None)
    assert "tomato" in one.summary
    assert one.evidence["limit_s_m"] == pytest.approx(0.25 / 1.5)


def test_cold_water_is_saltier_than_a_plain_probe_says() -> None:
    """1.4 dS/m read in water of 10 degC is 1.96 at 25: 1.4 / (1 - 0.0191 x 15), Standard Methods 2510 B."""
    (one,) = found(raw(), 0.14, 10.0)
    assert one.evidence["supply_conductivity_s_m"] == pytest.approx(0.14 / (1 - 0.0191 * 14.9), rel=0.01)


def test_without_the_waters_warmth_nothing_is_claimed() -> None:
    assert not found(raw(), 0.25, None)
