"""Sensors that lie, and sensors that only look as if they did."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from holding import CUT_IN, CUT_OUT, DAY_S, NIGHT_S, START_US, Floats, Holding, at_s, last_words, told

from analytics.engine import Engine
from analytics.judging.contradiction import Contradictions, Evidence, Still
from analytics.judging.reference import Reference
from analytics.plant.description import Measure, Plant, Signal
from analytics.readings import Readings
from analytics.records import Cycle, Finding, Outcome
from analytics.seeing.events import Run

STUCK_S = 4 * DAY_S


def every_nth(n: int, value: float):
    """Lone bad words: a drop-out or an overflow code."""

    def spoil(t, true):
        shown = true.copy()
        shown[n // 2 :: n] = value
        return shown

    return spoil


def after(since_s: float, change):
    return lambda t, true: np.where(t >= since_s, change(true), true)


@pytest.mark.parametrize(
    "plain",
    [
        Holding(),
        Holding(spoil={"pressure": every_nth(997, 0.0)}),
        Holding(spoil={"pressure": every_nth(97, 655.33e3)}),
        Holding(spoil={"level": every_nth(211, 6.553)}),
        Holding(spoil={"level": every_nth(211, 0.0)}),
        Holding(motor_every_s=60.0, every_s=20.0),
        Holding(motor_every_s=60.0, every_s=2.0, tank_m3=0.05, declared=False),
        Holding(level_every_s=300.0, level_digit_m=0.005),
    ],
    ids=[
        "plain",
        "zeros of pressure",
        "overflow codes of pressure",
        "overflow codes of level",
        "zeros of level",
        "slow motor",
        "runs missed",
        "coarse",
    ],
)
def test_nothing_is_said_of_sound_sensors(plain: Holding) -> None:
    assert told(plain.outcome(6.0)) == []


@pytest.mark.parametrize("value", [0.0, 1.0])
def test_motor_signal_that_stands_while_pressure_climbs(value: float) -> None:
    holding = Holding(spoil={"motor": after(STUCK_S, lambda true: np.full_like(true, value))})
    found = last_words(holding.outcome(7.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "stuck", "motor")]
    assert STUCK_S < at_s(found[0].raised_us) < STUCK_S + 1.5 * DAY_S


@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_contact_that_closes_in_mid_band_is_no_lost_prime(every_s: float) -> None:
    """It sticks while the tank is drawn down: pressure falls on as before, far above cut-in."""
    holding = Holding(
        every_s=every_s,
        motor_every_s=every_s,
        demand_m3_s=4e-5,
        spoil={"motor": after(12 * 3600.0 + 300.0, np.ones_like)},
    )
    assert "lost_prime" not in [fault for fault, _, _ in told(holding.outcome(1.0))]


@pytest.mark.parametrize(("every_s", "above"), [(1.0, 0.06), (1.0, 0.2), (10.0, 0.1), (10.0, 0.2)])
def test_contact_that_closes_above_every_start_so_far_is_no_lost_prime(every_s: float, above: float) -> None:
    """Six in a hundred of the band above cut-in is further than a switch that was watched ever strayed."""
    holding = Holding(every_s=every_s, motor_every_s=every_s, demand_m3_s=1e-4)
    at, water_m3, _ = holding._knots(3.0)
    wanted_m3 = holding._water(CUT_IN + above * (CUT_OUT - CUT_IN))
    falls = np.flatnonzero((at[:-1] > 2.4 * DAY_S) & (water_m3[:-1] > wanted_m3) & (water_m3[1:] < wanted_m3))
    since_s = at[falls[0]] + (water_m3[falls[0]] - wanted_m3) / holding.demand_m3_s
    holding.spoil = {"motor": after(since_s, np.ones_like)}
    assert "lost_prime" not in [fault for fault, _, _ in told(holding.outcome(2.9))]


def test_drop_outs_of_some_seconds_at_a_high_pressure_are_no_noise() -> None:
    """A switch that stuck has left the line at twice the band's height; the gauge drops out now and then."""

    def spoil(t, true):
        night = (t > 2.0 * DAY_S) & (t < 2.0 * DAY_S + 20_000.0)
        return np.where(night, np.where(t % 1800.0 < 2.5, 0.0, true + 330e3), true)

    found = told(Holding(every_s=1.0, spoil={"pressure": spoil}).outcome(2.5))
    assert ("sensor_fault", "implausible") not in [(fault, cause) for fault, cause, _ in found]


