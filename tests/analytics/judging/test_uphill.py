"""A sound pump whose switch has moved, against the quadratic curve worked out here."""

from __future__ import annotations

from math import sqrt

import pytest

from analytics.judging.brief import Brief
from analytics.judging.signature import Signature
from analytics.judging.trait import Trait
from analytics.judging.uphill import uphill

LOW, HIGH, HEAD = 200e3, 340e3, 480e3


def flow(pressure_pa: float) -> float:
    return 5e-4 * sqrt((HEAD - pressure_pa) / (HEAD - LOW))


def after(low_pa: float, high_pa: float, runs: int = 8) -> tuple[Signature, dict[str, Trait]]:
    """A signature whose newest runs go between two pressures, and the clean traits of LOW to HIGH."""
    clean = {
        name: Trait(value, value, 0.04 * value)
        for name, value in (
            ("start_pa", LOW), ("stop_pa", HIGH),
            ("delivery_start_m3_s", flow(LOW)), ("delivery_stop_m3_s", flow(HIGH)),
        )
    }  # fmt: skip
    one = Brief(0, None, None, None, None, 0.02, 60.0, 0.0, low_pa, high_pa, None, None)
    return Signature(recent=[one] * runs), clean


@pytest.mark.parametrize(("low", "high"), [(LOW, HIGH + 40e3), (LOW + 30e3, HIGH + 30e3), (LOW, HIGH + 80e3)])
def test_higher_runs_excuse_what_the_curve_loses(low: float, high: float) -> None:
    signature, clean = after(low, high)
    true = 0.5 * (flow(low) / flow(LOW) + flow(high) / flow(HIGH))
    assert uphill(signature, clean, 8) == pytest.approx(true, rel=0.03)


@pytest.mark.parametrize(("low", "high"), [(LOW, HIGH), (LOW, HIGH + 3e3), (LOW - 30e3, HIGH - 30e3)])
def test_the_same_or_lower_runs_excuse_nothing(low: float, high: float) -> None:
    signature, clean = after(low, high)
    assert uphill(signature, clean, 8) == 1.0


def test_a_curve_that_is_not_known_is_taken_for_no_steeper_than_the_trades() -> None:
    signature, clean = after(LOW, HIGH + 40e3)
    del clean["delivery_stop_m3_s"]
    by_trade = sqrt((1.5 * HIGH - HIGH - 40e3) / (0.5 * HIGH))
    assert uphill(signature, clean, 8) == pytest.approx(0.5 * (1.0 + by_trade))


def test_without_pressures_nothing_is_excused() -> None:
    signature, clean = after(LOW, HIGH + 40e3)
    assert uphill(signature, {}, 8) == 1.0
    signature.recent = signature.recent[:3]
    assert uphill(signature, clean, 8) == 1.0
