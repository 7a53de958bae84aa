"""Faults that are called within a run, where another one is there already: a tank short of air, a filter or
pump that is known to be weak or not yet known to be, a switch that has moved, a storage at its outlet.

Looks are made by hand, about what an engine has learned of `tests/analytics/traces.py`.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from msgspec import structs

from analytics.engine import Engine
from analytics.faults import burst_line, dry_supply
from analytics.judge import Judge
from analytics.judging.air import CHARGE
from analytics.judging.flows import needed_draw_m3_s
from analytics.judging.instruments import by_instruments, by_meter, shut_by_power
from analytics.judging.no_delivery import _by_pressure, false_start, held_up, witness
from analytics.judging.story import fell_fast, follow
from analytics.judging.trait import Trait
from analytics.judging.watch import AllClear, Claim
from analytics.judging.worked_out import Story, Witness
from analytics.plant.description import Measure
from analytics.seeing.events import Look
from tests.analytics import traces
from tests.analytics.faults.test_heavy_draws import claims, collapse, learned
from tests.analytics.traces import PSI


def stands(engine: Engine, fault: str, cause: str | None = None) -> None:
    said = Claim(fault, traces.START_US, "medium", 0.9, "It stands.", cause)
    engine.judge._ledger.hear([said], traces.START_US + 1)


def glance(engine: Engine, age_s: float = 60.0, **changes: object) -> Look:
    """A look at a run that has stood still at cut-in since its start."""
    usual = engine.judge.usual
    shown: dict[str, object] = {
        "at_us": int(age_s * 1e6), "start_us": 0, "age_s": age_s, "window_s": 20.0, "samples": 20,
        "entire": True, "interval_s": 1.0, "pressure_start_pa": usual.start_pa,
        "pressure_pa": usual.start_pa, "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0,
        "slope_pa_s": 0.0, "slope_first_m3_s": 0.0, "slope_before_m3_s": 0.0, "noise_pa": 200.0,
        "motor_level": None, "flow_m3_s": None, "discharge_pa": None, "suction_pa": None,
        "slope_error_m3_s": 0.02 * usual.delivery_m3_s,
    }  # fmt: skip
    return Look(**(shown | changes))  # type: ignore[arg-type]


def air_lost(engine: Engine, left: float) -> None:
    """The newest runs have shown a tank that holds so much less between the same pressures."""
    signature = engine.judge.signature
    clean = signature.clean["kink_m3_s"]
    signature.recent = [
        structs.replace(brief, kink_m3_s=clean.middle / left, delivery_m3_s=clean.middle / left)
        for brief in signature.recent
    ]
    engine.judge._usual = None
    stands(engine, "short_cycling", "lost_air_charge")


def test_a_tank_with_half_its_air_holds_half_between_the_same_pressures() -> None:
    water = Engine(traces.plant()).judge.water
    left = water.with_air(0.5)
    low_pa, high_pa = 30 * PSI, 50 * PSI
    assert left.between_m3(low_pa, high_pa) == pytest.approx(0.5 * water.between_m3(low_pa, high_pa))
    assert left.precharge_pa < water.precharge_pa
    assert left.one(left.precharge_pa) == pytest.approx(0.0)


@pytest.mark.parametrize("known", [False, True])
def test_of_a_tank_short_of_air_an_ordinary_draw_is_no_break(known: bool) -> None:
    """A quarter of its air is left: half of the delivery empties it as twice would."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge = engine.judge
    if known:
        air_lost(engine, 0.25)
    falls = 2.0 * judge.usual.delivery_m3_s
    look = glance(engine, slope_m3_s=-falls, slope_before_m3_s=-falls, fall_m3_s=falls)
    look = judge._by_the_air(look)
    follow(judge.story, look, judge)
    assert fell_fast(judge.story, judge.usual) is not known


