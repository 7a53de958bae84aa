"""Runs that begin further up: an air charge above cut-in, or a switch that moved up."""

from __future__ import annotations

import pytest

from analytics.engine import Engine
from analytics.records import Finding
from tests.analytics import traces

HOUR, PSI = 3600.0, traces.PSI
BEGINS_S = 30.0 * HOUR


def told(hours: float, **changes: object) -> list[Finding]:
    trace = traces.Trace(**changes)  # type: ignore[arg-type]
    engine, found = Engine(traces.plant(trace)), {}
    readings = traces.readings(trace, hours * HOUR, seed=4)
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


@pytest.mark.parametrize("to_psi", [35.0, 38.0])
def test_a_charge_above_cut_in_whose_collapse_falls_between_samples_is_told(to_psi: float) -> None:
    """Boyle's law with the charge that was tells too little water by 43 over 50 psi, absolute pressures
    (13.7 psi of atmosphere)."""
    cut_in = traces.after(BEGINS_S, to_psi * PSI, 30 * PSI)
    charge = traces.after(BEGINS_S, (to_psi - 0.1) * PSI, 28 * PSI)
    (finding,) = told(60.0, cut_in_pa=cut_in, charge_pa=charge, every_s=2.0)
    assert (finding.fault, finding.cause) == ("short_cycling", "overcharged_tank")
    assert finding.raised_us > traces.START_US + BEGINS_S * 1e6
    assert finding.cleared_us is None


@pytest.mark.parametrize("to_psi", [34.0, 37.0])
def test_a_cut_in_that_moved_up_is_the_switch_s(to_psi: float) -> None:
    (finding,) = told(60.0, cut_in_pa=traces.after(BEGINS_S, to_psi * PSI, 30 * PSI), every_s=2.0)
    assert finding.fault == "switch_drift"
    assert "air charge" not in finding.summary
