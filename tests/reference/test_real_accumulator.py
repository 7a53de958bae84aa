"""Pre-charge on a real rig: what a gas-loaded vessel gives between two pressures goes with its charge.

Source: "Condition monitoring of hydraulic systems", Helwig, Schneider & Bastuck, ZeMA (UCI archive, 2018;
doi 10.1109/I2MTC.2015.7151267), per-second means. Oil, 191 to 147 bar, a fixed load cycle. Worked out
here from the 49 cycles of one operating point (cooler 100 %, valve 100 %, no pump leak, stable), since
oil temperature moves more than the fault does: the oil that flows out through FS1 in the two seconds
in which pressure falls (median over cycles). The pump's own share of it is the same in all four.
"""

from __future__ import annotations

import numpy as np
import pytest

from analytics.physics.hydraulics import drawdown_m3

BAR = 1e5
#: Gas pre-charge [bar] and oil given [L].
GIVEN_L = {130: 0.2987, 115: 0.2941, 100: 0.2793, 90: 0.2714}
HIGH_BAR, LOW_BAR = 191.4, 146.7


def foretold_l(charge_bar: float) -> float:
    """By Boyle's law, for a litre of vessel."""
    return 1e3 * float(drawdown_m3(LOW_BAR * BAR, HIGH_BAR * BAR, 1e-3, charge_bar * BAR, 1.013 * BAR))


def test_less_charge_gives_less() -> None:
    given = [GIVEN_L[charge] for charge in sorted(GIVEN_L)]
    assert given == sorted(given)
    foretold = [foretold_l(charge) for charge in sorted(GIVEN_L)]
    assert foretold == sorted(foretold)


def test_in_a_straight_line_as_boyles_law_has_it() -> None:
    """Our drawdown and the rig's are one straight line: correlation above 0.95 over the four charges."""
    ours = [foretold_l(charge) for charge in GIVEN_L]
    assert np.corrcoef(ours, list(GIVEN_L.values()))[0, 1] > 0.95
    assert foretold_l(90) / foretold_l(130) == pytest.approx(91.013 / 131.013, rel=1e-3)
