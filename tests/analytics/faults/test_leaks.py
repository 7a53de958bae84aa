"""Leaks of the line, from slopes of tank water made up here: what is lost is what was put in."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec import structs

from analytics.engine import Engine
from analytics.faults.leak_path import LeakPath, PathMemory
from analytics.faults.storage_leak import StorageLeak
from analytics.faults.supply_leak import SupplyLeak
from analytics.judging.arbitration import Ledger
from analytics.judging.brief import Brief
from analytics.judging.levels import Levels
from analytics.judging.pauses import Pauses
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.trait import Trait
from analytics.judging.watch import AllClear, Claim, Detector, Known
from analytics.plant.description import Measure, Plant, PressureTank, Pump, Signal, Storage, Switch
from analytics.records import Cycle, Finding
from analytics.seeing.beats import Beat, Span
from analytics.seeing.events import Rest, Run
from analytics.seeing.water import Water
from tests.analytics import traces

BEAT_US, HOUR_US = 600_000_000, 3_600_000_000
HOUR_S = 3600.0
START_US = 527_778 * HOUR_US  # some hour of 2030
LITRE_H = 1e-3 / HOUR_S
PLANT = Plant(
    "made-up", "Made up", "UTC", "metric", 0.0, Pump(500.0, None, 30.0, 20.0, None, None),
    (
        Signal("pressure", Measure.LINE_PRESSURE, "p", "Pa", every_s=10.0),
        Signal("motor", Measure.PUMP_RUNNING, "m", None, every_s=10.0),
        Signal("level", Measure.STORAGE_LEVEL, "l", "m", every_s=60.0, of="rain"),
    ),
    Switch(200e3, 350e3), PressureTank(0.2, 185e3), None, (Storage("rain", 10.0, 2.0, 0.1),),
)  # fmt: skip
PRESSURE, MOTOR, LEVEL = 0, 1, 2


def span(value: float, at_us: int, count: int = 10) -> Span:
    times = np.full(count, at_us, np.int64)
    values = np.full(count, value)
    return Span(count, 0, value, value, value, value, value, times, values, 0, count)


@dataclass
class Line:
    """A pump at rest beside one detector: hour by hour, what the line and the storage lose [m3/s]."""

    detector: Detector
    line_m3_s: float = 0.0
    storage_m3_s: float = 0.0
    noise_m3_s: float = 0.05 * LITRE_H
    level_m: float = 1.0
    drift_m: float = 0.0  # of the level gauge, up and down within a day
    scatter_m3: float = 1e-5
    rise_pa: float = 0.0  # within each rest
    settled: bool = True  # rests of nine hours; else each of half an hour
    hour: int = 0
    ledger: Ledger = field(default_factory=Ledger)
    told: list[Finding] = field(default_factory=list)
    signature: Signature = field(default_factory=Signature)
    levels: Levels = field(default_factory=lambda: Levels(PLANT))

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(1)

    def hears(self, *words: Claim | AllClear) -> None:
        """What another detector says."""
        self.told += self.ledger.hear(words, START_US + self.hour * HOUR_US)

    def pass_hours(self, hours: int) -> None:
        known = cast(
            Known,
            SimpleNamespace(
                plant=PLANT,
                water=Water.of(PLANT),
                signature=self.signature,
                levels=self.levels,
                is_open=self.ledger.is_open,
                every_s=lambda signal: PLANT.signals[signal].every_s,
            ),
        )
        for _ in range(hours):
            from_us = START_US + self.hour * HOUR_US
            slope = -self.line_m3_s + self.noise_m3_s * self._rng.standard_normal()
            half_us = HOUR_US // 2
            for part in (0, 1):
                to_us = from_us + (part + 1) * half_us
                rest = Rest(
                    to_us, from_us - 9 * HOUR_US if self.settled else to_us - half_us, to_us - half_us, to_us,
                    180, True, slope, self.noise_m3_s, 3e5, 3e5, self.scatter_m3,
                    self.rise_pa,
                )  # fmt: skip
                self._say(self.detector.rest(rest, known), to_us)
            for at in range(6):
                to_us = from_us + (at + 1) * BEAT_US
                self.level_m -= self.storage_m3_s * 600.0 * 2.0 / 10.0
                drift_m = 0.5 * self.drift_m * math.sin(2.0 * math.pi * (self.hour + at / 6.0) / 24.0)
                shown = round(self.level_m + drift_m + 0.001 * self._rng.standard_normal(), 3)
                spans = {PRESSURE: span(3e5, to_us), MOTOR: span(0.0, to_us), LEVEL: span(shown, to_us)}
                beat = Beat(to_us, to_us - BEAT_US, to_us, spans, 0.0)
                self.levels.hear(beat, ())
                self._say(self.detector.beat(beat, known), to_us)
            self.hour += 1

    def _say(self, words: object, at_us: int) -> None:
        self.told += self.ledger.hear(words, at_us)  # type: ignore[arg-type]

    def cause(self, fault: str) -> str | None:
        return [one.cause for one in self.told if one.fault == fault][-1]

    def raised_hours(self, fault: str) -> list[float]:
        keys = {one.key for one in self.told if one.fault == fault}
        return sorted((key[2] - START_US) / HOUR_US for key in keys)


def other(fault: str, cause: str | None = None) -> Claim:
    return Claim(fault, START_US, "high", 0.95, "It is so.", cause)


def test_a_leak_of_the_line_is_raised_when_what_it_hung_on_is_over() -> None:
    """No water for two days: the leak that was there all along is said when the prime is back."""
    line = Line(SupplyLeak(PLANT), line_m3_s=10.0 * LITRE_H)
    line.hears(other("lost_prime"))
    line.pass_hours(48)
    assert line.raised_hours("supply_leak") == []
    line.hears(AllClear("lost_prime"))
    line.pass_hours(2)
    (raised,) = line.raised_hours("supply_leak")
    assert 48.0 < raised <= 50.0


def test_a_leak_that_is_gone_before_what_it_hung_on_is_never_raised() -> None:
    line = Line(SupplyLeak(PLANT), line_m3_s=10.0 * LITRE_H)
    line.hears(other("lost_prime"))
    line.pass_hours(48)
    line.line_m3_s = 0.0
    line.pass_hours(26)
    line.hears(AllClear("lost_prime"))
    line.pass_hours(30)
    assert line.raised_hours("supply_leak") == []


@pytest.mark.parametrize(("cause", "raised"), [("lost_air_charge", 1), ("leak", 0), (None, 1)])
def test_short_runs_hide_a_leak_only_where_the_leak_makes_them(cause: str | None, raised: int) -> None:
    line = Line(SupplyLeak(PLANT), line_m3_s=10.0 * LITRE_H)
    line.hears(other("short_cycling", cause))
    line.pass_hours(48)
    assert len(line.raised_hours("supply_leak")) == raised


def test_a_leak_of_the_storage_is_raised_when_what_it_hung_on_is_over() -> None:
    """30 L/h, 6 mm of level an hour: seen within a day, and again within a day of the burst's end."""
    line = Line(StorageLeak(PLANT), storage_m3_s=30.0 * LITRE_H)
    line.hears(other("burst_line"))
    line.pass_hours(48)
    assert line.raised_hours("storage_leak") == []
    line.hears(AllClear("burst_line"))
    line.pass_hours(24)
    (raised,) = line.raised_hours("storage_leak")
    assert 48.0 < raised <= 72.0


