"""A pump that gives little, by a clogged filter or wear that nobody knows of yet: no closed valve, no break.

Looks are made by hand; what they are held against is learned of a trace by `tests/analytics/traces.py`.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.engine import Engine
from analytics.faults.blocked_discharge import BlockedDischarge
from analytics.faults.burst_line import BurstLine
from analytics.judge import Judge
from analytics.judging.flows import fed, given_m3_s
from analytics.judging.no_delivery import witness
from analytics.judging.story import follow
from analytics.judging.worked_out import Story
from analytics.plant.description import Measure
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.faults.test_dry_or_burst import CONTACT
from tests.analytics.faults.test_heavy_draws import learned
from tests.analytics.traces import LPM

CURRENT = Measure.PUMP_CURRENT


def at(judge: Judge, age_s: float, **said: object) -> Look:
    """A look into a run that began at cut-in and stands there, while eight litres a minute are drawn."""
    usual, start_us = judge.usual, traces.START_US + 10**12
    shown: dict[str, object] = {
        "at_us": start_us + int(age_s * 1e6), "start_us": start_us, "age_s": age_s, "window_s": 20.0,
        "samples": 10, "entire": True, "interval_s": 2.0, "pressure_start_pa": usual.start_pa,
        "pressure_pa": usual.start_pa, "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0,
        "slope_pa_s": 0.0, "slope_first_m3_s": -2.0 * LPM, "slope_before_m3_s": -8.0 * LPM, "noise_pa": 200.0,
        "slope_error_m3_s": 0.3 * LPM, "motor_level": None, "flow_m3_s": None, "discharge_pa": None,
        "suction_pa": None,
    }  # fmt: skip
    return Look(**(shown | said))  # type: ignore[arg-type]


def heard(engine: Engine, look: Look) -> None:
    follow(engine.judge.story, look, engine.judge)
    engine.judge.witness = witness(look, engine.judge)


@pytest.mark.parametrize(("before_lpm", "shut"), [(-13.0, False), (-2.0, True)])
def test_an_outlet_at_shut_off_from_the_start_is_throttled_where_a_part_of_the_delivery_comes(
    before_lpm: float, shut: bool
) -> None:
    """Long after the start, when what was drawn before it says nothing of now; the first look comes late."""
    engine = learned(motor=CONTACT, extra={"discharge": 1.0})
    outlet = {
        "discharge_pa": engine.judge.usual.stop_pa * 1.4, "slope_before_m3_s": before_lpm * LPM,
        "slope_first_m3_s": -2.0 * LPM,
    }  # fmt: skip
    for age_s in (40.0, 60.0, 132.0, 142.0):
        heard(engine, at(engine.judge, age_s, **outlet))
    seen = engine.judge.witness
    assert seen is not None
    assert (seen.idle and seen.shut) is shut


def test_a_draw_that_empties_the_tank_as_before_the_start_was_not_met() -> None:
    judge = learned(motor=CONTACT).judge
    for slope_lpm, first_lpm, met in (
        (-2.0, -2.0, True),
        (0.0, 0.0, True),
        (-7.0, -7.0, False),
        (0.0, 0.0, False),
    ):
        look = at(judge, 40.0, slope_m3_s=slope_lpm * LPM, slope_first_m3_s=first_lpm * LPM)
        follow(judge.story, look, judge)
        assert judge.story.fed is met


@pytest.mark.parametrize(
    ("samples", "first_lpm", "met"), [(3, -2.0, False), (4, -2.0, True), (4, -1.0, False)]
)
def test_a_slope_of_three_samples_or_a_trickle_does_not_say_that_a_draw_goes_on(
    samples: int, first_lpm: float, met: bool
) -> None:
    """The tap may have been shut just then."""
    judge = learned(motor=CONTACT).judge
    look = at(judge, 20.0, samples=samples, slope_first_m3_s=first_lpm * LPM, slope_error_m3_s=0.0)
    assert fed(look, judge.usual) is met


@pytest.mark.parametrize(("passes_lpm", "told"), [(25.0, False), (0.0, True)])
def test_an_outlet_at_shut_off_is_not_shut_where_the_meter_passes(passes_lpm: float, told: bool) -> None:
    """A zone of the garden opened with the start, so that it shows no kink."""
    engine = learned(motor=CONTACT, extra={"discharge": 1.0, "flow": 1.0})
    detector = BlockedDischarge(engine.plant)
    said = []
    for age_s in (25.0, 35.0, 45.0, 55.0, 65.0, 75.0):
        look = at(
            engine.judge, age_s, slope_m3_s=-3.0 * LPM, slope_first_m3_s=-3.0 * LPM,
            slope_before_m3_s=-3.0 * LPM, flow_m3_s=passes_lpm * LPM,
            discharge_pa=engine.judge.usual.stop_pa * 1.4,
        )  # fmt: skip
        heard(engine, look)
        said += detector.look(look, engine.judge)
    assert bool(said) is told


@pytest.mark.parametrize(("first_lpm", "idle"), [(-2.0, False), (-8.0, True)])
def test_a_motor_that_works_less_moves_water_where_the_draw_is_mostly_met(
    first_lpm: float, idle: bool
) -> None:
    """At 0.87 of its load: too little for a whole delivery, too much for none."""
    engine = learned(motor=CURRENT)
    level = 0.87 * (engine.judge.usual.motor_level or 0.0)
    for age_s in (25.0, 35.0, 45.0, 150.0):
        look = at(
            engine.judge, age_s, slope_m3_s=first_lpm * LPM, slope_first_m3_s=first_lpm * LPM,
            motor_level=level, motor_now=level,
        )  # fmt: skip
        heard(engine, look)
    seen = engine.judge.witness
    assert seen is not None
    assert seen.idle is idle


@pytest.mark.parametrize(
    ("share", "held", "dry"), [(0.88, 0.15, False), (0.88, 0.01, True), (0.6, 0.15, True)]
)
def test_a_line_far_down_is_not_dry_where_the_motor_works_and_something_holds_it(
    share: float, held: float, dry: bool
) -> None:
    engine = learned(motor=CURRENT)
    usual = engine.judge.usual
    level = share * (usual.motor_level or 0.0)
    for age_s in (200.0, 240.0, 300.0):
        look = at(
            engine.judge, age_s, pressure_pa=held * usual.start_pa, slope_before_m3_s=None,
            slope_first_m3_s=None, motor_level=level, motor_now=level,
        )  # fmt: skip
        heard(engine, look)
    seen = engine.judge.witness
    assert seen is not None
    assert seen.idle is dry


def test_the_load_of_a_clogged_filter_says_nothing_against_a_small_kink() -> None:
    """The newest runs' motor works as this one's, and all of them less than the clean ones'."""
    engine = learned(motor=CURRENT)
    usual = engine.judge.usual
    level = usual.motor_level or 0.0
    look = at(engine.judge, 40.0, motor_level=level)
    assert given_m3_s(look, usual, Story()) == usual.now_m3_s
    clogged = replace(usual, clean_level=1.1 * level)
    assert given_m3_s(look, clogged, Story()) == pytest.approx(0.3 * usual.now_m3_s)


