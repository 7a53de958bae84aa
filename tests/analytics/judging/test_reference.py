"""What a sound plant does, where the newest runs were not sound."""

from __future__ import annotations

import pytest

from analytics.judging.brief import Brief
from analytics.judging.reference import Told, reference
from analytics.judging.signature import Signature
from analytics.judging.trait import Trait
from analytics.seeing.water import Water
from tests.analytics import traces

CLEAN_W = 180.0


@pytest.mark.parametrize(
    ("newest_w", "overloaded", "usual_w"),
    [(290.0, True, 290.0), (290.0, False, CLEAN_W), (200.0, False, 200.0), (120.0, False, 120.0)],
    ids=["drags", "drags no more", "mains are up", "throttled"],
)
def test_a_motor_that_drags_no_more_is_held_against_its_clean_level(
    newest_w: float, overloaded: bool, usual_w: float
) -> None:
    plant = traces.plant(traces.Trace())
    signature = Signature(clean={"motor_level": Trait(CLEAN_W, CLEAN_W, 1.0)})
    signature.recent = [
        Brief(at, 5e-4, 5e-4, 5e-4, 5e-4, 0.03, 60.0, 0.0, 2.07e5, 3.45e5, newest_w, None) for at in range(8)
    ]
    assert reference(plant, Water.of(plant), signature, Told(overloaded)).motor_level == usual_w


@pytest.mark.parametrize(("seen", "delivers"), [(20, 0.87), (12, 0.1)])
def test_runs_that_somebody_drew_upon_do_not_say_what_a_pump_gives(seen: int, delivers: float) -> None:
    """Of 20 runs the 8 long ones could be measured, through which a drip line took nearly all: the plate goes
    before them. Where most could be, they do."""
    plant = traces.plant(traces.Trace())
    rated = plant.pump.rated_flow_m3_s
    assert rated is not None
    little = Trait(0.1 * rated, 0.1 * rated, 0.001 * rated)
    signature = Signature(clean={"kink_m3_s": little}, learned_runs=8, lesson_seen=seen)
    usual = reference(plant, Water.of(plant), signature)
    assert usual.delivery_m3_s == pytest.approx(delivers * rated)
