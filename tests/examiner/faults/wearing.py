"""A filter that clogs and a pump that wears."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.case import DAY_S, Case, ramp
from tests.examiner.plants import Plant
from tests.examiner.truth import Truth


def _clog(plant: Plant, left: float) -> float:
    """How many times the filter's k leaves this share of delivery."""
    v = plant.vector
    if plant.filtered == "after_tank":
        q = 0.7 * plant.q_out
        return float(1 + (1 / left**2 - 1) * v[ph.NOMINAL_PA] / (v[ph.FILTER_K] * q**2))
    whole = v[ph.PUMP_A] + v[ph.FILTER_K]
    return float((whole / left**2 - v[ph.PUMP_A]) / v[ph.FILTER_K])


def _alike(case: Case, other: str) -> tuple[str, ...]:
    """Filter and pump look the same where neither power nor an outlet gauge tells them apart."""
    told = case.has("discharge_pressure") or case.has("pump_power") or case.plant.filtered != "before_tank"
    return () if told else (other,)


def _draws_show(case: Case, a: float, b: float) -> bool:
    """Behind the tank a filter shows in large draws alone: there must be some, clean and clogged."""
    big = [t for t, length, rate in case.demand.draws if rate > 0.5 * case.plant.q_out and length > 240]
    return sum(t < a for t in big) >= 4 and sum(0.5 * (a + b) < t < b for t in big) >= 4


def clog_sudden(case: Case, rng: Generator, a: float, b: float) -> None:
    """A slug of silt, a collapsed cartridge."""
    left = float(rng.uniform(0.4, 0.68))
    ramp(case, ph.CLOG, a, b, 600, _clog(case.plant, left))
    rule = "days" if case.plant.filtered == "after_tank" else "runs"
    case.truths.append(
        Truth(
            "clogged_filter",
            a,
            b,
            rule,
            also=_alike(case, "pump_wear"),
            note=f"sudden to {left:.2f} {case.plant.filtered}",
        )
    )


def clog_slow(case: Case, rng: Generator, a: float, b: float) -> None:
    """Delivery falls away over days or weeks."""
    left = float(rng.uniform(0.4, 0.6))
    takes = max(min(b - a, rng.uniform(5, 20) * DAY_S), 4 * DAY_S)
    shape = float(rng.uniform(0.8, 2.2))
    span = case.over(a, b)
    minutes = np.arange(span.stop - span.start) * 60.0
    share = 1 - (1 - left) * np.minimum(minutes / takes, 1) ** shape
    size = len(case.controls[span, ph.CLOG])
    case.controls[span, ph.CLOG] = np.array([_clog(case.plant, float(x)) for x in share[:size]])
    down = a + takes * (0.3 / (1 - left)) ** (1 / shape)
    case.truths.append(
        Truth(
            "clogged_filter",
            a,
            b,
            f"after:{down - a:.0f}",
            also=_alike(case, "pump_wear"),
            required=case.plant.filtered == "before_tank" or _draws_show(case, a, down),
            note=f"slow to {left:.2f} in {takes / DAY_S:.1f} d {case.plant.filtered}",
        )
    )


def _worn(plant: Plant, left: float) -> float:
    v = plant.vector
    h0 = v[ph.SHUTOFF] - v[ph.LIFT] * ph.DENSITY_GRAVITY
    lost = (1 - left**2) * (h0 - v[ph.NOMINAL_PA])
    return float(1 - lost / v[ph.SHUTOFF])


def pump_wear(case: Case, rng: Generator, a: float, b: float) -> None:
    """Head falls at every flow, and power with it."""
    v = case.plant.vector
    h0 = v[ph.SHUTOFF] - v[ph.LIFT] * ph.DENSITY_GRAVITY
    # Cut-out must still be reached, by some margin.
    least = float(np.sqrt(max(1 - (h0 - 1.03 * case.plant.cut_out_pa) / (h0 - v[ph.NOMINAL_PA]), 0)))
    left = float(max(rng.uniform(0.5, 0.72), least))
    sudden = rng.random() < 0.4
    takes = 600.0 if sudden else min(b - a, rng.uniform(5, 15) * DAY_S)
    ramp(case, ph.HEAD, a, b, takes, _worn(case.plant, left))
    case.controls[case.over(a, b), ph.FRICTION] *= case.controls[case.over(a, b), ph.HEAD]
    down = takes * min(0.3 / (1 - left), 1.0)
    rule = "days" if sudden else f"after:{down + DAY_S:.0f}"
    case.truths.append(
        Truth(
            "pump_wear",
            a,
            b,
            rule,
            also=_alike(case, "clogged_filter"),
            required=left < 0.75,
            note=f"{'sudden' if sudden else 'slow'} to {left:.2f} in {takes / DAY_S:.1f} d",
        )
    )
