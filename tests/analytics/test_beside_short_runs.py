"""A second fault beside short runs: told where its evidence is such as they cannot make."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any, cast

import numpy as np
import pytest
from msgspec import structs

from analytics.engine import Engine
from analytics.faults.blocked_discharge import BlockedDischarge
from analytics.faults.clogged_filter import CloggedFilter
from analytics.faults.short_cycling import ShortCycling
from analytics.judge import Judge
from analytics.judging.arbitration import Ledger
from analytics.judging.decline import decline
from analytics.judging.no_delivery import witness
from analytics.judging.signature import Signature
from analytics.judging.story import follow
from analytics.judging.trait import Trait
from analytics.judging.watch import AllClear, Claim, Known, Word
from analytics.judging.worked_out import Decline, Witness
from analytics.plant.description import PressureTank
from analytics.records import Cycle, Finding
from analytics.seeing.events import Look, Run
from analytics.seeing.water import Water
from tests.analytics import traces
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, made

MIN = 60_000_000
SHORT = Claim("short_cycling", MIN, "high", 0.9, "Short.", "lost_air_charge")
CLEAN_PA, CLOGGED_PA, AIR_LEFT = 8_000.0, 30_000.0, 0.25


def airless(at: int, truth: Made, rng: np.random.Generator) -> Run:
    """A run of a tank with a quarter of its air: flows read fourfold, and it is over four times as soon."""
    one = made(at, truth, rng, 0.05, 0.0, 2.0)
    cycle = one.cycle
    flows = {
        name: getattr(cycle, name) / AIR_LEFT
        for name in ("delivery_start_m3_s", "delivery_stop_m3_s", "delivery_mid_m3_s")
    }
    cycle = replace(cycle, run_time_s=cycle.run_time_s * AIR_LEFT, **flows)
    return structs.replace(one, cycle=cycle, slope_run_m3_s=cycle.delivery_mid_m3_s)


class Standing:
    """What a detector may ask of a plant on which findings of these faults stand."""

    def __init__(self, *faults: str) -> None:
        self.plant, self.water, self.signature = PLANT, Water.of(PLANT), Signature()
        self.faults = set(faults)

    def is_open(self, fault: str, of: str | None = None) -> bool:
        return fault in self.faults

    def cause(self, fault: str) -> str | None:
        return "lost_air_charge" if fault in self.faults else None

    def declined(self, interval_s: float) -> Decline | None:
        return decline(cast(Known, self), interval_s)

    def learn(self, one: Run) -> None:
        self.signature.learn(one, not self.faults, 0.5 * (HIGH - LOW))


def heard(drop_pa: float, left: float, seed: int) -> tuple[Standing, CloggedFilter, list[Word]]:
    """Sixty clean runs, then twenty of a tank without air, with such a drop across the filter."""
    rng, known, detector, said = np.random.default_rng(seed), Standing(), CloggedFilter(PLANT), []
    for at in range(80):
        one = (
            made(at, Made(drop_pa=CLEAN_PA), rng, 0.05, 0.0, 2.0)
            if at < 60
            else airless(at, Made(left, drop_pa=drop_pa), rng)
        )
        if at == 62:
            known.faults.add("short_cycling")
        known.learn(one)
        said += detector.weighed(one, cast(Any, known))
    return known, detector, said


@pytest.mark.parametrize("seed", range(5))
def test_the_drop_across_the_filter_tells_a_clog_though_all_flows_read_fourfold(seed: int) -> None:
    _, _, said = heard(CLOGGED_PA, 0.8, seed)
    claims = [word for word in said if isinstance(word, Claim)]
    assert claims
    ledger = Ledger()
    ledger.hear([SHORT], 10 * MIN)
    ledger.hear(claims[:1], 20 * MIN)
    assert ledger.is_open("clogged_filter")
    assert claims[0].evidence["filter_resistance_share_1"] > 2.0


@pytest.mark.parametrize("seed", range(5))
def test_a_tank_without_air_alone_clogs_no_filter(seed: int) -> None:
    _, _, said = heard(CLEAN_PA, 1.0, seed)
    assert said == []


def test_without_a_filter_before_the_tank_a_drop_says_nothing_of_one() -> None:
    known, _, _ = heard(CLOGGED_PA, 0.8, 0)
    known.plant = replace(PLANT, filter=None)
    found = known.declined(1.0)
    assert found is None or not found.sure


@pytest.mark.parametrize(("drop_pa", "cleared"), [(CLOGGED_PA, False), (CLEAN_PA, True)])
def test_it_is_over_when_the_drop_is_back_whatever_the_flows_read(drop_pa: float, cleared: bool) -> None:
    known, detector, _ = heard(CLOGGED_PA, 0.8, 0)
    known.faults.add("clogged_filter")
    rng, said = np.random.default_rng(9), []
    for at in range(80, 110):
        one = airless(at, Made(1.0 if cleared else 0.8, drop_pa=drop_pa), rng)
        known.learn(one)
        said += detector.weighed(one, cast(Any, known))
    assert any(isinstance(word, AllClear) for word in said) is cleared


def test_less_delivery_by_flows_alone_hangs_on_short_runs_as_ever() -> None:
    ledger = Ledger()
    ledger.hear([SHORT], 10 * MIN)
    ledger.hear([Claim("clogged_filter", MIN, "medium", 0.9, "Less comes.")], 20 * MIN)
    assert not ledger.is_open("clogged_filter")


LOOK = Look(
    at_us=0, start_us=1, age_s=20.0, window_s=20.0, samples=4, entire=True, interval_s=5.0,
    pressure_start_pa=30 * traces.PSI, pressure_pa=20 * traces.PSI, pressure_high_pa=30 * traces.PSI,
    slope_m3_s=None, slope_pa_s=None, slope_first_m3_s=None, slope_before_m3_s=None, noise_pa=None,
    motor_level=180.0, flow_m3_s=None, discharge_pa=None, suction_pa=None,
)  # fmt: skip


@pytest.mark.parametrize(("outlet_psi", "told"), [(68.0, True), (None, False)])
def test_an_outlet_at_shut_off_is_told_beside_short_runs(outlet_psi: float | None, told: bool) -> None:
    """By an outlet gauge at once; without one a shut way looks like short runs themselves for a while."""
    judge = Judge(traces.plant())
    judge.witness = Witness(True, True, True, None, 0.6, 1, None)
    detector, ledger = BlockedDischarge(judge.plant), Ledger()
    ledger.hear([SHORT], 10 * MIN)
    for nth in range(3):
        outlet_pa = outlet_psi * traces.PSI if outlet_psi is not None else None
        look = structs.replace(LOOK, at_us=nth * 5_000_000, age_s=20.0 + 5 * nth, discharge_pa=outlet_pa)
        ledger.hear(detector.look(look, judge), 20 * MIN, int(look.age_s * 1e6))
    assert ledger.is_open("blocked_discharge") is told


def shut(judge: Judge, age_s: float, line_psi: float, outlet_psi: float, **changes: object) -> Look:
    usual = judge.usual
    shown: dict[str, object] = {
        "at_us": int(age_s * 1e6), "start_us": 0, "age_s": age_s, "window_s": 20.0, "samples": 10,
        "interval_s": 2.0, "pressure_start_pa": usual.start_pa, "pressure_pa": line_psi * traces.PSI,
        "pressure_high_pa": usual.start_pa, "slope_m3_s": 0.0, "slope_first_m3_s": -1.1 * usual.delivery_m3_s,
        "slope_before_m3_s": -1.15 * usual.delivery_m3_s, "noise_pa": 500.0, "slope_error_m3_s": 0.0,
        "discharge_pa": outlet_psi * traces.PSI, "motor_level": None,
    }  # fmt: skip
    return structs.replace(LOOK, **(shown | changes))


def following(looks: list[tuple[float, float, float]], *standing: str, rough_pa: float = 0.0) -> Judge:
    """Looks (age, line, outlet) into a run against a shut outlet, as they are followed."""
    judge = Judge(traces.plant())
    for fault in standing:
        judge._ledger.standing[f"{fault}/"] = Finding(fault, None, 0, 0, "high", 0.9, "", None)
    judge._ledger._note_faults()
    judge.signature.clean["filter_drop_pa"] = Trait(CLEAN_PA, CLEAN_PA, rough_pa)
    for age_s, line_psi, outlet_psi in looks:
        follow(judge.story, shut(judge, age_s, line_psi, outlet_psi), judge)
    return judge


@pytest.mark.parametrize(("rises_psi", "standing", "throttled"), [
    (1.5, ["short_cycling"], False), (1.5, [], True), (4.0, ["short_cycling"], True),
])  # fmt: skip
def test_air_that_warms_in_a_tank_without_charge_lets_no_water_through(
    rises_psi: float, standing: list[str], throttled: bool
) -> None:
    """Let out from 30 to 19 psi it comes up by about two, by itself."""
    looks = [(6.0, 28.0, 68.0), (40.0, 19.0, 68.0), (70.0, 19.0 + rises_psi, 68.0)]
    assert following(looks, *standing).story.throttled is throttled


@pytest.mark.parametrize(("sinks_psi", "rough_pa", "throttled"), [
    ([0.8, 0.8], 0.0, True),
    ([0.8, 0.8], 3_000.0, False),  # no more than its medians scatter by
    ([3.0, 3.0], 3_000.0, True),
])  # fmt: skip
def test_an_outlet_follows_the_line_only_where_its_own_scatter_does_not_say_so(
    sinks_psi: list[float], rough_pa: float, throttled: bool
) -> None:
    looks = [(6.0, 28.0, 68.0)]
    looks += [(12.0 + 6.0 * n, 26.0 - 2.0 * n, 68.0 - sinks) for n, sinks in enumerate(sinks_psi)]
    assert following(looks, rough_pa=rough_pa).story.throttled is throttled


@pytest.mark.parametrize(("first", "shuts"), [(-1.1, True), (-0.7, False)])
def test_taps_that_are_shut_later_are_no_delivery_of_a_start_that_showed_none(
    first: float, shuts: bool
) -> None:
    """The outlet stood at shut-off since the start, and the line ceases to fall half a minute later."""
    judge = following([(6.0, 28.0, 68.0), (12.0, 26.0, 68.0)])
    usual = judge.usual
    look = shut(judge, 45.0, 20.0, 68.0, slope_first_m3_s=first * usual.delivery_m3_s)
    follow(judge.story, look, judge)
    seen = witness(look, judge)
    assert seen is not None
    assert seen.shut is shuts


@pytest.mark.parametrize(("high", "low"), [(30.0, 19.0), (50.0, 10.0)])
def test_cooled_air_warms_by_what_two_steps_of_a_gas_say(high: float, low: float) -> None:
    """Let out by P V^n, then back to its first warmth at that volume: P V is then what it was at first."""
    water = Water.of(traces.plant())
    p0, p1 = (one * traces.PSI + water.atmosphere_pa_abs for one in (high, low))
    volume = (p0 / p1) ** (1.0 / 1.2)
    warmed = p0 / volume
    assert water.warms_by_pa(high * traces.PSI, low * traces.PSI) == pytest.approx(warmed - p1)
    assert water.warms_by_pa(low * traces.PSI, low * traces.PSI) == 0.0


@cache
def findings(clog: float) -> dict[str, Finding]:
    """Two days and a half of a household: air goes within the second day's night, and the filter, or not."""
    day = 86_400.0
    trace = traces.Trace(
        charge_pa=traces.after(1.5 * day, 2 * traces.PSI, 28 * traces.PSI),
        clog=traces.after(1.6 * day, clog),
        extra={"discharge": 1.0},
        step_s=1.0,
    )
    engine, last = Engine(traces.plant(trace)), {}
    for finding in engine.feed(traces.readings(trace, 2.5 * day, seed=4)).findings:
        last[finding.fault] = finding
    return last