def test_motor_signal_that_moves_again_is_believed_again() -> None:
    def spoil(t, true):
        return np.where((t >= STUCK_S) & (t < STUCK_S + 2 * DAY_S), 0.0, true)

    found = last_words(Holding(spoil={"motor": spoil}).outcome(8.0))
    assert [one.cause for one in found] == ["stuck"]
    assert found[0].cleared_us is not None
    assert at_s(found[0].cleared_us) > STUCK_S + 2 * DAY_S


def test_level_that_leaps_and_stands_is_implausible() -> None:
    found = last_words(Holding(spoil={"level": after(STUCK_S, lambda true: true - 0.4)}).outcome(6.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "level")]
    assert at_s(found[0].raised_us) < STUCK_S + 3600.0


def throwing(each: int, since_s: float, until_s: float = np.inf):
    """Lone wrong words between nothing and the truth, one in `each` by chance."""

    def spoil(t, true):
        rng = np.random.default_rng(5)
        wrong = (rng.random(len(t)) < 1.0 / each) & (t >= since_s) & (t < until_s)
        return np.where(wrong, true * rng.uniform(0.2, 0.9, len(t)), true)

    return spoil


@pytest.mark.parametrize("level_every_s", [10.0, 60.0])
def test_level_that_throws_a_wrong_word_in_25_is_implausible_within_a_day(level_every_s: float) -> None:
    spoil = {"level": throwing(25, STUCK_S)}
    found = Holding(level_every_s=level_every_s, spoil=spoil).outcome(7.0).findings
    assert [(one.fault, one.cause, one.of, one.cleared_us) for one in found] == [
        ("sensor_fault", "implausible", "level", None)
    ]
    assert STUCK_S < at_s(found[0].raised_us) < STUCK_S + DAY_S


def test_level_that_throws_no_more_wrong_words_is_well_within_a_day() -> None:
    found = last_words(Holding(spoil={"level": throwing(25, STUCK_S, STUCK_S + DAY_S)}).outcome(7.0))
    assert [(one.fault, one.cause) for one in found] == [("sensor_fault", "implausible")]
    assert found[0].cleared_us is not None
    assert at_s(found[0].cleared_us) < STUCK_S + 2.0 * DAY_S


def test_lone_wrong_words_of_a_level_one_in_150_are_no_fault() -> None:
    assert told(Holding(spoil={"level": throwing(150, 0.0)}).outcome(10.0)) == []


def test_filling_that_splashes_for_an_hour_a_day_is_no_fault_of_the_level() -> None:
    """One word in three is thrown off meanwhile, each between two that are right."""

    def spoil(t, true):
        return np.where((t % DAY_S < 3600.0) & (t % 30.0 < 10.0), 0.6 * true, true)

    assert told(Holding(level_every_s=10.0, spoil={"level": spoil}).outcome(6.0)) == []


def test_level_that_leaps_back_is_no_fault() -> None:
    def spoil(t, true):
        return np.where((t >= STUCK_S) & (t < STUCK_S + 240.0), true - 0.4, true)

    assert told(Holding(spoil={"level": spoil}).outcome(6.0)) == []


@pytest.mark.parametrize(("level_every_s", "litres_s"), [(60.0, 17.0), (300.0, 10.0)])
def test_tanker_is_no_leap(level_every_s: float, litres_s: float) -> None:
    """The storage rises by some half a metre within the hour, and is believed."""

    def spoil(t, true):
        return true + 1e-3 * litres_s / 30.0 * np.clip(t - STUCK_S, 0.0, 1500.0)

    assert told(Holding(level_m=0.9, level_every_s=level_every_s, spoil={"level": spoil}).outcome(6.0)) == []


@pytest.mark.parametrize("declared", [True, False])
def test_silent_signal_is_called_in_time_and_once(declared: bool) -> None:
    """Contract: more than ten intervals and two minutes; a stray word is no cure."""

    def hush(t):
        return (t >= STUCK_S) & (t < STUCK_S + DAY_S) & (np.abs(t - STUCK_S - 30_000.0) > 31.0)

    found = last_words(Holding(declared=declared, hush={"level": hush}).outcome(6.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "silent", "level")]
    assert STUCK_S - 60.0 + 600.0 <= at_s(found[0].raised_us) <= STUCK_S + 730.0
    assert found[0].cleared_us is not None
    assert STUCK_S + DAY_S < at_s(found[0].cleared_us) < STUCK_S + DAY_S + 3600.0


