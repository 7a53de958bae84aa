"""How a fault comes and goes: suddenly, along a ramp, now and then; and its end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np

Onset = Literal["sudden", "ramp", "intermittent"]

_MOST_SPELLS = 5_000


@dataclass(frozen=True, slots=True)
class FaultPlan:
    """One fault: what, how bad, from when, growing how, repaired when. Times since the start [s]."""

    fault: str
    cause: str | None = None
    severity: float = 0.8  # 0 none .. 1 as bad as it gets
    from_s: float = 0.0
    until_s: float | None = None
    onset: Onset = "sudden"
    over_s: float = 0.0  # ramp: time to full severity
    on_s: float = 3_600.0  # intermittent: mean time present, and
    off_s: float = 10_800.0  # mean time absent
    signal: str | None = None  # sensor_fault: which


class Course:
    """Severity of one planned fault over time."""

    def __init__(self, plan: FaultPlan, random: np.random.Generator) -> None:
        self.plan = plan
        self._spells = _spells(plan, random) if plan.onset == "intermittent" else ()

    def edges(self) -> list[float]:
        """Times at which the severity jumps."""
        ends = [self.plan.from_s] + ([self.plan.until_s] if self.plan.until_s is not None else [])
        return ends + [edge for spell in self._spells for edge in spell]

    def present(self, at_s: float) -> bool:
        """From its beginning until its repair, whether it shows just now or not."""
        plan = self.plan
        return plan.from_s <= at_s and (plan.until_s is None or at_s < plan.until_s)

    def severity(self, at_s: float) -> float:
        """Severity at a time; 0 when absent."""
        plan = self.plan
        if not self.present(at_s):
            return 0.0
        if plan.onset == "ramp" and plan.over_s > 0.0:
            return plan.severity * min((at_s - plan.from_s) / plan.over_s, 1.0)
        if plan.onset == "intermittent":
            return plan.severity if any(a <= at_s < b for a, b in self._spells) else 0.0
        return plan.severity

    def growing(self, at_s: float) -> bool:
        """Along a ramp that has not ended."""
        plan = self.plan
        return plan.onset == "ramp" and self.present(at_s) and at_s < plan.from_s + plan.over_s


def _spells(plan: FaultPlan, random: np.random.Generator) -> tuple[tuple[float, float], ...]:
    """On and off with exponential lengths, from the fault's beginning; bounded in number."""
    spells: list[tuple[float, float]] = []
    at = plan.from_s
    end = plan.until_s if plan.until_s is not None else float("inf")
    while at < end and len(spells) < _MOST_SPELLS:
        stop = at + float(random.exponential(plan.on_s))
        spells.append((at, min(stop, end)))
        at = stop + float(random.exponential(plan.off_s))
    return tuple(spells)