def test_both_are_told_of_a_plant_that_has_both() -> None:
    found = findings(6.0)
    assert found["short_cycling"].cause == "lost_air_charge"
    assert "clogged_filter" in found
    assert "clogged_filter" not in findings(1.0)
    assert findings(1.0)["short_cycling"].cause == "lost_air_charge"


@cache
def too_small(wears: bool, every_s: float = 1.0) -> tuple[dict[str, Finding], bool]:
    """Five days of a tank of six gallons, that starts a pump that gives less from the third day, or not; and
    whether its runs were learned from."""
    day, volume_m3 = 86_400.0, 6 * traces.GAL
    trace = traces.Trace(
        volume_m3=volume_m3,
        delivers=traces.after(2.5 * day, 0.65 if wears else 1.0),
        extra={"discharge": 1.0},
        step_s=1.0,
        every_s=every_s,
    )
    plant = traces.plant(trace, pressure_tank=PressureTank(volume_m3, 28 * traces.PSI))
    engine, last = Engine(plant), {}
    for finding in engine.feed(traces.readings(trace, 5 * day, seed=5)).findings:
        last[finding.fault] = finding
    return last, engine.judge.signature.learned_us is not None


def test_runs_of_a_tank_that_was_built_too_small_are_learned_from() -> None:
    """They are as they will ever be: else no loss would be told on such a plant."""
    found, learned = too_small(wears=True)
    assert found["short_cycling"].cause == "undersized_tank"
    assert learned
    assert "pump_wear" in found
    assert set(too_small(wears=False)[0]) == {"short_cycling"}