@pytest.mark.parametrize(("back", "cause"), [(1.0, "check_valve"), (0.0, "downstream")])
@pytest.mark.parametrize("drift_m", [0.0, 0.01])
def test_what_the_line_loses_comes_back_to_the_storage_or_does_not(
    back: float, cause: str, drift_m: float
) -> None:
    """2.4 mm an hour on 5 m2, under a gauge that drifts by a centimetre within the day."""
    line = Line(SupplyLeak(PLANT), line_m3_s=12.0 * LITRE_H, drift_m=drift_m)
    line.storage_m3_s = -back * line.line_m3_s
    line.pass_hours(72)
    assert line.cause("supply_leak") == cause


@pytest.mark.parametrize("litres", [500.0, 5000.0])
def test_a_storage_that_is_filled_does_not_make_it_the_check_valve(litres: float) -> None:
    """Filled by 3 h every 30 h: what runs in is many times what the line loses."""
    line = Line(SupplyLeak(PLANT), line_m3_s=12.0 * LITRE_H, level_m=0.2)
    for _ in range(3):
        line.pass_hours(27)
        line.storage_m3_s = -litres * 1e-3 / (3.0 * HOUR_S)
        line.pass_hours(3)
        line.storage_m3_s = 0.0
    assert line.cause("supply_leak") in ("downstream", None)