def test_a_pump_gives_what_the_meter_passed_while_the_line_stood() -> None:
    engine = learned(motor=CONTACT, extra={"flow": 1.0})
    usual = engine.judge.usual
    half = 0.5 * usual.now_m3_s
    none = {"slope_first_m3_s": None, "slope_before_m3_s": None}
    falls = at(engine.judge, 40.0, flow_m3_s=2.0 * half, slope_m3_s=-half, **none)
    follow(engine.judge.story, falls, engine.judge)
    assert given_m3_s(falls, usual, engine.judge.story) == usual.now_m3_s
    stands = at(engine.judge, 60.0, flow_m3_s=half, **none)
    follow(engine.judge.story, stands, engine.judge)
    assert given_m3_s(stands, usual, engine.judge.story) == pytest.approx(
        half / engine.judge.signature.tank_times()
    )


@pytest.mark.parametrize(("stood", "bursts"), [(0.4, False), (1.0, True)])
def test_a_line_that_a_weak_pump_cannot_hold_against_a_usual_draw_has_not_burst(
    stood: float, bursts: bool
) -> None:
    """A second tap takes all that the pump gives and more. What it gives was seen by the meter before."""
    engine = learned(motor=CURRENT, extra={"flow": 1.0})
    usual = engine.judge.usual
    detector, said = BurstLine(engine.plant), []
    load = {"motor_level": usual.motor_level, "motor_now": usual.motor_level, "slope_before_m3_s": None}
    for age_s in (40.0, 60.0):
        look = at(engine.judge, age_s, flow_m3_s=stood * usual.now_m3_s, slope_first_m3_s=None, **load)
        heard(engine, look)
        detector.look(look, engine.judge)
    for age_s in (100.0, 140.0, 180.0, 220.0):
        passes = 0.45 if not bursts else 0.5
        look = at(
            engine.judge, age_s, pressure_pa=0.4 * usual.start_pa, pressure_high_pa=usual.start_pa,
            flow_m3_s=passes * usual.now_m3_s, slope_first_m3_s=None, **load,
        )  # fmt: skip
        heard(engine, look)
        said += detector.look(look, engine.judge)
    assert bool(said) is bursts


