"""What noise brings is no delivery: a pump without its prime gives none, whatever a rough gauge makes of its
tank.

Looks are made by hand; what they are held against is learned of a trace by `tests/analytics/traces.py`.
"""

from __future__ import annotations

import pytest

from analytics.judging.instruments import by_instruments, by_meter
from analytics.judging.story import follow, weak
from analytics.judging.worked_out import Story
from analytics.plant.description import Measure
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.faults.test_weak_pump import CONTACT, CURRENT, at, heard


@pytest.mark.parametrize(
    ("best", "level", "pumps"), [(0.9, 0.85, True), (0.9, 0.70, False), (0.88, 0.74, True)]
)
def test_a_throttled_pump_has_lost_its_prime_where_its_motor_turns_dry_by_the_clean_runs(
    best: float, level: float, pumps: bool
) -> None:
    """Throttled, it took 0.9 of its clean current as it lifted the line: dry is 0.70 of the clean one, and
    nearly 0.8 of that. A worn one that has come to its shut-off head takes 0.84 of its own best."""
    judge = learned(motor=CURRENT).judge
    usual, clean = judge.usual, judge.usual.clean_level or judge.usual.motor_level or 0.0
    high_pa = usual.start_pa + 0.5 * usual.band_pa
    slow = at(judge, 60.0, pressure_pa=high_pa, pressure_high_pa=high_pa, motor_level=best * clean)
    follow(judge.story, slow, judge)
    judge.story.lift_m3_s, judge.story.high_pa = 0.1 * usual.now_m3_s, high_pa
    judge.story.motor_level = best * clean
    now = at(judge, 80.0, pressure_pa=high_pa, pressure_high_pa=high_pa, motor_level=level * clean)
    assert weak(judge.story, now, judge, usual) is pumps


@pytest.mark.parametrize(("level", "idle"), [(0.7, True), (0.83, False)])
def test_what_noise_may_have_brought_is_no_gain_of_a_motor_without_load(level: float, idle: bool) -> None:
    """By a gauge whose noise hides a delivery for half a minute; a motor that has some load is given it."""
    engine = learned(motor=CURRENT)
    judge, usual = engine.judge, engine.judge.usual
    clean = usual.clean_level or usual.motor_level or 0.0
    for age_s in (14.0, 19.0):
        noisy_pa = 0.4 * usual.now_m3_s * age_s / judge.water.compliance_m3_pa(usual.start_pa)
        look = at(
            judge, age_s, noise_pa=noisy_pa, slope_error_m3_s=0.4 * usual.now_m3_s, motor_level=level * clean,
            motor_now=level * clean,
        )  # fmt: skip
        heard(engine, look)
    assert judge.witness is not None
    assert judge.witness.idle is idle


@pytest.mark.parametrize(("level", "says"), [(0.7, "dry"), (1.0, "moves")])
def test_a_slope_within_its_error_adds_nothing_to_a_meter_before_a_motor_without_load(
    level: float, says: str
) -> None:
    """A tap passes a third of the delivery, and a rough gauge has the tank gain another."""
    judge = learned(motor=CURRENT, extra={"flow": 1.0}).judge
    usual, true = judge.usual, judge.signature.tank_times()
    clean = usual.clean_level or usual.motor_level or 0.0
    look = at(
        judge, 20.0, slope_m3_s=0.35 * usual.now_m3_s, slope_error_m3_s=0.4 * usual.now_m3_s,
        flow_m3_s=0.3 * usual.now_m3_s * true, noise_pa=3e3, motor_level=level * clean,
        motor_now=level * clean,
    )  # fmt: skip
    follow(judge.story, look, judge)
    assert by_meter(look, judge, usual, judge.story) == "moves"
    assert by_instruments(look, judge, usual, judge.story) == says


@pytest.mark.parametrize(("passes", "says"), [(0.2, "moves"), (0.0, None)])
def test_a_tank_that_has_not_lost_what_passes_the_meter_is_fed(passes: float, says: str | None) -> None:
    """Its gauge tells nothing of a slope; over the run the two ends do, for as long as something passes: what
    was pumped before a storage ran dry says nothing of now."""
    judge = learned(motor=CONTACT, extra={"flow": 1.0}).judge
    usual, true = judge.usual, judge.signature.tank_times()
    said = []
    for age_s, share in ((15.0, 0.2), (60.0, 0.2), (180.0, 0.2), (185.0, passes)):
        look = at(
            judge, age_s, flow_m3_s=share * usual.now_m3_s * true, slope_m3_s=-share * usual.now_m3_s / 2.0,
            slope_error_m3_s=0.4 * usual.now_m3_s, noise_pa=300.0,
        )  # fmt: skip
        follow(judge.story, look, judge)
        said.append(by_meter(look, judge, usual, judge.story))
    assert said[2:] == ["moves", says]


@pytest.mark.parametrize(
    ("gains", "error", "says"), [(0.08, 0.03, None), (0.08, 0.06, "shut"), (0.0, 0.03, "shut")]
)
def test_a_tank_that_gains_stands_behind_no_closed_valve(
    gains: float, error: float, says: str | None
) -> None:
    """The start shows a quarter of the delivery, and by its power the pump may stand at its shut-off head; a
    filter that has just clogged lets so much through, and the tank gains beyond what its slope errs by."""
    judge = learned(motor=Measure.PUMP_POWER, amps=700.0, amps_noise=5.0).judge
    usual = judge.usual
    level = 0.83 * (usual.motor_level or 0.0)
    look = at(
        judge, 60.0, motor_level=level, motor_now=level, slope_m3_s=gains * usual.now_m3_s,
        slope_error_m3_s=error * usual.now_m3_s,
    )  # fmt: skip
    assert by_instruments(look, judge, usual, Story(kink_share=0.28)) == says