def test_collector_that_was_off_makes_nobody_silent() -> None:
    def hush(t):
        return (t >= STUCK_S) & (t < STUCK_S + 7200.0)

    holding = Holding(hush={"pressure": hush, "motor": hush, "level": hush})
    assert told(holding.outcome(6.0)) == []


@pytest.mark.parametrize(("stray", "each_s", "lasts_s"), [(2.81e5, 33_000, 10), (0.0, 7_100, 15)])
def test_a_stuck_gauge_with_stray_words_is_one_finding(stray: float, each_s: int, lasts_s: int) -> None:
    """Words of its own each few hours, and back to where it stuck: no sign of health."""

    def spoil(t, true):
        shown = np.where(t >= STUCK_S, 2.8e5, true)
        shown[(t >= STUCK_S) & (t % each_s < lasts_s)] = stray
        return shown

    found = last_words(Holding(spoil={"pressure": spoil}).outcome(8.0))
    stuck = [one for one in found if one.of == "pressure"]
    assert [(one.cause, one.cleared_us) for one in stuck] == [("stuck", None)]


def test_motor_that_says_off_from_the_first_row_is_convicted_by_three_climbs() -> None:
    """Nobody draws before the night is over; then a fill takes some ten minutes' words of "off" an hour."""
    holding = Holding(spoil={"motor": lambda t, true: np.zeros_like(true)})
    found = last_words(holding.outcome(2.0))
    assert [(one.fault, one.of) for one in found] == [("sensor_fault", "motor")]
    fill_s = 90.0 * 60.0  # a draw-down and its fill
    assert at_s(found[0].raised_us) < NIGHT_S + 4 * fill_s


def test_dead_motor_signal_with_wild_words_is_one_finding() -> None:
    """A second's word of "on" each few hours is no run that it has seen."""

    def spoil(t, true):
        return np.where(t >= STUCK_S, t % 9_000.0 < 0.5, true)

    found = last_words(Holding(every_s=1.0, motor_every_s=1.0, spoil={"motor": spoil}).outcome(6.0))
    assert [(one.fault, one.of, one.cleared_us) for one in found] == [("sensor_fault", "motor", None)]


@pytest.mark.parametrize("stray_each_s", [None, 20_000])
def test_level_that_stands_while_the_pump_takes_two_centimetres_is_stuck(stray_each_s: int | None) -> None:
    """A gauge that told millimetres, twice an hour; now and then it says a wild word, and stands again."""

    def spoil(t, true):
        stray = t % (stray_each_s or 1e9) < 300.0
        return np.where(t >= STUCK_S, np.where(stray, 0.2, 1.4), true)

    holding = Holding(storage_m3=20.0, level_every_s=300.0, spoil={"level": spoil})
    found = last_words(holding.outcome(7.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "stuck", "level")]
    drawn_m3_day = holding.demand_m3_s * (DAY_S - NIGHT_S)
    taken_days = 0.01 * holding.storage_m3 / (0.5 * drawn_m3_day)
    assert at_s(found[0].raised_us) < STUCK_S + DAY_S * (1.1 + taken_days)


def test_stuck_level_that_speaks_each_half_hour_counts_the_runs_between_its_words() -> None:
    stuck = {"level": after(STUCK_S, lambda true: np.full_like(true, 1.4))}
    found = last_words(Holding(storage_m3=20.0, level_every_s=1800.0, spoil=stuck).outcome(7.0))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "stuck", "level")]
    assert at_s(found[0].raised_us) < STUCK_S + 1.1 * DAY_S


def test_motor_that_a_slow_signal_misses_is_no_liar() -> None:
    """Runs of a minute and a half against a word in five minutes."""
    assert told(Holding(motor_every_s=300.0).outcome(3.0)) == []


@pytest.mark.parametrize("rain_m", [0.0, 0.0004])
def test_level_that_stands_at_the_brim_is_stuck_unless_rain_holds_it_there(rain_m: float) -> None:
    """The pump takes a twentieth of the tank in three days. A drizzle each two hours may make up for it."""
    holding = Holding(
        storage_m3=20.0,
        demand_m3_s=1.2e-5,
        level_m=1.96,
        rain_m=lambda t: np.where(t % 7200.0 < 600.0, rain_m, 0.0),
        spoil={"level": lambda t, true: np.full_like(t, 1.96)},
    )
    stuck = ("sensor_fault", "stuck", "level")
    assert (stuck in told(holding.outcome(5.0))) == (rain_m == 0.0)