@pytest.mark.parametrize(
    ("lasts", "works", "bursts"), [(0.9, 0.94, True), (0.5, 0.94, False), (0.5, 1.0, True)]
)
def test_what_was_drawn_before_the_start_is_drawn_still_and_tells_what_a_weak_pump_gives(
    lasts: float, works: float, bursts: bool
) -> None:
    """The first seconds show most of a delivery, since air that a quick draw cooled warms again; the line
    goes down then, and comes to stand where a draw leaves what the pump gives. A motor at its usual work
    below cut-in is no weak pump's."""
    engine = learned(motor=CURRENT)
    judge, usual, said = engine.judge, engine.judge.usual, []
    assert usual.draw_m3_s is not None
    drawn, level = 0.95 * usual.draw_m3_s, works * (usual.motor_level or 0.0)
    detector = BurstLine(engine.judge.plant)
    for age_s in range(10, 400, 10):
        given = (0.9 if age_s < 20 else lasts) * usual.delivery_m3_s
        stands = age_s > 140
        look = at(
            judge, float(age_s), slope_before_m3_s=-drawn, slope_first_m3_s=0.9 * usual.delivery_m3_s - drawn,
            slope_m3_s=0.0 if stands else given - drawn, motor_level=level, motor_now=level,
            pressure_pa=(0.6 if stands else 0.97) * usual.start_pa,
        )  # fmt: skip
        heard(engine, look)
        said += detector.look(look, judge)
    assert bool(said) is bursts


@pytest.mark.parametrize(
    ("brought", "works", "bursts"), [(0.0, 0.92, False), (0.0, 1.0, True), (0.9, 0.92, True)]
)
def test_a_start_that_brought_nothing_by_a_motor_that_works_less_is_no_break(
    brought: float, works: float, bursts: bool
) -> None:
    """A line that is frozen between pump and tank: the tank goes on as before the start, faster than any draw
    that was known, and then the line lies at nothing."""
    engine = learned(motor=CURRENT)
    judge, usual, said = engine.judge, engine.judge.usual, []
    drawn, level = 1.5 * usual.delivery_m3_s, works * (usual.motor_level or 0.0)
    detector = BurstLine(engine.judge.plant)
    for age_s in range(10, 200, 10):
        gone = age_s > 60
        slope = brought * usual.delivery_m3_s - drawn
        look = at(
            judge, float(age_s), slope_before_m3_s=-drawn, slope_first_m3_s=slope, fall_m3_s=drawn,
            slope_m3_s=0.0 if gone else slope, motor_level=level, motor_now=level,
            pressure_pa=0.02 * usual.start_pa if gone else 0.97 * usual.start_pa,
        )  # fmt: skip
        heard(engine, look)
        said += detector.look(look, judge)
    assert bool(said) is bursts


@pytest.mark.parametrize(
    ("stands", "works", "idle"),
    [
        (0.65, 0.82, False),  # the tank has run out, and something holds the line up above all taps
        (0.2, 0.82, True),  # it lies where taps leave it
        (0.65, 0.5, True),  # no motor that moves water works so little
    ],
)
def test_a_worn_piston_pump_that_holds_the_line_up_has_not_lost_its_prime(
    stands: float, works: float, idle: bool
) -> None:
    """Its work goes with the pressure that it makes: of two thirds of it, it takes four fifths."""
    engine = learned(motor=CURRENT)
    judge, usual = engine.judge, engine.judge.usual
    for age_s in range(10, 260, 10):
        gone = age_s > 140
        level = (works if gone else 0.95) * (usual.motor_level or 0.0)
        look = at(
            judge, float(age_s), slope_before_m3_s=-26.0 * LPM, slope_first_m3_s=-2.0 * LPM,
            slope_m3_s=0.0 if age_s > 160 else -3.0 * usual.delivery_m3_s if gone else -4.0 * LPM,
            pressure_pa=(stands if gone else 0.97) * usual.start_pa, motor_level=level, motor_now=level,
        )  # fmt: skip
        heard(engine, look)
    assert judge.witness is not None
    assert judge.witness.idle is idle
