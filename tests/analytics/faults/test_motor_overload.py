"""What the motor's level says, and when: frost in the air, one word a start, a switch that chatters."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults.motor_overload import MotorOverload
from analytics.plant.description import Measure, Signal
from analytics.readings import Readings
from analytics.records import Cycle
from analytics.seeing.events import Look, Run
from tests.analytics import traces
from tests.analytics.faults.test_pump_runs import HOUR, STEADY, named, told

STALLED_A = 30.0
LATER_S = 5 * HOUR


def seconds(readings: Readings) -> np.ndarray:
    return np.asarray((readings.time_us - traces.START_US) / 1e6)


def known_by(every_s: float) -> SimpleNamespace:
    """A motor that usually draws 7 A, asked each so many seconds."""
    return SimpleNamespace(
        signature=SimpleNamespace(clean={"motor_level": SimpleNamespace(middle=7.0)}),
        usual=SimpleNamespace(start_pa=30 * traces.PSI, stop_pa=50 * traces.PSI, band_pa=20 * traces.PSI),
        every_s=lambda position: every_s,
        is_open=lambda fault: False,
    )


def test_frost_in_the_air_keeps_nobody_from_learning_what_the_motor_draws() -> None:
    trace = traces.Trace(demand=STEADY)
    heard = traces.readings(trace, 8 * HOUR, seed=3)
    value = np.where((heard.signal == 1) & (seconds(heard) > LATER_S), 1.35 * heard.value, heard.value)
    minutes = traces.START_US + np.arange(0, 8 * 60) * 60_000_000
    air = Readings.of(np.full(len(minutes), 2), minutes, np.full(len(minutes), -3.0))
    plant = traces.plant(trace)
    fitted = (*plant.signals, Signal("air", Measure.AIR_TEMPERATURE, "a/t", "degC", every_s=60.0))
    both = Readings.concatenate([Readings(heard.signal, heard.time_us, value), air]).in_time_order()
    assert {("freeze_risk", None), ("motor_overload", None)} <= set(
        named(told(replace(plant, signals=fitted), both))
    )


def one_word_a_start(
    stands_pa: float, says_a: float = STALLED_A, apart_s: float = 600.0
) -> tuple[Readings, np.ndarray]:
    """A clamp that speaks on change: runs as ever, and then, with pressure standing, four times the word of a
    stalled motor and that it is off again; and when those words came [s]."""
    trace = traces.Trace(demand=STEADY)
    heard = traces.readings(trace, LATER_S, seed=3)
    on = heard.value > 1.0
    motor = np.flatnonzero(heard.signal == 1)
    new = np.concatenate(([True], on[motor][1:] != on[motor][:-1]))
    changed = new | np.roll(new, 1) | np.roll(new, 2) | (np.arange(len(motor)) % 60 == 0)
    kept = np.union1d(np.flatnonzero(heard.signal == 0), motor[changed])
    normal = Readings(heard.signal[kept], heard.time_us[kept], heard.value[kept])
    tries_s = LATER_S + apart_s * np.arange(1, 5)
    ends_s = LATER_S + 5.0 * apart_s
    times_s = np.union1d(np.arange(LATER_S, ends_s, 60.0) + 8.0, tries_s)
    words = Readings.of(
        np.full(len(times_s), 1),
        (traces.START_US + times_s * 1e6).astype(np.int64),
        np.where(np.isin(times_s, tries_s), says_a, 0.0),
    )
    still_s = np.arange(LATER_S, ends_s)
    flat = Readings.of(
        np.zeros(len(still_s), dtype=np.int64),
        (traces.START_US + still_s * 1e6).astype(np.int64),
        stands_pa + np.random.default_rng(4).normal(0, trace.noise_pa, len(still_s)),
    )
    return Readings.concatenate([normal, words, flat]).in_time_order(), tries_s


ON_CHANGE = traces.Trace(demand=STEADY, motor_every_s=60.0)


def test_a_stalled_rotor_is_named_from_one_word_a_start() -> None:
    heard, tries_s = one_word_a_start(29 * traces.PSI)
    found = told(traces.plant(ON_CHANGE), heard)
    assert named(found) == [("motor_overload", "locked_rotor")]
    assert (found[0].raised_us - traces.START_US) / 1e6 < tries_s[2]


@pytest.mark.parametrize(("says_a", "apart_s"), [(85.0, 600.0), (STALLED_A, 2 * HOUR)])
def test_wild_words_hours_apart_or_beyond_any_motor_are_no_stalled_rotor(
    says_a: float, apart_s: float
) -> None:
    heard, _ = one_word_a_start(29 * traces.PSI, says_a, apart_s)
    assert "motor_overload" not in {finding.fault for finding in told(traces.plant(ON_CHANGE), heard)}


def stalled(window_s: float) -> Look:
    """A look at a motor that draws 18 A where 7 A are usual, pressure at 35 psi."""
    return Look(
        at_us=0, start_us=1, age_s=100.0, window_s=window_s, samples=int(window_s), entire=True,
        interval_s=1.0, pressure_start_pa=30 * traces.PSI, pressure_pa=35 * traces.PSI,
        pressure_high_pa=35 * traces.PSI, slope_m3_s=None, slope_pa_s=None, slope_first_m3_s=None,
        slope_before_m3_s=None, noise_pa=None, motor_level=18.0, flow_m3_s=None, discharge_pa=None,
        suction_pa=None, motor_now=18.0,
    )  # fmt: skip


def test_one_word_of_a_slow_meter_is_no_stalled_rotor_in_however_many_looks() -> None:
    """Power each 30 s, looked at each ten seconds through a window of forty."""
    detector, known = MotorOverload(traces.plant(traces.Trace())), known_by(30.0)
    look = stalled(40.0)
    said = [
        detector.look(msgspec.structs.replace(look, at_us=at_s * 1_000_000, age_s=float(at_s)), known)
        for at_s in range(100, 150, 10)
    ]
    assert [bool(one) for one in said] == [False] * 5
    later = detector.look(msgspec.structs.replace(look, at_us=150_000_000, age_s=150.0), known)
    assert [claim.cause for claim in later] == ["locked_rotor"]


@pytest.mark.parametrize(
    ("levels", "told"), [((18.0, 18.2), True), ((18.0, 18.0), False), ((18.0, 7.0), False)]
)
def test_another_word_of_a_clamp_that_speaks_on_change_is_told_by_its_value(
    levels: tuple[float, float], told: bool
) -> None:
    """Due each five minutes, as a sign of life: a rotor that stalls within the run is told of at once."""
    detector, known = MotorOverload(traces.plant(traces.Trace())), known_by(300.0)
    look = stalled(20.0)
    said = []
    for at_s in (100, 110, 120, 130):
        level = levels[at_s > 105]
        changed = {"at_us": at_s * 1_000_000, "age_s": float(at_s), "motor_level": level, "motor_now": level}
        said.append(bool(detector.look(msgspec.structs.replace(look, **changed), known)))
    assert said == [False] * 3 + [told]


@pytest.mark.parametrize(("level", "told"), [(7.0, False), (18.0, True)])
def test_two_inrushes_of_a_contact_that_bounces_in_a_run_are_no_stalled_rotor(
    level: float, told: bool
) -> None:
    """Each 2 s: 7, 7, 7, 18, 0, 18 A. Of the newest three most stand as high, of the look's few."""
    detector = MotorOverload(traces.plant())
    look = Look(
        at_us=12_000_000, start_us=0, age_s=12.0, window_s=12.0, samples=6, entire=True, interval_s=2.0,
        pressure_start_pa=2e5, pressure_pa=2.1e5, pressure_high_pa=2.1e5, slope_m3_s=None, slope_pa_s=None,
        slope_first_m3_s=None, slope_before_m3_s=None, noise_pa=500.0, motor_level=level, flow_m3_s=None,
        discharge_pa=None, suction_pa=None, motor_now=18.0,
    )  # fmt: skip
    assert bool(detector.look(look, known_by(2.0))) is told