def test_even_pace_is_learned_within_a_quarter_of_a_day() -> None:
    since_s = 8 * 3600.0
    holding = Holding(declared=False, hush={"level": lambda t: t > since_s})
    found = last_words(holding.outcome(0.6))
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "silent", "level")]
    assert since_s < at_s(found[0].raised_us) < since_s + 900.0


def test_words_that_come_at_random_may_pause_for_the_first_day() -> None:
    def hush(t):
        return (np.random.default_rng(5).random(len(t)) < 0.8) | (t > 8 * 3600.0)

    assert told(Holding(declared=False, hush={"level": hush}).outcome(0.9)) == []


def test_wild_words_of_a_slow_level_are_neither_draw_nor_leak_nor_fault() -> None:
    """A word in five minutes; one in thirty off by up to a twentieth of the range, one in fifty far off."""

    def spoil(t, true):
        rng = np.random.default_rng(11)
        near, far = rng.random(len(t)) < 1 / 30, rng.random(len(t)) < 1 / 50
        shown = true + np.where(near, rng.uniform(-0.1, 0.1, len(t)), 0.0)
        return np.where(far, rng.uniform(0.0, 2.0, len(t)), shown)

    assert told(Holding(level_every_s=300.0, spoil={"level": spoil}).outcome(10.0)) == []


@pytest.mark.parametrize(("litres_min", "stuck"), [(6.0, False), (40.0, True)])
def test_flow_that_is_the_same_for_hours_is_a_drip_where_the_runs_fit_it(
    litres_min: float, stuck: bool
) -> None:
    """Six litres a minute are drawn all day, which a coarse meter says; or it stands at what nobody draws."""
    holding = Holding(demand_m3_s=1e-4)
    plant, readings = holding.plant(), holding.readings(1.0)
    meter = Signal("flow", Measure.SUPPLY_FLOW, "h/f", "m^3/s", every_s=10.0)
    t = np.arange(0.0, DAY_S, 10.0)
    flow = np.where(t % DAY_S < NIGHT_S, 0.0, litres_min / 60e3)
    said = Readings.of(np.full(len(t), 3), START_US + (t * 1e6).astype(np.int64) + 990_000, flow)
    engine = Engine(replace(plant, signals=(*plant.signals, meter)))
    found = told(engine.feed(Readings.concatenate([readings, said]).in_time_order()))
    assert (("sensor_fault", "stuck", "flow") in found) == stuck


def in_step(jitter_s: float, dead: bool) -> Outcome:
    """A draw cycles the pump each two minutes for five hours, give or take `jitter_s`: runs of 43 s from each
    even minute on. The motor is asked ten seconds before each minute; pressure each ten seconds."""
    rng = np.random.default_rng(5)
    starts = 120.0 * np.arange(30, 180) + rng.uniform(-jitter_s, jitter_s, 150)
    corners = np.ravel(np.column_stack((starts, starts + 43.0)))
    t, at = np.arange(0.0, 22_000.0, 10.0), np.arange(50.0, 22_000.0, 60.0)
    pressure = np.interp(t, corners, np.tile([CUT_IN, CUT_OUT], 150))
    run = np.searchsorted(starts, at, side="right") - 1
    on = (run >= 0) & (at - starts[run] < 43.0) & (not dead)
    parts = [
        Readings.of(np.full(len(when), number), START_US + (when * 1e6).astype(np.int64), value)
        for number, when, value in ((0, t, pressure), (1, at, on.astype(float)))
    ]
    return Engine(Holding(motor_every_s=60.0).plant()).feed(Readings.concatenate(parts).in_time_order())


def test_runs_in_step_with_a_slow_motor_signal_convict_nobody() -> None:
    """It says "off" a few seconds after each of 150 runs."""
    assert [one for one in told(in_step(jitter_s=2.0, dead=False)) if one[2] == "motor"] == []


def test_runs_out_of_step_with_a_dead_motor_signal_convict_it() -> None:
    """The draws of a house start the pump at any time."""
    found = told(in_step(jitter_s=35.0, dead=True))
    assert ("sensor_fault", "stuck", "motor") in found