def test_of_runs_that_two_samples_meet_nothing_is_learned() -> None:
    """Those that a draw makes long enough would be no fair lesson."""
    found, learned = too_small(wears=False, every_s=10.0)
    assert found["short_cycling"].cause == "undersized_tank"
    assert not learned


@pytest.mark.parametrize(("line_psi", "outlet_psi", "throttled"), [
    (27.0, 68.0, True),  # not yet let go of
    (5.0, 68.0, False),
    (5.0, 66.0, True),  # it follows, by a tenth: something comes through
])  # fmt: skip
def test_a_tap_that_was_shut_at_the_start_passes_for_a_part_of_the_delivery_until_the_line_has_gone(
    line_psi: float, outlet_psi: float, throttled: bool
) -> None:
    judge = Judge(traces.plant())
    judge.signature.clean["filter_drop_pa"] = Trait(CLEAN_PA, CLEAN_PA, 0.0)
    delivery = judge.usual.delivery_m3_s
    kink = {"slope_before_m3_s": -0.6 * delivery, "slope_first_m3_s": -0.1 * delivery}
    for age_s, line, outlet in ((6.0, 28.0, 68.0), (12.0, 28.0, 68.0), (60.0, line_psi, outlet_psi)):
        follow(judge.story, shut(judge, age_s, line, outlet, **kink), judge)
    assert judge.story.throttled is throttled


@pytest.mark.parametrize(("ends_psi", "counted"), [(-6.0, 0), (18.0, 9)])
def test_what_a_protector_tries_again_with_a_jammed_rotor_are_no_starts_of_a_switch(
    ends_psi: float, counted: int
) -> None:
    """Somebody draws meanwhile, and pressure goes down through the tries."""
    judge = Judge(traces.plant())
    judge._ledger.hear([Claim("motor_overload", 0, "high", 0.9, "It is jammed.", "locked_rotor")], MIN)
    detector, began_pa = ShortCycling(judge.plant), judge.usual.start_pa
    ended_pa = began_pa + ends_psi * traces.PSI
    low_pa, high_pa = min(began_pa, ended_pa), max(began_pa, ended_pa)
    for nth in range(1, 10):
        start_us = nth * 5 * MIN
        cycle = Cycle(start_us, start_us + 40_000_000, 40.0, None, began_pa, ended_pa)
        run = Run(cycle.stop_us, cycle, True, 1.0, pressure_low_pa=low_pa, pressure_high_pa=high_pa)
        detector.run(run, judge)
    assert len(detector.memory.starts_us) == counted