def test_a_storage_that_always_fills_tells_nothing() -> None:
    line = Line(SupplyLeak(PLANT), line_m3_s=12.0 * LITRE_H, storage_m3_s=-30.0 * LITRE_H)
    line.pass_hours(60)
    assert line.cause("supply_leak") is None


def test_a_leak_that_hardly_lifts_the_storage_is_left_open() -> None:
    """4 L/h on 5 m2 is 0.8 mm an hour, which a drifting gauge makes as well."""
    line = Line(SupplyLeak(PLANT), line_m3_s=4.0 * LITRE_H, storage_m3_s=-4.0 * LITRE_H)
    line.pass_hours(72)
    assert line.raised_hours("supply_leak")
    assert line.cause("supply_leak") is None


def days_of(line: Line, hours: list[tuple[int, float, float, bool]], days: int) -> list[float]:
    """Hours (how many, litres an hour, scatter in litres, settled) day after day; when a leak was raised."""
    for _ in range(days):
        for count, litres_h, scatter_l, line.settled in hours:
            line.line_m3_s, line.scatter_m3 = litres_h * LITRE_H, scatter_l * 1e-3
            line.pass_hours(count)
    return line.raised_hours("supply_leak")


def test_hours_that_lose_less_refute_a_leak_though_somebody_draws_in_them() -> None:
    """A drip line of 18 hours, and guests who leave no half hour without a tap for the rest of the day."""
    line = Line(SupplyLeak(PLANT))
    assert days_of(line, [(18, 40.0, 0.02, False), (6, 8.0, 1.5, True)], 4) == []


@pytest.mark.parametrize("spells", [2, 3])
def test_spells_in_which_pressure_stood_still_refute_a_leak(spells: int) -> None:
    line = Line(SupplyLeak(PLANT), line_m3_s=8.0 * LITRE_H)
    told = SimpleNamespace(hear=lambda beat, span, every_s: None, refuting=lambda leak, water, now_us: spells)
    line.detector.memory.pauses = cast(Pauses, told)
    line.pass_hours(48)
    assert bool(line.raised_hours("supply_leak")) is (spells < 3)


def test_steps_are_told_by_rests_that_are_not_a_drip_line_s() -> None:
    """Rests beside a drip line bend as the air warms, by more than the gauge's noise: full hours of the
    house are not straight because they are as crooked as that."""
    line = Line(SupplyLeak(PLANT))
    draws, more = (9, 7.0, 1.5, True), (2, 12.0, 3.0, True)
    quiet, hardly_drawn = (1, 0.0, 0.2, True), (1, 3.6, 0.4, True)
    by_day = [(11, 330.0, 0.8, False), draws, more, quiet, hardly_drawn]
    assert days_of(line, by_day, 4) == []