@pytest.mark.parametrize("every_s", [2.0, 10.0, 60.0])
def test_pressure_gauge_that_says_anything_is_blamed_and_no_motor_is(every_s: float) -> None:
    def wild(t, true):
        return np.where(t >= STUCK_S, np.random.default_rng(3).uniform(0.0, 800e3, len(t)), true)

    found = told(Holding(every_s=every_s, motor_every_s=every_s, spoil={"pressure": wild}).outcome(6.0))
    assert [one for one in found if one[0] == "sensor_fault"] == [("sensor_fault", "implausible", "pressure")]


@pytest.mark.parametrize("every_s", [1.0, 2.0])
def test_pressure_gauge_that_leaps_again_and_again_is_blamed_and_no_motor_is(
    every_s: float,
) -> None:
    """Water in its plug: each forty words or so it is off by another share of its range."""

    def leaping(t, true):
        rng = np.random.default_rng(5)
        leaps = np.cumsum(rng.random(len(t)) < 1.0 / 40.0)
        off = rng.uniform(-150e3, 150e3, leaps[-1] + 1)[leaps]
        return np.where(t >= STUCK_S, np.maximum(true + off, 5e3), true)

    found = told(Holding(every_s=every_s, motor_every_s=every_s, spoil={"pressure": leaping}).outcome(6.0))
    assert [one for one in found if one[0] == "sensor_fault"] == [("sensor_fault", "implausible", "pressure")]


@pytest.mark.parametrize("every_s", [1.0, 30.0])
def test_pressure_gauge_with_a_loose_contact_is_implausible(every_s: float) -> None:
    def loose(t, true):
        return np.where((t >= STUCK_S) & (np.random.default_rng(3).random(len(t)) < 0.4), 0.0, true)

    found = told(Holding(every_s=every_s, motor_every_s=every_s, spoil={"pressure": loose}).outcome(5.0))
    assert [one for one in found if one[0] == "sensor_fault"] == [("sensor_fault", "implausible", "pressure")]


def test_dead_motor_signal_does_not_make_the_gauge_wild() -> None:
    """Pressure goes up by a fifth of its band from word to word, the motor says "off". (It takes 25 s to fill
    the tank: of a motor that stands no less than 30 that would be told as well.)"""
    dead = {"motor": after(STUCK_S, np.zeros_like)}
    holding = Holding(tank_m3=0.04, min_run_s=20.0, every_s=5.0, motor_every_s=5.0, spoil=dead)
    assert told(holding.outcome(6.0)) == [("sensor_fault", "stuck", "motor")]


def test_two_climbs_of_many_words_of_off_convict_a_motor_signal() -> None:
    holding = Holding(every_s=1.0, motor_every_s=1.0, spoil={"motor": lambda t, true: np.zeros_like(true)})
    found = last_words(holding.outcome(1.0))
    assert [(one.fault, one.of) for one in found] == [("sensor_fault", "motor")]
    second_s, third_s = 33_289.0, 37_334.0  # ends of fills
    assert second_s < at_s(found[0].raised_us) < third_s


def test_lone_words_of_a_motor_at_rest_are_no_runs_that_a_resting_gauge_missed() -> None:
    """A coarse gauge stands still by night, and the contact says "on" for one word every so often."""

    def coarse(t, true):
        return np.round(true / 20e3) * 20e3

    def flicks(t, true):
        return np.where(np.arange(len(t)) % 97 == 5, 1.0, true)

    found = told(Holding(spoil={"pressure": coarse, "motor": flicks}).outcome(5.0))
    assert [one for one in found if one[0] == "sensor_fault"] == []


def two_storages(stuck: bool) -> list[tuple[str, str | None, str | None]]:
    """The pump draws from the first, whose gauge stands still after STUCK_S, or else the other's does."""
    spoil = {"level": after(STUCK_S, lambda true: np.full_like(true, 1.4))} if stuck else {}
    holding = Holding(storage_m3=20.0, spoil=spoil)
    plant = holding.plant()
    other = Signal("other", Measure.STORAGE_LEVEL, "h/o", "m", every_s=600.0, of="reserve")
    reserve = replace(plant.storages[0], name="reserve")
    plant = replace(plant, storages=(*plant.storages, reserve), signals=(*plant.signals, other))
    t = np.arange(100.0, 9 * DAY_S, 600.0)
    level_m = 1.2 + np.random.default_rng(2).normal(0.0, 0.002, len(t))
    level_m = np.where((t >= STUCK_S) & (not stuck), 1.2, level_m)
    when = START_US + (t * 1e6).astype(np.int64)
    more = Readings.of(np.full(len(t), 3), when, np.round(level_m, 3))
    return told(Engine(plant).feed(Readings.concatenate([holding.readings(9.0), more]).in_time_order()))


