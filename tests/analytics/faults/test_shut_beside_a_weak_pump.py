"""A closed valve is told beside a worn pump, where an outlet gauge shows it."""

from __future__ import annotations

import pytest

from analytics.faults.blocked_discharge import BlockedDischarge
from analytics.judging.no_delivery import witness
from analytics.judging.story import follow
from analytics.judging.watch import Claim
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.faults.test_weak_pump import CONTACT, at
from tests.analytics.traces import LPM


@pytest.mark.parametrize(("standing", "told"), [("pump_wear", True), ("clogged_filter", False)])
def test_an_outlet_at_shut_off_is_a_filter_s_work_and_not_a_worn_pump_s(standing: str, told: bool) -> None:
    """The tank goes on as before the start."""
    judge = learned(motor=CONTACT, extra={"discharge": 1.0}).judge
    judge._ledger.hear([Claim(standing, 0, "medium", 0.9, "Less comes.")], 1)
    detector = BlockedDischarge(judge.plant)
    for age_s in (15.0, 25.0, 35.0, 45.0):
        look = at(
            judge, age_s, pressure_pa=judge.usual.start_pa - 0.002 * age_s * judge.usual.band_pa,
            slope_m3_s=-8.0 * LPM, slope_first_m3_s=-8.0 * LPM, discharge_pa=1.4 * judge.usual.stop_pa,
        )  # fmt: skip
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        judge._ledger.hear(detector.look(look, judge), look.at_us, int(age_s * 1e6))
    assert judge.is_open("blocked_discharge") is told
