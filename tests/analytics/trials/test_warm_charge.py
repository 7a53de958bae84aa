"""An air charge that a warm afternoon has raised is no fault; one that a switch cannot live with is."""

from __future__ import annotations

import pytest

from analytics.trials.air_charge import conclude
from analytics.trials.shapes import Estimate, Sighting
from tests.analytics import traces


@pytest.mark.parametrize(
    ("charge_psi", "outcome", "said"),
    [
        (30.1, "good", "as_set"),
        (25.5, "good", "as_set"),
        (24.0, "poor", "low"),
        (31.5, "poor", "above_cut_in"),
    ],
)
def test_charge_28_psi_under_a_cut_in_of_30(charge_psi: float, outcome: str, said: str) -> None:
    """28 psi goes with the absolute temperature of its air (Gay-Lussac): some 1.4 psi for ten kelvin."""
    found = Estimate(*(psi * traces.PSI for psi in (charge_psi, charge_psi - 0.05, charge_psi + 0.2)))
    drawn = Sighting(True, "knee", 1.0, {"air_charge_pa": found})
    conclusion = conclude(traces.plant(), {"draw": drawn}, frozenset())
    assert (conclusion.outcome, conclusion.said) == (outcome, said)