def test_level_that_stands_while_no_storage_gives_what_the_pump_takes_is_stuck() -> None:
    assert two_storages(stuck=True) == [("sensor_fault", "stuck", "level")]


def test_reserve_that_nothing_draws_from_may_stand() -> None:
    assert two_storages(stuck=False) == []


@pytest.mark.parametrize(("drawn_a", "counts"), [(6.2, 1), (28.0, 0), (1.5, 0), (None, 1)])
def test_run_of_a_stalled_rotor_or_of_a_clamps_noise_moves_no_gauge(
    drawn_a: float | None, counts: int
) -> None:
    at_us = START_US + 600_000_000
    run = Run(at_us, Cycle(START_US, at_us, 600.0), True, 5.0, motor_words=drawn_a)
    usual = Reference(
        CUT_IN, CUT_OUT, 5e-4, 5e-4, 0.03, None, 6.0, True, False, False, 0.5 * CUT_IN, None
    )  # fmt: skip
    evidence = Evidence(still={0: Still(value=CUT_IN, since_us=START_US)})
    Contradictions(Holding().plant()).run(evidence, run, usual)
    assert evidence.still[0].runs == counts


def test_machine_that_is_used_twice_a_week_is_known_to_be_silent_between() -> None:
    """Its meter speaks while it draws, each two to five days, and each five minutes for an hour after. Each
    silence teaches thrice what was known, a day and more too; the outage at the end is longer than all."""
    plant = replace(
        Holding(declared=False).plant(),
        signals=(
            Signal("level", Measure.STORAGE_LEVEL, "h/l", "m", every_s=600.0, of="rain"),
            Signal("washing", Measure.SUPPLY_FLOW, "h/w", "m^3/s"),
        ),
    )
    rng = np.random.default_rng(4)
    used_s = np.cumsum(rng.uniform(2.0, 5.0, 25)) * DAY_S
    draws_s = np.concatenate((np.arange(0.0, 600.0, 1.0), np.arange(600.0, 4200.0, 300.0)))
    said = (used_s[:, None] + draws_s).ravel()
    t = np.arange(0.0, used_s[-1] + 20.0 * DAY_S, 600.0)
    parts = [
        Readings.of(np.full(len(at), number), START_US + (at * 1e6).astype(np.int64), np.full(len(at), value))
        for number, at, value in ((0, t, 1.5), (1, said, 1e-4))
    ]
    found = last_words(Engine(plant).feed(Readings.concatenate(parts).in_time_order()))
    silent = [one for one in found if one.of == "washing"]
    assert {one.cause for one in silent} == {"silent"}
    assert len(silent) <= 7  # 25 where each teaches a day at most
    assert silent[-1].cleared_us is None
    assert at_s(silent[-1].raised_us) > used_s[-1]


def test_runs_of_a_few_seconds_are_runs_and_the_motor_signal_that_tells_them_is_sound() -> None:
    """A tank without its air: four words of "on" in each half minute, while pressure climbs."""
    starts = 33.0 * np.arange(10, 300)
    corners = np.ravel(np.column_stack((starts, starts + 3.5)))
    t = np.arange(0.0, 10_000.0, 1.0)
    pressure = np.interp(t, corners, np.tile([CUT_IN, CUT_OUT], len(starts)))
    on = np.searchsorted(corners, t, side="right") % 2
    parts = [
        Readings.of(np.full(len(t), number), START_US + (t * 1e6).astype(np.int64), value)
        for number, value in ((0, pressure), (1, on.astype(float)))
    ]
    plant = Holding(every_s=1.0, motor_every_s=1.0).plant()
    found = told(Engine(plant).feed(Readings.concatenate(parts).in_time_order()))
    assert [one for one in found if one[2] == "motor"] == []


def test_runs_of_four_seconds_are_runs_that_the_motor_has_seen() -> None:
    """A tank without air fills in less time than a wild word may last; the motor says so each time."""
    found = told(Holding(tank_m3=0.005, every_s=1.0, motor_every_s=1.0, demand_m3_s=1e-4).outcome(0.6))
    assert [one for one in found if one[0] == "sensor_fault"] == []