def test_a_wild_word_where_the_switch_starts_nothing_is_no_stalled_rotor() -> None:
    heard, _ = one_word_a_start(40 * traces.PSI)
    assert "motor_overload" not in {finding.fault for finding in told(traces.plant(ON_CHANGE), heard)}


def test_the_inrushes_of_a_switch_that_chatters_are_no_stalled_rotor() -> None:
    trace = traces.Trace(demand=STEADY)
    heard = traces.readings(trace, 8 * HOUR, seed=3)
    motor = np.flatnonzero(heard.signal == 1)
    on = heard.value[motor] > 1.0
    starts = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    value = heard.value.copy()
    for start in starts[seconds(heard)[motor[starts]] > LATER_S]:
        value[motor[start : start + 5]] = STALLED_A  # quicker than the clamp looks
        value[motor[start + 5 : start + 8]] = 0.0
    found = told(traces.plant(trace), Readings(heard.signal, heard.time_us, value))
    assert "motor_overload" not in {finding.fault for finding in found}


def test_an_inrush_told_on_change_is_a_second_of_the_run() -> None:
    """Two words a run: five times the level, and a second later the level, which stands until the stop."""
    trace = traces.Trace(demand=traces.household)
    true = traces.run(trace, 3 * 86_400.0, seed=5)
    readings = traces.readings(trace, 3 * 86_400.0, seed=5, true=true)
    motor = readings.signal == 1
    on = readings.value > 1.0
    begins = motor.copy()
    begins[motor] = np.diff(on[motor], prepend=False) & on[motor]
    value = np.where(begins, 35.0, np.where(on, 7.0, 0.0))
    keep = np.ones(len(motor), np.bool_)
    keep[motor] = np.abs(np.diff(value[motor], prepend=-9.0)) > 1.0
    shown = Readings(readings.signal, readings.time_us, np.where(motor, value, readings.value))[keep]
    plant = traces.plant(trace)
    plant = replace(plant, signals=(plant.signals[0], replace(plant.signals[1], every_s=None)))
    engine = Engine(plant)
    outcomes = (engine.feed(shown), engine.finish())
    assert [one.fault for outcome in outcomes for one in outcome.findings] == []
    levels = [cycle.motor_level for outcome in outcomes for cycle in outcome.cycles]
    assert levels.count(7.0) > 20
    assert set(levels) <= {7.0, None}  # of a run that said both words while it ran up nothing is known


