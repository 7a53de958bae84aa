"""A small plant for these tests, and readings for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from analytics.plant.parsing import parse_plant
from analytics.readings import Readings

START_US = 1_935_532_800_000_000  # an hour's beginning, 2031-05-03
SECOND_US = 1_000_000
HOUR_US = 3_600 * SECOND_US

TEXT = """
version = 1
title = "Upper spring"
display_units = "metric"
timezone = "America/Boise"
[switch]
cut_in = "2 bar"
cut_out = "3.5 bar"
[[signal]]
name = "pressure"
measures = "line_pressure"
topic = "spring/pressure"
unit = "PRESSURE_UNIT"
[[signal]]
name = "motor"
measures = "pump_current"
topic = "spring/amps"
unit = "A"
[[signal]]
name = "level, rain"
measures = "air_temperature"
topic = "spring/air"
unit = "degC"
"""


def plant(pressure_unit: str = "psi"):
    return parse_plant(TEXT.replace("PRESSURE_UNIT", pressure_unit), "spring")


def readings(rows: list[tuple[int, int, float]]) -> Readings:
    """From (signal, time, value) rows."""
    columns: list[Any] = list(zip(*rows, strict=True)) if rows else [[], [], []]
    return Readings.of(*columns)


def seconds(start_us: int, count: int, seed: int = 1) -> Readings:
    """`count` seconds of all three signals, as sensors of two decimals would say it, with jitter."""
    random = np.random.default_rng(seed)
    time_us = np.repeat(start_us + np.arange(count) * SECOND_US, 3) + random.integers(0, 40_000, 3 * count)
    signal = np.tile([0, 1, 2], count)
    value = np.round(40 + 5 * np.sin(np.arange(3 * count) / 300) + random.normal(0, 0.1, 3 * count), 2)
    return Readings.of(signal, time_us, value)