def said_by(plant: Plant, courses: list[tuple[Floats, Floats]]) -> list[Finding]:
    """Findings of what each signal said at some seconds since the start."""
    parts = [
        Readings.of(np.full(len(at), number), START_US + (at * 1e6).astype(np.int64), value)
        for number, (at, value) in enumerate(courses)
    ]
    return last_words(Engine(plant).feed(Readings.concatenate(parts).in_time_order()))


RAIN = Signal("rain", Measure.RAINFALL, "h/r", "m")
LEVEL = Signal("level", Measure.STORAGE_LEVEL, "h/l", "m", every_s=60.0, of="rain")


@pytest.mark.parametrize("tells_of_none", [False, True])
def test_rain_gauge_that_speaks_when_it_rains_is_well_in_the_dry(tells_of_none: bool) -> None:
    """Four hours' drizzle, a word a minute, then weeks without; one that has said of each dry minute that
    nothing fell is silent ten minutes later."""
    plant = replace(Holding().plant(), signals=(LEVEL, RAIN))
    t = np.arange(0.0, 25.0 * DAY_S, 60.0)
    rains = (t % (11.0 * DAY_S) > 7.0 * 3600.0) & (t % (11.0 * DAY_S) < 11.0 * 3600.0)
    speaks = (t < 2.0 * DAY_S) if tells_of_none else rains
    found = said_by(plant, [(t, np.full(len(t), 1.5)), (t[speaks] + 3.0, np.where(rains, 2e-4, 0.0)[speaks])])
    silent = [one for one in found if one.of == "rain"]
    assert [one.cause for one in silent] == (["silent"] if tells_of_none else [])
    assert all(at_s(one.raised_us) < 2.0 * DAY_S + 700.0 for one in silent)


@pytest.mark.parametrize("heartbeat", [False, True])
def test_contact_without_a_heartbeat_rests_while_its_owner_is_away(heartbeat: bool) -> None:
    """Runs of a minute and a half, three a day, then none for ten days; one with a heartbeat of half an hour
    has fallen silent ten of them later."""
    plant = replace(Holding().plant(), signals=(LEVEL, Signal("motor", Measure.PUMP_RUNNING, "h/m", None)))
    rng = np.random.default_rng(2)
    starts = np.sort(rng.uniform(0.0, 8.0 * DAY_S, 24))
    edges = np.ravel(np.column_stack((starts, starts + 90.0)))
    beats = np.arange(0.0, 8.0 * DAY_S, 1800.0) if heartbeat else np.empty(0)
    at = np.sort(np.concatenate((edges, beats)))
    on = np.searchsorted(edges, at, side="right") % 2
    t = np.arange(0.0, 18.0 * DAY_S, 60.0)
    found = said_by(plant, [(t, np.full(len(t), 1.5)), (at, on.astype(float))])
    silent = [one for one in found if one.of == "motor" and one.cause == "silent"]
    assert len(silent) == int(heartbeat)
    assert all(8.0 * DAY_S < at_s(one.raised_us) < 8.0 * DAY_S + 10.1 * 1800.0 for one in silent)


@pytest.mark.parametrize("heartbeat", [False, True])
def test_contact_that_has_died_is_silent_and_one_with_a_sign_of_life_is_stuck(heartbeat: bool) -> None:
    """It speaks on change alone, which nobody misses for days; but pressure climbs."""

    def hush(t):
        on = np.searchsorted(edges, t, side="right") % 2
        changed = np.diff(on, prepend=0) != 0
        return ~(changed & (t < STUCK_S)) & ~(
            (t % 7200.0 < 10.0) if heartbeat else np.zeros(len(t), np.bool_)
        )

    holding = Holding(demand_m3_s=1e-4, declared=False, hush={"motor": hush})
    at, _, ran_s = holding._knots(7.0)
    edges = np.ravel(np.column_stack((at[:-1], at[1:]))[np.diff(ran_s) > 0.0])
    holding.spoil = {"motor": after(STUCK_S, np.zeros_like)}
    found = [one for one in last_words(holding.outcome(7.0)) if one.of == "motor"]
    assert [(one.fault, one.cause) for one in found] == [("sensor_fault", "stuck" if heartbeat else "silent")]
    assert STUCK_S < at_s(found[0].raised_us) < STUCK_S + DAY_S