@pytest.mark.parametrize("known", [False, True])
def test_a_tank_charged_above_cut_in_is_empty_below_its_charge(known: bool) -> None:
    """A draw of more than a weak pump gives lets the line collapse: by the plate's charge as at a break, and
    beside a meter that passes half of the delivery as by a pump that gives none."""
    engine = learned(motor=Measure.PUMP_CURRENT, extra={"flow": 1.0})
    judge = engine.judge
    start_pa, gives = judge.usual.start_pa, judge.usual.delivery_m3_s
    if known:
        charge = {CHARGE: start_pa + 0.6 * judge.usual.band_pa}
        said = Claim("short_cycling", traces.START_US, "high", 0.9, "", "overcharged_tank", evidence=charge)
        judge._told_by([lambda look, known: [said]], glance(engine), 0)
    falls = 3.0 * gives
    pressure_pa = start_pa + 0.2 * judge.usual.band_pa
    for age_s in (30.0, 40.0):
        look = glance(
            engine, age_s, pressure_pa=pressure_pa, slope_m3_s=-falls, fall_m3_s=falls, flow_m3_s=0.6 * gives
        )
        look = judge._by_the_air(look)
        follow(judge.story, look, judge)
    assert fell_fast(judge.story, judge.usual) is not known
    assert (by_meter(look, judge, judge.usual, judge.story) == "moves") is known
    if known:  # and no longer than it is known
        judge._told_by([lambda look, known: [AllClear("short_cycling")]], glance(engine), 0)
        assert judge.usual.drained_pa < start_pa


@pytest.mark.parametrize(
    ("level", "drawn", "idle"), [(0.7, 0.0, True), (0.88, 0.0, False), (0.88, 0.35, True)]
)
def test_a_motor_that_works_as_a_weak_pumps_has_not_lost_its_prime_where_a_draw_may_hide_the_kink(
    level: float, drawn: float, idle: bool
) -> None:
    """Behind a filter that has just clogged a tap that is opened at the start leaves no kink, and the line
    stands. One that was plainly drawn before, and goes on as if there were no pump, is none of that."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge = engine.judge
    full = judge.usual.clean_level
    assert full is not None
    drawn *= judge.usual.delivery_m3_s
    for age_s in range(12, 90, 6):
        fell_pa = drawn * age_s / judge.water.compliance_m3_pa(judge.usual.start_pa)
        look = glance(
            engine, float(age_s), motor_level=level * full, motor_now=level * full, slope_m3_s=-drawn,
            slope_first_m3_s=-drawn, slope_before_m3_s=-drawn, pressure_pa=judge.usual.start_pa - fell_pa,
        )  # fmt: skip
        follow(judge.story, look, judge)
        seen = witness(look, judge)
        if seen is not None and seen.idle:
            break
    assert seen is not None
    assert seen.idle is idle


@pytest.mark.parametrize(("falls", "says"), [(1.0, None), (0.0, "moves")])
def test_a_tank_that_still_falls_below_its_plates_charge_gives_what_the_meter_passes(
    falls: float, says: str | None
) -> None:
    """A plate says too high a charge now and then: what passes beside a dry pump is the tank's own."""
    engine = learned(motor=Measure.PUMP_CURRENT, extra={"flow": 1.0})
    judge = engine.judge
    flow = 0.6 * judge.usual.now_m3_s
    look = glance(
        engine, pressure_pa=0.95 * judge.usual.drained_pa, flow_m3_s=flow, slope_m3_s=-falls * flow,
        slope_before_m3_s=-flow, slope_first_m3_s=-falls * flow,
    )  # fmt: skip
    follow(judge.story, look, judge)
    assert by_meter(look, judge, judge.usual, judge.story) == says


def test_a_pump_that_is_known_to_be_weak_gives_no_more_than_is_left() -> None:
    """The newest runs, most from before the filter clogged or beside no draw, say more. A draw that the plant
    is used to, and that such a pump does not meet, is no break."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge = engine.judge
    gives, draws = judge.usual.delivery_m3_s, judge.usual.draw_m3_s
    assert draws is not None
    assert judge.usual.now_m3_s > 0.9 * gives
    clogged = Claim("clogged_filter", 1, "low", 0.9, "", evidence={"delivery_share_1": 0.5})
    judge._told_by([lambda look, known: [clogged]], glance(engine), 0)
    assert judge.usual.now_m3_s == pytest.approx(0.5 * gives)
    look = glance(engine, slope_m3_s=0.5 * gives - draws, slope_first_m3_s=None, slope_before_m3_s=None)
    assert needed_draw_m3_s(look, judge.usual, Story()) == pytest.approx(draws)
    judge._told_by([lambda look, known: [AllClear("clogged_filter")]], glance(engine), 0)
    assert judge.usual.now_m3_s > 0.9 * gives


def test_a_look_leaves_the_plates_tank_as_it_was() -> None:
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge = engine.judge
    air_lost(engine, 0.25)
    plates, drawdown = judge.water, judge.usual.drawdown_m3
    seen: list[float] = []

    def hear(look: Look, known: Judge) -> tuple[()]:
        seen.append(known.usual.drawdown_m3)
        return ()

    judge._hearers[Look] = [hear]
    judge._judge(glance(engine))
    assert seen == [pytest.approx(0.25 * drawdown, rel=0.1)]
    assert judge.water is plates
    assert judge.usual.drawdown_m3 == drawdown


@pytest.mark.parametrize(("share", "says"), [(0.01, None), (0.6, "moves")])
def test_of_a_line_without_water_no_slope_is_a_flow(share: float, says: str | None) -> None:
    """By Boyle's law a hair of pressure is litres there: noise."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    usual = engine.judge.usual
    look = glance(engine, pressure_pa=share * usual.start_pa, slope_m3_s=0.5 * usual.now_m3_s)
    assert by_instruments(look, engine.judge, usual, Story(fastest_m3_s=0.2 * usual.now_m3_s)) == says


