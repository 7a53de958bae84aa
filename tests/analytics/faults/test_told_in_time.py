"""What the rows of a run show by the time that a call is due: a meter that has fallen silent, a gauge
too rough for a look, a pump that is known to be weak.

Looks are made by hand; what they are held against is learned of a trace by `tests/analytics/traces.py`.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec import structs

from analytics.faults.blocked_discharge import BlockedDischarge
from analytics.faults.burst_line import BurstLine
from analytics.faults.lost_prime import LostPrime
from analytics.faults.overpressure import Overpressure
from analytics.judge import Judge
from analytics.judging.instruments import by_instruments, by_meter
from analytics.judging.no_delivery import witness
from analytics.judging.story import follow
from analytics.judging.watch import Claim
from analytics.seeing.looks import _passed
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.faults.test_weak_pump import CONTACT, CURRENT, at, heard
from tests.analytics.traces import LPM


def fallen_pa(judge: Judge, lost_m3: float) -> float:
    """Where pressure stands once the tank has lost so much since cut-in."""
    usual, water = judge.usual, judge.water
    spread = np.linspace(0.8 * usual.drained_pa, usual.stop_pa, 800)
    held = [water.one(float(pa)) for pa in spread]
    return float(np.interp(water.one(usual.start_pa) - lost_m3, held, spread))


@pytest.mark.parametrize(
    ("words", "passes"),
    [
        ([9.0, 9.0, 9.0, 0.0, 0.0, 0.0, 0.0], 0.0),  # each word a flow, and now none
        ([0.0, 9.0, 0.0, 0.0, 9.0, 0.0, 0.0], 1.8),  # pulses, every third word
    ],
)
def test_a_meter_that_spoke_word_for_word_and_says_nothing_passes_nothing(
    words: list[float], passes: float
) -> None:
    time_us = 10_000_000 * np.arange(1, len(words) + 1)
    meter = SimpleNamespace(time_us=time_us, value=np.array(words))
    nothing, end = np.zeros(1, np.int64), np.array([len(words)])
    assert _passed(meter, [0.0], nothing, time_us[-1:], end) == [pytest.approx(passes)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lost_1", "noise_pa", "says"), [(1.0, 200.0, "dry"), (0.2, 200.0, "moves"), (1.0, 5000.0, None)]
)
def test_what_a_run_has_changed_between_its_ends_tells_a_dry_pump_by_a_rough_gauge(
    lost_1: float, noise_pa: float, says: str | None
) -> None:
    """Its slope within a look errs by a third of what the pump gives; a quarter of that is drawn."""
    judge = learned(motor=CONTACT, extra={"flow": 1.0}).judge
    usual, true = judge.usual, judge.signature.tank_times()
    drawn = 0.25 * usual.now_m3_s
    said: list[str | None] = []
    for age_s in (15.0, 20.0, 25.0, 30.0):
        low_pa = fallen_pa(judge, lost_1 * drawn * age_s)
        look = at(
            judge, age_s, pressure_pa=low_pa, slope_m3_s=-0.9 * drawn, flow_m3_s=drawn * true,
            slope_error_m3_s=0.33 * usual.now_m3_s, noise_pa=noise_pa,
        )  # fmt: skip
        follow(judge.story, look, judge)
        said.append(by_meter(look, judge, usual, judge.story))
    assert said[-1] == says


@pytest.mark.parametrize(
    ("falls_lpm", "agreed", "low", "says"),
    [
        (-8.0, True, False, "dry"),
        (0.0, True, False, None),  # a zone may stand against the pump, behind a gauge that has just died
        (0.0, True, True, "dry"),
        (-8.0, False, False, None),
    ],
)
def test_an_outlet_that_stood_above_the_line_and_now_below_has_lost_its_prime_within_the_run(
    falls_lpm: float, agreed: bool, low: bool, says: str | None
) -> None:
    judge = learned(motor=CONTACT, extra={"discharge": 1.0, "level": 0.05 if low else 1.5}).judge
    usual = judge.usual
    if not agreed:  # a gauge that reads low in every run
        judge.signature.recent = [
            structs.replace(one, filter_drop_pa=-90e3) for one in judge.signature.recent
        ]
    lifted_pa = usual.start_pa + 0.3 * usual.band_pa
    look = at(
        judge, 30.0, pressure_high_pa=lifted_pa, pressure_pa=lifted_pa - 0.05 * usual.band_pa,
        slope_m3_s=falls_lpm * LPM, slope_first_m3_s=30.0 * LPM, discharge_pa=5e3,
        filter_drop_pa=5e3 - lifted_pa,
    )  # fmt: skip
    judge.signature.clean.pop("filter_drop_pa", None)
    follow(judge.story, look, judge)
    assert by_instruments(look, judge, usual, judge.story) == says


@pytest.mark.parametrize(
    ("works", "kink_lpm", "told"), [(0.91, 0.5, True), (1.0, 0.5, False), (0.91, 9.0, False)]
)
def test_a_valve_shut_beside_a_clog_is_told_by_a_motor_nearer_to_its_shut_off(
    works: float, kink_lpm: float, told: bool
) -> None:
    """The filter lets half through, which takes nine tenths of the clean current; at shut-off it is 0.82."""
    judge = learned(motor=CURRENT, extra={"discharge": 1.0}).judge
    judge._ledger.hear([Claim("clogged_filter", 0, "medium", 0.9, "Less comes.")], 1)
    clean = judge.usual
    level = 0.88 * (clean.motor_level or 0.0)
    weak = replace(clean, now_m3_s=0.5 * clean.delivery_m3_s, motor_level=level)
    judge._usual = weak
    detector = BlockedDischarge(judge.plant)
    for age_s in (15.0, 25.0, 35.0, 45.0):
        slope = (kink_lpm - 8.0) * LPM
        look = at(
            judge, age_s, slope_m3_s=slope, slope_first_m3_s=slope, discharge_pa=1.4 * weak.stop_pa,
            pressure_pa=weak.start_pa - 0.002 * age_s * weak.band_pa, motor_level=works * level,
        )  # fmt: skip
        judge._usual = weak
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        judge._ledger.hear(detector.look(look, judge), look.at_us, int(age_s * 1e6))
    assert judge.is_open("blocked_discharge") is told


@pytest.mark.parametrize(("kink", "idle"), [(-0.02, True), (0.22, False)])
def test_a_start_that_brings_nothing_is_no_weak_pump_s_by_a_contact(kink: float, idle: bool) -> None:
    """The filter lets through 0.7 and less: what shows as 0.22 beside a tap that opens may be half of it."""
    engine = learned(motor=CONTACT)
    judge = engine.judge
    judge._ledger.hear([Claim("clogged_filter", 0, "medium", 0.9, "Less comes.")], 1)
    usual = replace(judge.usual, now_m3_s=0.7 * judge.usual.delivery_m3_s)
    for age_s in (12.0, 18.0, 24.0, 30.0):
        slope = kink * usual.delivery_m3_s - 8.0 * LPM
        judge._usual = usual
        low_pa = fallen_pa(judge, -slope * age_s)
        heard(engine, at(judge, age_s, slope_m3_s=slope, slope_first_m3_s=slope, pressure_pa=low_pa))
    assert judge.witness is not None
    assert judge.witness.idle is idle


@pytest.mark.parametrize(("gains", "told"), [(0.02, True), (0.5, False)])
def test_a_line_that_stands_past_cut_out_comes_to_none_however_high_the_run_began(
    gains: float, told: bool
) -> None:
    """A switch whose range has moved by 0.4 of its band would stop the pump there."""
    judge = learned(motor=CONTACT).judge
    usual, detector = judge.usual, Overpressure(judge.plant)
    words = 0
    for age_s in (60.0, 70.0, 80.0, 90.0):
        look = at(
            judge, age_s, pressure_start_pa=usual.start_pa + 0.4 * usual.band_pa,
            pressure_pa=usual.stop_pa + 0.5 * usual.band_pa, slope_m3_s=gains * usual.now_m3_s,
        )  # fmt: skip
        follow(judge.story, look, judge)
        words += len(detector.look(look, judge))
    assert (words > 0) is told


def test_a_break_just_before_the_start_is_known_by_its_fall_whose_noise_the_first_samples_hide() -> None:
    """Samples each ten seconds: of three the bend of the fall itself looks like noise; of four it is seen."""
    engine = learned(motor=CONTACT, every_s=5.0)
    usual = engine.judge.usual
    told = 0
    detector = BurstLine(engine.plant)
    for age_s, fall in ((29.0, 0.8), (39.0, 1.1), *((49.0 + 10.0 * k, 1.3) for k in range(12))):
        look = at(
            engine.judge, age_s, interval_s=10.0, samples=3 if age_s < 30.0 else 4, window_s=30.0,
            slope_before_m3_s=-0.6 * usual.now_m3_s, slope_first_m3_s=-0.2 * usual.now_m3_s,
            fall_m3_s=fall * usual.now_m3_s,
            slope_m3_s=-0.2 * usual.now_m3_s if age_s < 60.0 else 0.0,
            pressure_pa=(0.9 if age_s < 60.0 else 0.7) * usual.start_pa,
        )  # fmt: skip
        heard(engine, look)
        told += len(detector.look(look, engine.judge))
    assert engine.judge.story.mixed
    assert told > 0


@pytest.mark.parametrize(("error_lpm", "says"), [(0.3, "moves"), (6.0, "dry")])
def test_a_kink_within_the_error_of_a_rough_gauge_is_no_part_of_a_delivery(
    error_lpm: float, says: str
) -> None:
    """A tap was shut as the motor started, which works at 0.8: the rest before shows a fall, the run none."""
    judge = learned(motor=CURRENT).judge
    usual = judge.usual
    look = at(
        judge, 60.0, slope_before_m3_s=-0.35 * usual.now_m3_s, slope_first_m3_s=0.0, slope_m3_s=0.0,
        slope_error_m3_s=error_lpm * LPM, motor_level=0.8 * (usual.motor_level or 0.0),
    )  # fmt: skip
    follow(judge.story, look, judge)
    assert by_instruments(look, judge, judge.usual, judge.story) == says


@pytest.mark.parametrize(
    ("flow_lpm", "age_s", "told"), [(8.0, 30.0, True), (8.0, 14.0, False), (30.0, 30.0, False)]
)
def test_two_instruments_that_agree_tell_a_lost_prime_in_one_look(
    flow_lpm: float, age_s: float, told: bool
) -> None:
    """The tank gives what the meter passes, and the motor works at 0.8; in the last something brings more."""
    engine = learned(motor=CURRENT, extra={"flow": 1.0})
    judge, detector = engine.judge, LostPrime(engine.plant)
    slope = -8.0 * LPM / judge.signature.tank_times()
    look = at(
        judge, age_s, flow_m3_s=flow_lpm * LPM, slope_m3_s=slope, slope_first_m3_s=slope,
        pressure_pa=fallen_pa(judge, -slope * age_s), motor_level=0.8 * (judge.usual.motor_level or 0.0),
    )  # fmt: skip
    heard(engine, look)
    assert bool(detector.look(look, judge)) is told


@pytest.mark.parametrize(("flow_lpm", "told"), [(8.0, True), (16.0, False)])
def test_a_valve_shut_beside_a_clog_is_told_by_a_meter_that_passes_what_the_tank_gives(
    flow_lpm: float, told: bool
) -> None:
    """A jet pump's motor hardly minds: it works at 0.97. In the second half of what is drawn comes in."""
    judge = learned(motor=CURRENT, extra={"discharge": 1.0, "flow": 1.0}).judge
    judge._ledger.hear([Claim("clogged_filter", 0, "medium", 0.9, "Less comes.")], 1)
    detector, slope = BlockedDischarge(judge.plant), -8.0 * LPM
    for age_s in (15.0, 25.0, 35.0):
        look = at(
            judge, age_s, slope_m3_s=slope, slope_first_m3_s=slope, flow_m3_s=flow_lpm * LPM,
            pressure_pa=fallen_pa(judge, -slope * age_s), discharge_pa=1.4 * judge.usual.stop_pa,
            motor_level=0.97 * (judge.usual.motor_level or 0.0),
        )  # fmt: skip
        follow(judge.story, look, judge)
        judge.witness = witness(look, judge)
        judge._ledger.hear(detector.look(look, judge), look.at_us, int(age_s * 1e6))
    assert judge.is_open("blocked_discharge") is told