@pytest.mark.parametrize(
    ("every_s", "run_s", "said"), [(10.0, 6, []), (1.0, 6, ["motor_overload"]), (1.0, 2, [])]
)
def test_inrushes_that_a_slow_clamp_meets_in_short_runs_are_no_overload(
    every_s: float, run_s: int, said: list[str]
) -> None:
    """Four runs of six seconds that fill a tank without air, and of each the one word that stood for it was
    of its start: a clamp that looks each second would have seen more. Runs of two seconds, by a switch that
    chatters, are all inrush."""
    detector = MotorOverload(traces.plant(traces.Trace()))
    known = known_by(every_s)
    found = []
    for start_s in (100, 200, 300, 400):
        cycle = Cycle(
            start_s * 1_000_000, (start_s + run_s) * 1_000_000, float(run_s),
            pressure_start_pa=30 * traces.PSI, pressure_stop_pa=50 * traces.PSI, motor_level=28.0,
        )  # fmt: skip
        run = Run(cycle.stop_us, cycle, True, every_s, pressure_high_pa=50 * traces.PSI)
        found += [claim.fault for claim in detector.run(run, known)]
    assert sorted(set(found)) == said


@pytest.mark.parametrize("volume_gal", [14.0, 3.0])
def test_a_motor_that_drags_in_runs_too_short_for_their_tank_is_told_beside_it(volume_gal: float) -> None:
    """The tank keeps a third of its size, or next to nothing: of runs of half a minute the motor's level is
    its own, and of some seconds it may be the start's."""
    gone = traces.after(LATER_S, volume_gal * traces.GAL, 44 * traces.GAL)
    trace = traces.Trace(demand=STEADY, volume_m3=gone)
    heard = traces.readings(trace, 9 * HOUR, seed=3)
    drags = (heard.signal == 1) & (seconds(heard) > LATER_S + HOUR)
    value = np.where(drags, 1.5 * heard.value, heard.value)
    found = {one.fault for one in told(traces.plant(trace), Readings(heard.signal, heard.time_us, value))}
    assert "short_cycling" in found
    assert ("motor_overload" in found) is (volume_gal > 10.0)