def test_rests_in_which_the_pump_has_run_unseen_clear_no_leak() -> None:
    """Runs of 20 s fall between words 30 s apart: a rest goes up and down, and ends where it began."""
    line = Line(SupplyLeak(PLANT), line_m3_s=60.0 * LITRE_H)
    line.pass_hours(40)
    line.line_m3_s, line.scatter_m3, line.rise_pa = 3.0 * LITRE_H, 2.8e-3, 80e3
    line.pass_hours(20)
    (finding,) = {one.key: one for one in line.told if one.fault == "supply_leak"}.values()
    assert finding.cleared_us is None


def test_a_line_that_bends_as_pressure_falls_is_no_draw() -> None:
    """Before the leak the gauge stood still; now each rest goes through half of the band."""
    line = Line(SupplyLeak(PLANT))
    by_day = [(48, 0.0, 0.05, True), (31, 70.0, 1.3, True)]
    (raised,) = days_of(line, by_day, 1)
    assert raised <= 78.0


def test_a_leak_that_starts_the_pump_every_few_minutes_is_told() -> None:
    """Half of the delivery, day and night: no rest lasts the four minutes that a slope is taken of."""
    trace = traces.Trace(demand=traces.steady(14.0 * traces.LPM), every_s=10.0)
    engine = Engine(traces.plant(trace))
    outcomes = (engine.feed(traces.readings(trace, 40 * HOUR_S, seed=2)), engine.finish())
    keys = {one.key: one for outcome in outcomes for one in outcome.findings}
    assert [one.fault for one in keys.values()] == ["supply_leak"]


@pytest.mark.parametrize(("interval_s", "share"), [(60.0, 1.0), (2.0, 0.5)])
def test_a_rest_whose_ends_no_word_met_lost_what_the_switch_lets_it(interval_s: float, share: float) -> None:
    """Words a minute apart put a rest of 100 s between other pressures than those at which it began and
    ended; words two seconds apart do not."""
    detector, water, at_us = SupplyLeak(PLANT), Water.of(PLANT), START_US + 120_000_000
    usual = reference(PLANT, water, Signature())
    known = cast(Known, SimpleNamespace(water=water, usual=usual))
    lost_m3 = water.between_m3(200e3, 350e3)
    detector.memory.stop_pa = water.pressure_pa(water.one(200e3) + 0.75 * lost_m3)
    start_pa = water.pressure_pa(water.one(200e3) + 0.25 * lost_m3)
    cycle = Cycle(at_us, at_us + 40_000_000, 40.0, 100.0, start_pa, 350e3)
    detector.run(Run(at_us + 100_000_000, cycle, True, interval_s), known)
    assert detector.memory.hours[-1].loss_m3_s * 100.0 == pytest.approx(share * lost_m3)


@pytest.mark.parametrize(("share", "told"), [(1.0, True), (0.1, False)])
def test_a_meter_at_rest_after_the_repair_does_not_say_where_it_went(share: float, told: bool) -> None:
    detector, leak_m3_s = SupplyLeak(PLANT), 20e-3 / 60.0
    detector.memory.leak_m3_s = leak_m3_s
    detector.memory.path.flows_m3_s = [0.0] * 144
    words = detector._while_standing(0.5 * leak_m3_s, share * leak_m3_s)
    assert bool(words) is told


@pytest.mark.parametrize(("leak_lpm", "told"), [(2.0, "check_valve"), (0.8, None)])
def test_a_meter_that_stands_still_tells_a_check_valve_while_the_pump_runs_too(
    leak_lpm: float, told: str | None
) -> None:
    """A small tank that a check valve empties within minutes: no ten minutes pass without a run. What is less
    than twice a meter's least flow it may not see."""
    meter = Signal("meter", Measure.SUPPLY_FLOW, "f", "m3/s", every_s=10.0)
    path = LeakPath(replace(PLANT, signals=(*PLANT.signals, meter)))
    memory = PathMemory()
    for k in range(36):
        to_us = START_US + (k + 1) * BEAT_US
        path.beat(memory, Beat(to_us, to_us - BEAT_US, to_us, {3: span(0.0, to_us - 1)}, 40.0), {}, True)
    assert path.told(memory, leak_lpm * 1e-3 / 60.0) == told