def test_clamp_that_speaks_on_change_and_dies_amid_its_noise_is_silent() -> None:
    """A word or two a minute, by its noise alone and never the same twice; the last of them repeats that the
    motor rests, and the pump runs on without a word."""

    def hush(t):
        return (np.random.default_rng(5).random(len(t)) < 0.8) | (t >= STUCK_S)

    holding = Holding(demand_m3_s=1e-4, declared=False, hush={"motor": hush})
    holding.spoil = {"motor": lambda t, true: true + 0.01 * np.random.default_rng(6).random(len(t))}
    found = [one for one in last_words(holding.outcome(7.0)) if one.of == "motor"]
    assert [(one.fault, one.cause) for one in found] == [("sensor_fault", "silent")]
    assert STUCK_S < at_s(found[0].raised_us) < STUCK_S + DAY_S


@pytest.mark.parametrize("share", [0.2, 0.5])
@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_gauge_with_much_noise_is_blamed_and_no_motor_is(every_s: float, share: float) -> None:
    """It goes up and at once down again by a fifth of the band and more: no tank does."""

    def noisy(t, true):
        noise = np.random.default_rng(3).normal(0.0, share * (CUT_OUT - CUT_IN), len(t))
        return np.where(t >= STUCK_S, true + noise, true)

    found = last_words(
        Holding(every_s=every_s, motor_every_s=every_s, spoil={"pressure": noisy}).outcome(5.0)
    )
    assert [(one.fault, one.cause, one.of) for one in found] == [("sensor_fault", "implausible", "pressure")]
    assert at_s(found[0].raised_us) < STUCK_S + 7200.0


@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_contact_that_says_anything_is_blamed_and_no_switch_is(every_s: float) -> None:
    """One word in ten is the other one, wherever pressure stands: no switch flutters in mid-band."""
    since_s = 3.0 * DAY_S + NIGHT_S + 2600.0  # an hour after a fill

    def flips(t, true):
        wild = (t >= since_s) & (np.random.default_rng(5).random(len(t)) < 0.1)
        return np.where(wild, 1.0 - true, true)

    holding = Holding(every_s=every_s, motor_every_s=every_s, spoil={"motor": flips})
    found = [one for one in last_words(holding.outcome(3.9)) if one.of == "motor"]
    assert [(one.fault, one.cause) for one in found] == [("sensor_fault", "implausible")]
    assert at_s(found[0].raised_us) < since_s + 6 * 3600.0
    told_first = [one.fault for one in last_words(holding.outcome(3.9)) if one.raised_us < found[0].raised_us]
    assert told_first == []


@pytest.mark.parametrize("every_s", [1.0, 2.0])
def test_gauge_that_goes_wild_in_a_run_is_neither_overpressure_nor_a_closed_valve(every_s: float) -> None:
    holding = Holding(every_s=every_s, motor_every_s=every_s)
    at, _, ran_s = holding._knots(5.0)
    start_s = at[:-1][(np.diff(ran_s) > 0.0) & (at[:-1] > 3.0 * DAY_S)][0]

    def wild(t, true):
        return np.where(t > start_s + 10.0, np.random.default_rng(8).uniform(0.0, 900e3, len(t)), true)

    holding.spoil = {"pressure": wild}
    assert told(holding.outcome(3.6)) == [("sensor_fault", "implausible", "pressure")]


@pytest.mark.parametrize(("drawn_a", "every_s", "strays"), [(6.2, 5.0, 1), (1.5, 5.0, 0), (6.2, 30.0, 0)])
def test_neither_a_clamps_noise_in_mid_band_nor_a_run_between_far_samples_is_the_motors_own(
    drawn_a: float, every_s: float, strays: int
) -> None:
    middle_pa, at_us = 0.5 * (CUT_IN + CUT_OUT), START_US + 30_000_000
    cycle = Cycle(START_US, at_us, 30.0, 600.0, middle_pa, middle_pa - 2000.0)
    usual = Reference(
        CUT_IN, CUT_OUT, 5e-4, 5e-4, 0.03, None, 6.0, True, False, False, 0.5 * CUT_IN, None
    )  # fmt: skip
    evidence = Evidence()
    run = Run(at_us, cycle, True, every_s, motor_words=drawn_a)
    Contradictions(Holding().plant()).run(evidence, run, usual)
    assert len(evidence.strays_us) == strays
