"""Water that goes where it should not, or is used up."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.case import DAY_S, Case
from tests.examiner.plants import LITRE_A_MINUTE
from tests.examiner.truth import Truth


def burst_line(case: Case, rng: Generator, a: float, b: float) -> None:
    """The line opens for more than the pump delivers."""
    times = float(rng.choice([rng.uniform(1.2, 1.6), rng.uniform(1.6, 4)]))
    case.controls[case.over(a, b), ph.BURST] = times * case.plant.q_in / np.sqrt(case.plant.cut_in_pa)
    case.truths.append(Truth("burst_line", a, b, "burst", note=f"{times:.2f} x delivery"))


def supply_leak(case: Case, rng: Generator, a: float, b: float) -> None:
    """The pressurised side loses water, downstream or back through the check valve."""
    p = case.plant
    q = min(float(np.exp(rng.uniform(np.log(0.2), np.log(2.5)))) * LITRE_A_MINUTE, 0.25 * p.q_out)
    mid = p.vector[ph.NOMINAL_PA]
    back = rng.random() < 0.4
    meter = case.has("supply_flow") and q > 0.03 * p.q_in
    if back:
        case.controls[case.over(a, b), ph.CHECK] = q / np.sqrt(mid)
    else:
        case.controls[case.over(a, b), ph.LEAK] = q / mid ** p.vector[ph.LEAK_N]
    right = "check_valve" if back else "downstream"
    case.truths.append(
        Truth(
            "supply_leak",
            a,
            b,
            "nights",
            (right,) if meter else (right, None),
            note=f"{right} {q / LITRE_A_MINUTE:.2f} L/min",
        )
    )


def storage_leak(case: Case, rng: Generator, a: float, b: float) -> None:
    """A storage seeps or runs out through a fitting."""
    j = int(rng.integers(len(case.plant.storages)))
    s = case.plant.storages[j]
    level = next((x for x in case.sensors if x.of == s.name), None)
    fine = max(level.quantum, 2 * level.noise) if level else 0.01
    daily = max(0.01 * s.volume_m3, 3 * 4 * fine * s.area_m2, 0.2 * case.daily_m3() * s.share) * float(
        rng.uniform(1, 3)
    )
    case.controls[case.over(a, b), ph.OUT_A + j] = daily / DAY_S / np.sqrt(0.6 * s.full_m)
    case.truths.append(
        Truth(
            "storage_leak",
            a,
            b,
            "nights",
            of=s.name,
            note=f"{daily * 1000:.0f} L/d, {daily / s.area_m2 * 1000:.0f} mm/d",
        )
    )


def depletion(case: Case, rng: Generator, a: float, b: float) -> None:
    """No rain and no tanker: the storage goes down to its outlet (the deadline is read off the levels)."""
    case.truths.append(
        Truth(
            "storage_depletion", 0.0, case.days * DAY_S, "levels", ("demand",), of=case.plant.storages[0].name
        )
    )


def overflow(case: Case, rng: Generator, a: float, b: float) -> None:
    """A hose or a float valve goes on when the storage is full."""
    s = case.plant.storages[0]
    rate = float(rng.uniform(6, 25)) * LITRE_A_MINUTE + 2 * case.daily_m3() / DAY_S
    # Fill first, fast, then go on.
    fill = min(a, 0.3 * DAY_S)
    case.controls[case.over(a - fill, a), ph.IN_A] += 1.1 * s.volume_m3 / max(fill, 600.0)
    case.controls[case.over(a, b), ph.IN_A] += rate
    case.truths.append(Truth("storage_overflow", a - fill, b, f"after:{fill + 4 * 3600:.0f}", of=s.name))