def test_a_leak_beside_a_drip_line_and_guests_is_told() -> None:
    line = Line(SupplyLeak(PLANT))
    assert days_of(line, [(10, 50.0, 0.8, False), (8, 15.0, 1.5, True), (6, 5.0, 0.05, True)], 2) != []


def test_what_is_measured_badly_hides_no_leak() -> None:
    """Half of the rests are seen so coarsely that their slopes say nothing: the others tell the leak."""
    line = Line(SupplyLeak(PLANT), line_m3_s=10.0 * LITRE_H)
    detector_rest = line.detector.rest
    rng = np.random.default_rng(3)

    def rest(one: Rest, known: Known) -> object:
        error = 30.0 * LITRE_H
        slope = -10.0 * LITRE_H + error * rng.standard_normal()
        detector_rest(structs.replace(one, slope_m3_s=slope, slope_error_m3_s=error), known)
        return detector_rest(one, known) if one.from_us % HOUR_US == 0 else ()

    line.detector.rest = rest  # type: ignore[method-assign, assignment]
    line.pass_hours(34)
    (raised,) = line.raised_hours("supply_leak")
    assert raised <= 32.0
    assert line.told[-1].evidence["leak_m3_s"] == pytest.approx(10.0 * LITRE_H, rel=0.1)


def test_lost_air_is_taken_off_a_leak() -> None:
    """Half the air is gone: pressure falls twice as fast, and the leak is half of what it seems."""
    line = Line(SupplyLeak(PLANT), line_m3_s=10.0 * LITRE_H)
    clean, now = ([brief(k, q) for k in range(24)] for q in (5e-4, 1e-3))
    line.signature.clean = {"kink_m3_s": Trait(5e-4, 5e-4, 2e-5, 5e-4)}
    line.signature.learned_us, line.signature.learned_runs, line.signature.recent = 1, len(clean), now
    line.pass_hours(48)
    assert line.told[-1].evidence["leak_m3_s"] == pytest.approx(5.0 * LITRE_H, rel=0.1)


def test_air_that_goes_out_of_the_tank_is_no_leak_of_water() -> None:
    """Three hundredths of the air an hour: pressure falls as if 4.6 L/h were drawn, of 200 L at 2.75 bar, and
    the pump seems to deliver more from day to day by as much."""
    line, an_hour = Line(SupplyLeak(PLANT)), 0.03
    line.signature.clean = {"kink_m3_s": Trait(5e-4, 5e-4, 1e-5, 5e-4)}
    line.signature.learned_us, line.signature.learned_runs = 1, 24
    for hour in range(50):
        line.signature.recent = [brief(k, 5e-4 * math.exp(an_hour * max(hour - 10, 0))) for k in range(24)]
        line.line_m3_s = 0.2 * (185e3 + 101325.0) / (275e3 + 101325.0) * an_hour / HOUR_S * (hour >= 10)
        line.pass_hours(1)
    assert line.raised_hours("supply_leak") == []


def brief(at_us: int, kink_m3_s: float) -> Brief:
    return Brief(at_us, kink_m3_s, None, None, None, 0.02, 60.0, 0.0, 2e5, 3.5e5, None, None)


def test_what_goes_in_a_leap_is_no_leak() -> None:
    """Half a cubic metre within ten minutes, in a day in which the gauge drifts down by 17 mm and back."""
    line = Line(StorageLeak(PLANT))
    line.pass_hours(6)
    line.level_m -= 0.1
    line.storage_m3_s = 5.0 * LITRE_H
    line.pass_hours(17)
    line.storage_m3_s = -5.0 * LITRE_H
    line.pass_hours(17)
    line.storage_m3_s = 0.0
    line.pass_hours(24)
    assert line.raised_hours("storage_leak") == []
    line.storage_m3_s = 20.0 * LITRE_H  # and a leak that begins after it is still found
    line.pass_hours(36)
    assert len(line.raised_hours("storage_leak")) == 1