@pytest.mark.parametrize(("level", "says"), [(0.72, "dry"), (0.80, "moves")])
def test_a_worn_pump_that_turns_dry_takes_as_much_for_turning_as_when_new(level: float, says: str) -> None:
    """By current, clean; worn it takes 0.86 of that. A tap was shut as it started: a quarter shows."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    judge = engine.judge
    clean = judge.usual.clean_level or 0.0
    usual = replace(judge.usual, motor_level=0.86 * clean, now_m3_s=0.6 * judge.usual.delivery_m3_s)
    judge._usual = usual
    q = usual.delivery_m3_s
    look = glance(
        engine, motor_level=level * clean, motor_now=level * clean, slope_before_m3_s=-0.25 * q
    )  # fmt: skip
    assert by_instruments(look, judge, usual, Story(kink_share=0.25)) == says


@pytest.mark.parametrize(("reached", "shut"), [(0.0, True), (0.4, False)])
def test_prime_is_lost_within_a_run_sooner_than_a_valve_is_shut_in_it(reached: float, shut: bool) -> None:
    engine = Engine(traces.plant(traces.Trace(motor=Measure.PUMP_POWER)))
    judge, usual = engine.judge, engine.judge.usual
    judge.story.reached_pa = usual.start_pa + reached * usual.band_pa
    assert shut_by_power(glance(engine), judge, 0.70) is shut
    assert shut_by_power(glance(engine), judge, 0.75) is True


@pytest.mark.parametrize(("since_s", "dry"), [(5.0, 0), (20.0, 1)])
def test_at_its_outlet_a_storage_is_dry_as_soon_as_a_draw_unheard_of_would_be_needed(
    since_s: float, dry: int
) -> None:
    engine = learned(motor=Measure.PUMP_RUNNING)
    judge = engine.judge
    look = glance(engine, interval_s=5.0, samples=4)
    judge.story = Story(needed_since_us=look.at_us - int(since_s * 1e6))
    judge.witness = Witness(False, False, False, None, None, 0, True)
    assert len(dry_supply.detector(engine.plant).look(look, judge)) == dry


@pytest.mark.parametrize(("top", "false"), [(0.05, True), (0.45, False)])
def test_a_switch_that_has_moved_starts_the_pump_where_it_does_now(top: float, false: bool) -> None:
    engine = learned(motor=Measure.PUMP_RUNNING)
    usual = engine.judge.usual
    usual = replace(usual, start_top_pa=usual.start_pa + top * usual.band_pa)
    start_pa = usual.start_pa + 0.4 * usual.band_pa
    look = glance(engine, pressure_start_pa=start_pa, pressure_pa=start_pa, pressure_high_pa=start_pa)
    assert false_start(look, usual, Story()) is false


@pytest.mark.parametrize(("top", "lost"), [(0.05, False), (0.45, True)])
def test_where_a_switch_now_starts_the_pump_nothing_has_risen_yet(top: float, lost: bool) -> None:
    """The line stands where the run began, with no kink: by a switch that stays it would have been lifted."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    judge = engine.judge
    usual = judge._usual = replace(judge.usual, start_top_pa=judge.usual.start_pa + top * judge.usual.band_pa)
    at_pa = usual.start_pa + 0.4 * usual.band_pa
    story = Story(kink_share=0.02, needed_since_us=0, most_needed_m3_s=usual.delivery_m3_s)
    look = glance(
        engine, interval_s=5.0, samples=5, pressure_start_pa=at_pa, pressure_pa=at_pa, pressure_high_pa=at_pa
    )
    assert _by_pressure(look, judge, story, False) is lost