@pytest.mark.parametrize(
    ("now_a", "inrushes", "fault"),
    [(9.0, 1, True), (9.0, 3, False), (7.6, 1, False), (7.0, 4, False)],
    ids=["drags", "drags, and too few words of it", "sags", "met at its starts"],
)
def test_runs_shorter_than_the_clamps_interval_are_told_by_their_lone_words(
    now_a: float, inrushes: int, fault: bool
) -> None:
    """Of runs of twenty seconds a clamp that looks each minute says one word; some are of the inrush."""
    detector, known = MotorOverload(traces.plant(traces.Trace())), known_by(60.0)
    known.signature.clean.clear()
    words = [7.0, 28.0, *[7.0] * 22, *[28.0] * inrushes, *[now_a] * (8 - inrushes)]
    found = []
    for start_s, word in enumerate(words):
        cycle = Cycle(start_s * 600_000_000, start_s * 600_000_000 + 20_000_000, 20.0)
        run = Run(cycle.stop_us, cycle, True, 60.0, motor_words=word)
        found += [(claim.fault, claim.evidence["motor_share_1"]) for claim in detector.run(run, known)]
    assert found == ([("motor_overload", pytest.approx(now_a / 7.0))] * 2 if fault else [])


def test_one_inrush_of_a_contact_that_bounces_is_no_stalled_rotor() -> None:
    """Each 5 s: 7, 28, 0 A, and then a run as ever. The level of such a run would be that of one word."""
    trace = traces.Trace(demand=STEADY)
    heard = traces.readings(trace, 8 * HOUR, seed=3)
    heard = heard[seconds(heard) % 5.0 < 0.5]
    motor = np.flatnonzero(heard.signal == 1)
    on = heard.value[motor] > 1.0
    starts = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    value = heard.value.copy()
    for start in starts[seconds(heard)[motor[starts]] > LATER_S]:
        value[motor[start + 1 : start + 3]] = 28.0, 0.0
    found = told(traces.plant(trace), Readings(heard.signal, heard.time_us, value))
    assert "motor_overload" not in {finding.fault for finding in found}


def test_a_clamp_that_speaks_on_change_tells_a_stalled_rotor_in_the_first_run() -> None:
    """At rest it speaks each minute, and then each two seconds until the protector trips."""
    heard, tries_s = one_word_a_start(29 * traces.PSI)
    first_s, at_s = tries_s[0], seconds(heard)
    tried = (heard.signal == 1) & (at_s >= first_s) & ((at_s <= first_s + 30.0) | (heard.value > 1.0))
    said_s = np.append(first_s + np.arange(0.0, 25.0, 2.0), first_s + 25.0)
    words = Readings.of(
        np.full(len(said_s), 1),
        (traces.START_US + said_s * 1e6).astype(np.int64),
        np.append(STALLED_A + np.arange(len(said_s) - 1) % 3, 0.0),
    )
    found = told(traces.plant(ON_CHANGE), Readings.concatenate([heard[~tried], words]).in_time_order())
    assert named(found) == [("motor_overload", "locked_rotor")]
    assert (found[0].raised_us - traces.START_US) / 1e6 < tries_s[1]
