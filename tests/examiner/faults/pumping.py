"""A pump that moves no water, a rotor that does not turn, a switch that does not let go."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.case import Case
from tests.examiner.truth import Truth


def lost_prime(case: Case, rng: Generator, a: float, b: float) -> None:
    """The pump loses its water, before a run or within one."""
    case.controls[case.over(a, b), ph.PRIME] = ph.LOSES_IN_RUN if rng.random() < 0.4 else 0.0
    also = () if case.has("storage_level") else ("dry_supply",)
    case.truths.append(Truth("lost_prime", a, b, "dry", also=also))


def dry_supply(case: Case, rng: Generator, a: float, b: float) -> None:
    """A drain is left open: the storage stands at its outlet until a tanker comes."""
    longest = 0.0
    for j, s in enumerate(case.plant.storages):
        # Through a two-inch valve at 2 m of head some 5 L/s.
        drains = max(float(rng.uniform(1.5, 8)) * 3600, s.volume_m3 / 0.005)
        longest = max(longest, drains)
        # Torricelli: a cylinder is empty after 2 A sqrt(h) / c.
        case.controls[case.over(max(a - drains, 0.0), b), ph.OUT_A + j] = (
            2 * s.area_m2 * s.full_m**0.5 / drains
        )
        brings = min(0.6 * s.volume_m3, 15.0)
        case.controls[case.over(b, b + brings / 0.01), ph.IN_A + j] += 0.01
    also = () if case.has("storage_level") else ("lost_prime",)
    case.truths.append(Truth("dry_supply", max(a - longest, 0.0), b, "dry", also=also))


def blocked(case: Case, rng: Generator, a: float, b: float) -> None:
    """A valve between pump and tank is shut, or the pipe is frozen."""
    frozen = case.has("air_temperature") and rng.random() < 0.5
    if frozen:
        span = case.over(a - 6 * 3600, b)
        case.air[span] = np.minimum(case.air[span], -rng.uniform(4, 9))
    case.controls[case.over(a, b), ph.BLOCKED] = 1.0
    told = case.has("discharge_pressure") or case.has("pump_power")
    causes: tuple[str | None, ...] = ("frozen",) if frozen else ("closed_valve", None)
    case.truths.append(
        Truth("blocked_discharge", a, b, "blocked", causes, also=() if told else ("lost_prime",))
    )


def stuck_switch(case: Case, rng: Generator, a: float, b: float) -> None:
    """The contact welds: the pump does not stop at cut-out."""
    case.controls[case.over(a, b), ph.STUCK] = 1.0
    case.truths.append(Truth("overpressure", a, b, "over", ("switch_stuck",)))


def overload(case: Case, rng: Generator, a: float, b: float) -> None:
    """A dragging bearing, or a rotor that does not turn."""
    locked = rng.random() < 0.4
    if locked:
        case.controls[case.over(a, b), ph.LOCKED] = 1.0
        rule = "locked"
    else:
        case.controls[case.over(a, b), ph.FRICTION] *= float(rng.uniform(1.45, 1.9))
        rule = "days"
    case.truths.append(Truth("motor_overload", a, b, rule, ("locked_rotor",) if locked else (None,)))