@pytest.mark.parametrize(("stands_at", "lost"), [(0.9, False), (0.02, True)])
def test_beside_a_clog_a_line_that_no_draw_brings_down_so_far_has_lost_its_pump(
    stands_at: float, lost: bool
) -> None:
    """It lately gave half of the clean delivery, and would have to give next to nothing."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    stands(engine, "clogged_filter")
    judge = engine.judge
    judge._usual = replace(judge.usual, now_m3_s=0.5 * judge.usual.delivery_m3_s)
    q, usual = judge.usual.delivery_m3_s, judge.usual
    seen = None
    for age_s in (20.0, 30.0, 40.0, 50.0, 60.0, 70.0):
        pressure_pa = usual.start_pa * (0.95 if age_s < 40.0 else stands_at)
        look = glance(
            engine, age_s, interval_s=2.0, pressure_pa=pressure_pa, slope_m3_s=-0.3 * q,
            slope_first_m3_s=-0.3 * q, slope_before_m3_s=-0.3 * q, fall_m3_s=0.3 * q,
        )  # fmt: skip
        follow(judge.story, look, judge)
        seen = witness(look, judge)
    assert seen is not None
    assert seen.idle is lost


@pytest.mark.parametrize(("stands_at", "bursts"), [(0.6, False), (0.1, True)])
def test_beside_a_clog_a_line_that_lies_lower_than_two_draws_bring_it_is_burst(
    stands_at: float, bursts: bool
) -> None:
    """The motor works as it lately did behind the filter; how fast the tank went, its samples do not show."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    stands(engine, "clogged_filter")
    judge = engine.judge
    judge._usual = replace(judge.usual, now_m3_s=0.5 * judge.usual.delivery_m3_s)
    usual = judge.usual
    look: dict[str, object] = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level, "interval_s": 2.0,
        "pressure_pa": stands_at * usual.start_pa,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 12)) is bursts


@pytest.mark.parametrize(("stands_at", "bursts"), [(0.72, True), (0.85, False)])
def test_what_a_meter_passes_of_a_line_that_stands_low_is_what_the_pump_gives(
    stands_at: float, bursts: bool
) -> None:
    """A quarter more than it gives at cut-in, of a pump that the lesson takes for stronger by a sixth."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    judge = engine.judge
    judge._usual = replace(judge.usual, draw_m3_s=0.5 * judge.usual.delivery_m3_s)
    usual = judge.usual
    q = usual.delivery_m3_s
    falls: dict[str, object] = {
        "pressure_pa": 0.98 * usual.start_pa, "slope_m3_s": -0.2 * q, "fall_m3_s": 1.1 * q,
        "slope_before_m3_s": -1.1 * q, "slope_first_m3_s": -0.2 * q, "flow_m3_s": 1.1 * q,
    }  # fmt: skip
    low: dict[str, object] = {
        **falls,
        "pressure_pa": stands_at * usual.start_pa,
        "slope_m3_s": 0.0,
        "flow_m3_s": 0.98 * q,
    }
    assert bool(claims(engine, *[falls] * 2, *[low] * 12)) is bursts


@pytest.mark.parametrize(("works", "bursts"), [(0.93, 0), (1.0, 1)])
def test_beside_a_filter_not_yet_known_to_be_clogged_an_ordinary_draw_is_no_break(
    works: float, bursts: int
) -> None:
    """The tank went no faster than at any draw; a motor that works less may be throttled to half. For once
    a rough clamp says that it works as ever."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    level = works * (usual.motor_level or 0.0)
    look: dict[str, object] = {
        "motor_level": level, "motor_now": level, "pressure_pa": 0.4 * usual.start_pa,
        "slope_before_m3_s": -0.4 * usual.delivery_m3_s, "slope_first_m3_s": None,
    }  # fmt: skip
    once: dict[str, object] = {**look, "motor_level": usual.motor_level, "motor_now": usual.motor_level}
    assert bool(claims(engine, *[look] * 8, once, *[look] * 4)) is bool(bursts)


