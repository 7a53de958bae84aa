"""Air temperature and rain, minute by minute."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.examiner.physics import Array

MINUTES = 1440


def weather(rng: Generator, days: int, cold: bool) -> tuple[Array, Array]:
    """Air temperature [degC] and rain [m a minute]."""
    minute = np.arange(days * MINUTES)
    mean = float(rng.uniform(-1, 4) if cold else rng.uniform(10, 24))
    swing = float(rng.uniform(3, 9))
    front = np.zeros(days + 1)
    for day in range(1, days + 1):
        front[day] = 0.75 * front[day - 1] + rng.normal(0, 1.6)
    slow = np.interp(minute / MINUTES, np.arange(days + 1), front)
    air = mean + slow + swing * np.sin(2 * np.pi * (minute / MINUTES - 0.375))
    rain = np.zeros(len(minute))
    often = float(rng.choice([0.0, 0.1, 0.3]))
    for day in range(days):
        if rng.random() < often:
            start = day * MINUTES + int(rng.integers(0, MINUTES))
            length = int(rng.integers(20, 480))
            shape = rng.gamma(0.7, 1.0, length)
            fall = float(rng.gamma(1.5, 4.0)) * 1e-3
            stop = min(start + length, len(rain))
            rain[start:stop] += (shape / shape.sum() * fall)[: stop - start]
    return air, rain


def caught(rain: Array, roof_m2: float, runoff: float, first_flush_m3: float) -> Array:
    """What the roof brings to the storage [m3/s], once the first flush of a day with rain is gone."""
    gathered = rain * roof_m2 * runoff
    for start in range(0, len(gathered), MINUTES):
        day = gathered[start : start + MINUTES]
        gone = np.minimum(np.cumsum(day), first_flush_m3)
        gathered[start : start + MINUTES] = day - np.diff(np.concatenate([[0.0], gone]))
    return np.asarray(gathered / 60)
