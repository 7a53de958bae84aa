"""All that one case is made of, and the ways to change it between two times."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.examiner.demand import Demand
from tests.examiner.physics import Array
from tests.examiner.plants import Plant
from tests.examiner.sensors import Sensor
from tests.examiner.truth import Truth

DAY_S = 86400.0


@dataclass
class Case:
    """All that one case is made of."""

    plant: Plant
    sensors: list[Sensor]
    demand: Demand
    days: int
    controls: Array
    levels: tuple[float, ...]
    start_epoch: float
    midnight_s: float
    air: Array
    rain_m: Array
    truths: list[Truth] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    steps: list[tuple[float, float]] = field(default_factory=list)  # the clock leaps: when, by how much [s]
    salt: list[tuple[float, float, float]] = field(default_factory=list)

    def has(self, measures: str) -> bool:
        """Whether a sensor of it is fitted."""
        return any(s.measures == measures for s in self.sensors)

    def over(self, a: float, b: float) -> slice:
        """The minutes between two times."""
        return slice(int(a // 60), max(int(b // 60), int(a // 60) + 1))

    def daily_m3(self) -> float:
        """Mean use."""
        return max(self.demand.daily_m3(self.days), 0.02)


def ramp(case: Case, column: int, a: float, b: float, full_s: float, to: float) -> None:
    """Let a control go from one to another value within `full_s`, and stay there."""
    span = case.over(a, b)
    minutes = np.arange(span.stop - span.start) * 60.0
    share = np.minimum(minutes / max(full_s, 60.0), 1.0)
    size = len(case.controls[span, column])
    case.controls[span, column] = (1 + (to - 1) * share)[:size]