@pytest.mark.parametrize(("outlet", "bursts"), [(0.9, True), (1.3, False)])
def test_an_outlet_below_the_band_shows_that_the_pump_runs_out(outlet: float, bursts: bool) -> None:
    """With a contact alone, and more than the clean drop to the line. A choked filter holds it up."""
    engine = learned(motor=Measure.PUMP_RUNNING, extra={"discharge": 1.0})
    judge = engine.judge
    judge._usual = replace(
        judge.usual, draw_m3_s=0.6 * judge.usual.delivery_m3_s, drop_pa=10_000.0, drained_pa=1e3
    )
    judge.signature.clean["filter_drop_pa"] = Trait(10_000.0, 10_000.0, 300.0)
    usual = judge.usual
    line_pa = 0.8 * usual.start_pa
    look: dict[str, object] = {
        "pressure_pa": line_pa, "discharge_pa": outlet * usual.start_pa, "filter_drop_pa": 12_000.0,
        "slope_first_m3_s": None, "slope_before_m3_s": None,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 12)) is bursts


@pytest.mark.parametrize(("works", "bursts"), [(1.0, True), (0.93, False)])
def test_behind_a_clog_a_motor_that_works_as_lately_presses_against_no_closed_valve(
    works: float, bursts: bool
) -> None:
    engine = learned(motor=Measure.PUMP_CURRENT)
    stands(engine, "clogged_filter")
    usual = engine.judge.usual
    level = works * (usual.motor_level or 0.0)
    looks = [
        {**look, "flow_m3_s": None, "motor_level": level, "motor_now": level}
        for look in collapse(usual, stands_at=0.15, passes=0.0)
    ]
    assert bool(claims(engine, *looks)) is bursts


@pytest.mark.parametrize(("above", "says"), [(0.0, "dry"), (0.5, None)])
def test_a_worn_pump_that_brings_nothing_at_cut_in_brings_nothing(above: float, says: str | None) -> None:
    """In its band it may stand at its shut-off head; where it starts it has lately given what it gives."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    stands(engine, "pump_wear")
    usual = engine.judge.usual
    pressure_pa = usual.start_pa + above * usual.band_pa
    look = glance(engine, pressure_pa=pressure_pa, pressure_high_pa=pressure_pa, flow_m3_s=0.0)
    assert by_meter(look, engine.judge, usual, Story()) == says


@pytest.mark.parametrize(("early", "held"), [(0.75, True), (0.99, False)])
def test_a_tank_that_ran_out_at_once_and_a_line_that_stands_are_held_up_by_a_pump(
    early: float, held: bool
) -> None:
    """Samples far apart show no start, nor how fast it went."""
    engine = learned(motor=Measure.PUMP_RUNNING)
    usual = engine.judge.usual
    story = Story(early_pa=early * usual.drained_pa)
    assert held_up(glance(engine, pressure_pa=0.6 * usual.start_pa), usual, story) is held


@pytest.mark.parametrize(("falls", "bursts"), [(2.0, True), (0.4, False)])
def test_by_a_contact_a_tank_that_fell_as_by_no_draw_tells_of_a_burst_before_it_has_run_out(
    falls: float, bursts: bool
) -> None:
    engine = learned(motor=Measure.PUMP_RUNNING)
    judge = engine.judge
    q = judge.usual.delivery_m3_s
    judge._usual = replace(judge.usual, draw_m3_s=0.5 * q)
    look: dict[str, object] = {
        "pressure_pa": 0.9 * judge.usual.start_pa, "slope_m3_s": -0.2 * q, "fall_m3_s": falls * q,
        "slope_before_m3_s": -falls * q, "slope_first_m3_s": None,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 14)) is bursts


@pytest.mark.parametrize(("fastest", "owners"), [(1.3, True), (2.0, False)])
def test_what_empties_the_tank_faster_than_the_owners_draw_is_not_it(fastest: float, owners: bool) -> None:
    """Through a clogged filter a break leaves the meter no more than a zone of the garden."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    q = usual.delivery_m3_s
    detector = burst_line.detector(engine.plant)
    detector.memory.ended = [1.2 * q]
    look = glance(engine, pressure_pa=0.5 * usual.start_pa)
    assert detector._ends_by_itself(look, usual, 1.3 * q, fastest * q) is owners
