"""What was drawn before a start may be met by the pump since: not where an outlet below the line, or a meter
that passes nothing any more, says otherwise. And what a drop across the filter says of a pump that is worn.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.judging.instruments import by_drop
from analytics.judging.signature import Trait
from analytics.judging.story import falls_short, follow
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.faults.test_weak_pump import at
from tests.analytics.faults.test_within_a_run import CONTACT
from tests.analytics.traces import LPM, PSI


@pytest.mark.parametrize(
    ("said", "short"),
    [
        ({}, False),
        ({"filter_drop_pa": -1.0 * PSI}, False),  # as far as two gauges may disagree
        ({"filter_drop_pa": -15.0 * PSI}, True),
        ({"flow_m3_s": 14.0 * LPM}, False),
        ({"flow_m3_s": 0.0}, True),
    ],
)
def test_what_was_drawn_before_the_start_is_met_unless_something_speaks_against_it(
    said: dict[str, float], short: bool
) -> None:
    """Half of the delivery was drawn, and the tank stands since."""
    judge = learned(motor=CONTACT, extra={"flow": 1.0}).judge
    look = at(
        judge, 40.0, slope_before_m3_s=-14.0 * LPM, slope_first_m3_s=0.0,
        pressure_start_pa=judge.usual.start_pa, **said,
    )  # fmt: skip
    follow(judge.story, look, judge)
    assert falls_short(judge.story, look, judge) is short


@pytest.mark.parametrize(("left", "says"), [(1.0, "dry"), (0.6, None)])
def test_a_drop_that_is_none_for_a_sound_pump_is_some_for_a_worn_one(left: float, says: str | None) -> None:
    """A fifth of the clean drop is less than half of a whole flow, and three quarters of one of 0.6."""
    judge = learned(motor=CONTACT, extra={"discharge": 1.0}).judge
    judge.signature.clean["filter_drop_pa"] = Trait(20e3, 20e3, 300.0)
    judge._usual = replace(judge.usual, now_m3_s=left * judge.usual.delivery_m3_s)
    assert by_drop(at(judge, 60.0, filter_drop_pa=4e3), judge, judge.usual) == says
