"""Why runs are short, at many spacings of the samples: named where physics tells, left open where not.

Traces by `tests/analytics/traces.py`: Juniper Bench's tank with 28 psi of air between 30 and 50 psi, under
draws that come and go. Without its air it keeps a third of its drawdown; charged to 45 psi, a fifth of the
band is above the charge. One trace a cause, read at each spacing with a phase of its own.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults import short_cycling
from analytics.faults.short_cycling import CyclingMemory, ShortCycling
from analytics.judging.cycling_cause import Grounds, Kinks, Verdict, cause_of
from analytics.judging.cycling_run import Seen, from_switch_to_switch, see
from analytics.judging.cycling_series import short_on_the_mean
from analytics.judging.footing import Said
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.splits import Splits
from analytics.judging.trait import Trait
from analytics.judging.watch import Claim, Known
from analytics.plant.description import Measure, Plant, PressureTank
from analytics.readings import Readings
from analytics.records import Cycle, Finding
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces

GAL, LPM, PSI = traces.GAL, traces.LPM, traces.PSI
HOURS, BEGINS_S = 10.0, 4.0 * 3600.0

CAUSES = {
    "lost_air_charge": ("charge_pa", 0.0, 28 * PSI),
    "lost_air_charge, waterlogged": ("volume_m3", 9 * GAL, 44 * GAL),
    "overcharged_tank": ("charge_pa", 45 * PSI, 28 * PSI),
    "narrow_switch_band, below": ("cut_in_pa", 42 * PSI, 30 * PSI),
    "narrow_switch_band, above": ("cut_out_pa", 36 * PSI, 50 * PSI),
    "undersized_tank": ("volume_m3", 10 * GAL, 10 * GAL),
}
#: Fills within two samples.
HARDLY = {"hardly any air": ("volume_m3", 1.5 * GAL, 44 * GAL)}
SOUND = {"healthy": ("volume_m3", 44 * GAL, 44 * GAL)}


def busy(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Draws of 3 to 18 L/min for one to ten minutes, with up to five minutes between."""
    flow, step, at = np.zeros(len(t)), t[1] - t[0], 0
    while at < len(t):
        lasts = int(rng.uniform(60.0, 600.0) / step)
        flow[at : at + lasts] = rng.uniform(3.0, 18.0) * LPM
        at += lasts + int(rng.uniform(0.0, 300.0) / step)
    return flow


@cache
def truth(case: str, first: bool) -> dict[str, np.ndarray]:
    name, value, before = (CAUSES | HARDLY | SOUND)[case]
    changed = value if first else traces.after(BEGINS_S, value, before)
    columns: dict[str, np.ndarray] = traces.run(
        traces.Trace(demand=busy, **{name: changed}), HOURS * 3600.0, 2
    )
    return columns


def recorded(case: str, every_s: float, first: bool) -> tuple[Plant, Readings]:
    true, rng = truth(case, first), np.random.default_rng(int(every_s))
    trace = traces.Trace(every_s=every_s)
    stride = round(every_s / trace.step_s)
    shown = np.round((true["pressure"] + rng.normal(0.0, trace.noise_pa, len(true["t"]))) / 100.0) * 100.0
    amps = np.abs(true["amps"] + rng.normal(0.0, trace.amps_noise, len(true["t"])))
    parts = []
    for signal, column in enumerate((shown, amps)):
        phase = int(rng.integers(stride))
        time_us = traces.START_US + (true["t"][phase::stride] * 1e6).astype(np.int64)
        parts.append(Readings.of(np.full(len(time_us), signal), time_us, column[phase::stride]))
    tank = PressureTank((10 if case == "undersized_tank" else 44) * GAL, 28 * PSI)
    return traces.plant(trace, pressure_tank=tank), Readings.concatenate(parts).in_time_order()


def told(plant: Plant, readings: Readings) -> list[Finding]:
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return list(found.values())


@pytest.mark.parametrize("first", [False, True])
@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("case", CAUSES)
def test_the_cause_is_named(case: str, every_s: float, first: bool) -> None:
    if case == "undersized_tank" and not first:
        case, first = "undersized_tank", True  # a tank does not shrink
    (finding,) = told(*recorded(case, every_s, first))
    assert (finding.fault, finding.cause) == ("short_cycling", case.split(",")[0])


@pytest.mark.parametrize("first", [False, True])
@pytest.mark.parametrize("every_s", [20.0, 30.0])
@pytest.mark.parametrize("case", CAUSES)
def test_the_cause_is_named_or_left_open_between_two_of_which_one_is_it(
    case: str, every_s: float, first: bool
) -> None:
    (finding,) = told(*recorded(case, every_s, first or case == "undersized_tank"))
    cause = case.split(",")[0]
    assert finding.fault == "short_cycling"
    assert finding.cause in (cause, None)
    if finding.cause is None:
        said = {
            "lost_air_charge": "lost air charge",
            "overcharged_tank": "above the cut-in",
            "narrow_switch_band": "moved up",
        }
        assert said[cause] in finding.summary


@pytest.mark.parametrize("every_s", [2.0, 3.0])
def test_a_tank_that_two_samples_see_filled_has_lost_its_air(every_s: float) -> None:
    """The middle of a run's last three words lies two words before the stop: taken for it, it reads as a
    switch that stops lower."""
    (finding,) = told(*recorded("hardly any air", every_s, False))
    assert (finding.fault, finding.cause) == ("short_cycling", "lost_air_charge")


def test_without_a_pressure_the_cause_is_left_open() -> None:
    """A contact alone: a tank without air, a relay that trips, all look alike."""
    plant, readings = recorded("lost_air_charge, waterlogged", 1.0, False)
    motor = replace(plant.signals[1], measures=Measure.PUMP_CURRENT)
    alone = readings.signal == 1
    seen = Readings.of(np.zeros(int(alone.sum()), np.int64), readings.time_us[alone], readings.value[alone])
    (finding,) = told(replace(plant, signals=(motor,)), seen)
    assert (finding.fault, finding.cause) == ("short_cycling", None)
    assert "without a pressure signal" in finding.summary


def test_coverage_says_what_sampling_leaves_open() -> None:
    fine, far, farther = (
        short_cycling.coverage(traces.plant(traces.Trace(every_s=every_s))).sentence
        for every_s in (1.0, 10.0, 60.0)
    )
    assert fine == "Told within five runs, with the cause."
    assert "cut-in that has moved up" in far
    assert "longer than the samples are apart" in farther


def test_lone_words_of_a_motor_that_move_no_pressure_are_no_runs() -> None:
    """A power meter's register code three times in an hour, ten seconds each, while the line stands still."""
    t = np.arange(0.0, 6 * 3600.0, 10.0)
    amps = np.zeros(len(t))
    amps[[720, 800, 880, 960, 1040]] = 655.35
    shown = np.round(45 * PSI - 0.2 * t + np.random.default_rng(5).normal(0.0, 300.0, len(t)), -2)
    time_us = traces.START_US + (t * 1e6).astype(np.int64)
    parts = [Readings.of(np.full(len(t), k), time_us, column) for k, column in enumerate((shown, amps))]
    plant = traces.plant(traces.Trace(every_s=10.0))
    assert told(plant, Readings.concatenate(parts).in_time_order()) == []


@pytest.mark.parametrize(("true_s", "short"), [((15.5, 19.0), False), ((6.0, 9.0), True)])
def test_runs_that_samples_may_cut_by_half_are_short_on_the_mean_alone(
    true_s: tuple[float, float], short: bool
) -> None:
    """The motor stands 15 s. Read each 10 s, runs of 15 to 19 s look like 10 or 20: five in a row of which
    three look short are one in six, but not five that are short on the mean."""
    pump = replace(traces.plant().pump, min_run_time_s=15.0)
    detector = short_cycling.detector(traces.plant(pump=pump))
    rng = np.random.default_rng(6)
    called = three = 0
    for _ in range(1000):
        samples = [max(np.floor(rng.random() + rng.uniform(*true_s) / 10.0), 1.0) for _ in range(5)]
        detector.memory.runs = [
            Seen(start_us, 0, 10.0 * count, count < 2.0, None, None, None, None, True, edges_s=10.0)
            for start_us, count in zip(np.cumsum(rng.integers(10, 600, 5)) * 10_000_000, samples, strict=True)
        ]
        three += sum(count < 2.0 for count in samples) >= 3
        called += short_on_the_mean(detector.memory.runs, detector.plant)
    assert three > 100
    assert called > 900 if short else called < 10


def test_where_starts_are_too_many_the_sentence_says_so() -> None:
    """A tank of 22 gal, and a draw of half the delivery: runs of over a minute, 19 starts an hour of 15."""
    trace = traces.Trace(volume_m3=22 * GAL, demand=traces.steady(14 * LPM))
    tank = PressureTank(22 * GAL, 28 * PSI)
    pump = replace(traces.plant().pump, min_run_time_s=40.0, max_starts_per_hour=15.0)
    plant = traces.plant(trace, pressure_tank=tank, pump=pump)
    (finding,) = told(plant, traces.readings(trace, 4 * 3600.0, seed=1))
    assert (finding.fault, finding.cause) == ("short_cycling", "undersized_tank")
    assert "times an hour, and stands 15" in finding.summary


def contact(
    flutters: tuple[float, ...], lone_an_hour: float, closing: int = 1, opening: int = 0
) -> tuple[Plant, Readings]:
    """A contact's words each second, of a sound plant; from two hours on each `closing`th start, and each
    `opening`th stop, is made twice, within `flutters` seconds, and lone wild words lie anywhere."""
    true = truth("healthy", first=True)
    t, on = true["t"], true["on"] > 0.5
    stride = round(1.0 / (t[1] - t[0]))
    seconds, on = t[::stride], on[::stride].copy()
    turns = np.diff(on.astype(int))
    for every, turn in ((closing, 1), (opening, -1)):
        edges = [edge for edge in (np.flatnonzero(turns == turn) + 1).tolist() if seconds[edge] > 7_200.0]
        for edge in edges[::every] if flutters and every else ():
            again = edge + 1 if turn > 0 else edge + 3  # one word of rest is passed over in a run
            on[again : again + int(flutters[0])] = turn < 0
    wild = np.random.default_rng(8).random(len(on)) < lone_an_hour / 3600.0
    on ^= wild
    pressure = np.round(true["pressure"][::stride] / 100.0) * 100.0
    time_us = traces.START_US + (seconds * 1e6).astype(np.int64)
    trace = traces.Trace(motor=Measure.PUMP_RUNNING)
    parts = [
        Readings.of(np.full(len(seconds), at), time_us, column)
        for at, column in enumerate((pressure, on.astype(float)))
    ]
    return traces.plant(trace), Readings.concatenate(parts).in_time_order()


def test_a_band_so_narrow_that_runs_take_four_seconds_is_no_flutter() -> None:
    """The tank takes 12 s, and 4 s between a cut-in and a cut-out 5 psi apart; runs that begin and end alike
    follow each other within the half minute under the larger draws."""
    narrowed = traces.after(BEGINS_S, 35 * PSI, 50 * PSI)
    trace = traces.Trace(demand=busy, volume_m3=5 * GAL, cut_out_pa=narrowed)
    plant = traces.plant(trace, pressure_tank=PressureTank(5 * GAL, 28 * PSI))
    plant = replace(plant, pump=replace(plant.pump, min_run_time_s=10.0, max_starts_per_hour=500.0))
    found = told(plant, traces.readings(trace, 9.0 * 3600.0, 2))
    (finding,) = [one for one in found if one.fault == "short_cycling"]
    assert finding.cause == "narrow_switch_band"
    assert finding.raised_us - traces.START_US < (BEGINS_S + 600.0) * 1e6


def test_a_line_that_takes_water_itself_is_no_lost_air() -> None:
    """Below the charge a soft line fills, many times as fast as the tank above it: the kinks at start and
    stop differ as no pump's do, whatever the delivery that they make together."""
    plant = traces.plant()
    usual, water = reference(plant, Water.of(plant), Signature()), Water.of(plant)

    def cause(knee: float) -> str | None:
        seen = Seen(0, 30_000_000, 30.0, True, 4.0, 1.0, 0.05, 0.2, False, 0.0, 2.0, 0.0, 60.0, knee=knee)
        return cause_of(Grounds([seen] * 5, Said("unknown"), 4.0, True, False, usual, plant, water)).cause

    assert cause(7.0) == "overcharged_tank"
    assert cause(1.5) == "lost_air_charge"


@pytest.mark.parametrize(
    ("apparent", "knee", "cause"),
    [
        (1.6, 2.0, "overcharged_tank"),
        (1.6, 1.3, "lost_air_charge"),
        (2.6, 2.0, "lost_air_charge"),
        (1.6, 1.6, "lost_air_charge"),
    ],
)
def test_kinks_that_have_grown_at_the_start_alone_are_no_lost_air(
    apparent: float, knee: float, cause: str
) -> None:
    """Each 5 s no sample meets the collapse; but it lies in the window of the kink at the start, while that
    at the stop, above the charge, shows what it did. Without air both show more, by the same factor."""
    plant = traces.plant()
    usual, water = reference(plant, Water.of(plant), Signature()), Water.of(plant)
    own = Kinks(1.12, 0.88, 0.13, 0.03)
    seen = [
        Seen(
            k,
            k + 28_000_000,
            28.0,
            True,
            apparent,
            1.0,
            None,
            0.3,
            True,
            up=0.02,
            top=0.0,
            net=1.1,
            interval_s=5.0,
            knee=knee + 0.2 * (k % 3 - 1),
        )
        for k in range(12)
    ]
    grounds = Grounds(seen, Said("whole"), apparent, True, False, usual, plant, water, kinks=own)
    assert cause_of(grounds).cause == cause


@pytest.mark.parametrize(("first_lpm", "cause"), [(27.0, "lost_air_charge"), (None, "undersized_tank")])
def test_a_tank_that_took_the_first_runs_whole_is_not_too_small(first_lpm: float | None, cause: str) -> None:
    """Neither a lesson nor a rating: the motor could deliver a hundred litres a minute, which would fill the
    tank in as little as a minute. But eight runs before took four times as long."""
    plant = traces.plant()
    plant = replace(plant, pump=replace(plant.pump, rated_flow_m3_s=None, rated_power_w=None))
    signature, water = Signature(), Water.of(plant)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("kink_m3_s", 27.0 * LPM)):
        trait = Trait(value, value, 0.004 * value, value)
        signature.clean[name] = trait
        if first_lpm is not None:
            signature.first[name] = trait
    usual = reference(plant, water, signature)
    now_m3_s = 100.0 * LPM
    run_s = usual.drawdown_m3 / now_m3_s
    cycle = Cycle(
        0, round(run_s * 1e6), run_s, 900.0, 30 * PSI, 50 * PSI, delivery_start_m3_s=now_m3_s,
        delivery_stop_m3_s=now_m3_s, demand_m3_s=0.0, delivery_mid_m3_s=now_m3_s,
    )  # fmt: skip
    run = Run(2, cycle, True, 1.0, slope_run_m3_s=now_m3_s, pressure_low_pa=30 * PSI, edges_s=1.0)
    seen = see(run, plant, usual, water)
    grounds = Grounds([seen] * 3, Said("unknown"), seen.apparent, False, False, usual, plant, water)
    assert cause_of(grounds).cause == cause


@pytest.mark.parametrize(("up", "top", "narrow"), [(0.05, 0.05, False), (0.05, 0.4, True), (0.5, 0.05, True)])
def test_two_runs_whose_band_seems_narrow_outweigh_no_score_that_went_all_of_it(
    up: float, top: float, narrow: bool
) -> None:
    """Two or three samples a run, in most of which they tell no band: where the runs begin and end is told by
    each all the same."""
    plant = traces.plant()
    usual, water = reference(plant, Water.of(plant), Signature()), Water.of(plant)

    def seen(band: float | None) -> Seen:
        return Seen(
            0, 12_000_000, 12.0, True, None, band, None, None, True,
            up=up, top=top, interval_s=5.0, edges_s=5.0,
        )  # fmt: skip

    runs = [seen(None)] * 22 + [seen(0.55)] * 2
    verdict = cause_of(Grounds(runs, Said("unknown"), None, False, False, usual, plant, water))
    assert ("narrow_switch_band" in (verdict.cause, *verdict.between)) is narrow


def test_a_cause_stands_against_a_few_runs_that_look_surer() -> None:
    """Two hundred runs have told a charge above cut-in; in an hour of heavy draws ten look like lost air."""
    memory = CyclingMemory()
    for _ in range(200):
        memory.take(Verdict("overcharged_tank", 0.9))
    for _ in range(10):
        memory.take(Verdict("lost_air_charge", 0.95))
    assert memory.cause == "overcharged_tank"
    for _ in range(160):
        memory.take(Verdict("lost_air_charge", 0.95))
    assert memory.cause == "lost_air_charge"


def test_a_contact_that_bounces_once_at_each_start_flutters() -> None:
    """No burst of three within half a minute, but again and again: told by its fourth start, once."""
    (finding,) = told(*contact((3.0,), 0.0))
    assert (finding.fault, finding.cause) == ("short_cycling", "switch_chatter")
    assert finding.raised_us - traces.START_US < 3.5 * 3600e6
    assert finding.cleared_us is None


@pytest.mark.parametrize(("closing", "opening"), [(0, 1), (2, 2)])
def test_a_contact_that_bounces_as_it_opens_or_at_every_other_edge_flutters(
    closing: int, opening: int
) -> None:
    """The last bounce lies where pressure stands, at cut-out."""
    (finding,) = told(*contact((3.0,), 0.0, closing, opening))
    assert (finding.fault, finding.cause) == ("short_cycling", "switch_chatter")
    assert finding.raised_us - traces.START_US < 6.0 * 3600e6


@pytest.mark.parametrize(("stands", "told"), [("motor_overload", True), ("lost_prime", False)])
def test_a_motor_that_drags_hides_no_contact_that_flutters(stands: str, told: bool) -> None:
    """Three runs of a second within six: no protector that has tripped tries again so soon."""
    plant = traces.plant()
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=Signature(), usual=reference(plant, water, Signature()),
        splits=Splits(), cause=lambda fault: None, is_open=lambda fault: fault == stands,
    )  # fmt: skip
    detector, said = ShortCycling(plant), []
    for k in range(3):
        start_us = k * 2_000_000
        cycle = Cycle(start_us, start_us + 1_000_000, 1.0, 1.0 if k else 900.0, 30 * PSI, 30.2 * PSI)
        run = Run(cycle.stop_us, cycle, True, 1.0, pressure_high_pa=30.2 * PSI, pressure_low_pa=30 * PSI)
        said += detector.run(run, cast(Known, known))
    assert [word.cause for word in said if isinstance(word, Claim)] == ["switch_chatter"] * told


@pytest.mark.parametrize("case", ["lost_air_charge", "overcharged_tank", "narrow_switch_band, above"])
def test_a_motor_that_drags_hides_nothing_that_makes_runs_short(case: str) -> None:
    """It has drawn half as much again for hours, and pumps all the same."""
    plant, heard = recorded(case, 5.0, False)
    drags = (heard.signal == 1) & (heard.time_us > traces.START_US + (BEGINS_S - 2 * 3600.0) * 1e6)
    heard = Readings(heard.signal, heard.time_us, np.where(drags, 1.5 * heard.value, heard.value))
    found = {one.fault: one for one in told(plant, heard)}
    assert found["short_cycling"].cause == case.split(",")[0]
    assert found["motor_overload"].raised_us < found["short_cycling"].raised_us


@pytest.mark.parametrize("clogs", [True, False])
def test_a_clog_is_told_beside_a_band_that_has_become_narrow(clogs: bool) -> None:
    """The switch stops at 37 psi and no longer at 50: runs lift a third of the old band, and none is broken
    off. Pressure is lower now, and the pump gives more, not less."""
    narrow = traces.after(14 * 3600.0, 37 * PSI, 50 * PSI)
    clog = traces.after(18 * 3600.0, 13.0 if clogs else 1.0, 1.0)
    trace = traces.Trace(demand=busy, cut_out_pa=narrow, clog=clog)
    found = {one.fault: one for one in told(traces.plant(trace), traces.readings(trace, 36 * 3600.0, seed=5))}
    assert found["short_cycling"].cause == "narrow_switch_band"
    assert ("clogged_filter" in found) is clogs
    assert "pump_wear" not in found


@pytest.mark.parametrize(
    ("runs", "counted"),
    [
        ([(30, 50), (30, 40), (40, 50), (30, 40), (40, 50)], [False] * 4),
        ([(30, 50), (30, 42), (36, 47), (41, 50), (30, 45)], [False] * 4),
        ([(30, 50), (30, 42), (22, 50)], [False] * 2),
        ([(30, 50), (30, 41), (30, 41), (30, 40.5)], [False, True, True]),
        ([(30, 50), (34, 50), (45, 50)], [True, True]),
    ],
    ids=["trips each other run", "trips anywhere", "cools for long", "narrow", "charged too high"],
)
def test_runs_that_a_protector_broke_off_are_not_the_switch_s(
    runs: list[tuple[float, float]], counted: list[bool]
) -> None:
    """It stops a motor that drags in mid-rise, and starts it where pressure stands when that has cooled."""
    plant = traces.plant()
    usual = reference(plant, Water.of(plant), Signature())
    found = []
    for (_, before), (low, high) in pairwise(runs):
        cycle = Cycle(0, 20_000_000, 20.0, 300.0, low * PSI, high * PSI)
        run = Run(cycle.stop_us, cycle, True, 1.0, pressure_high_pa=high * PSI, pressure_low_pa=low * PSI)
        found.append(from_switch_to_switch(run, usual, before * PSI))
    assert found == counted


def test_lone_words_of_a_contact_are_no_flutter() -> None:
    """Ten an hour, on and off."""
    assert told(*contact((), 10.0)) == []


def test_a_contact_that_tells_its_edges_tells_short_runs_whatever_the_gauge() -> None:
    """Pressure each minute, the contact each second; the motor stands 45 s. A tank without air, of which runs
    last 20 to 40 s, is told by the third of them."""
    true = truth("lost_air_charge, waterlogged", False)
    parts = []
    for signal, (column, every_s) in enumerate(((true["pressure"], 60.0), (true["on"], 1.0))):
        stride = round(every_s / (true["t"][1] - true["t"][0]))
        time_us = traces.START_US + (true["t"][::stride] * 1e6).astype(np.int64)
        parts.append(Readings.of(np.full(len(time_us), signal), time_us, column[::stride]))
    trace = traces.Trace(every_s=60.0, motor_every_s=1.0, motor=Measure.PUMP_RUNNING)
    pump = replace(traces.plant().pump, min_run_time_s=45.0)
    (finding,) = told(traces.plant(trace, pump=pump), Readings.concatenate(parts).in_time_order())
    assert (finding.fault, finding.cause) == ("short_cycling", "lost_air_charge")
    assert finding.raised_us < traces.START_US + (BEGINS_S + 2400.0) * 1e6


def test_runs_that_are_not_short_yet_tell_of_lost_air_by_more_than_a_spell_of_them() -> None:
    """Half of the air is gone at once, and runs follow each other every few minutes: five of them are over
    within the half hour, in which taps that come and go with the pump would make all flows look as large."""
    lost = traces.after(BEGINS_S, 6 * PSI, 28 * PSI)
    trace = traces.Trace(demand=lambda rng, t: np.full_like(t, 15 * LPM), charge_pa=lost)
    plant = traces.plant(trace)
    plant = replace(plant, pump=replace(plant.pump, min_run_time_s=10.0, max_starts_per_hour=500.0))
    found = told(plant, traces.readings(trace, BEGINS_S + 3 * 3600.0, 2))
    (finding,) = [one for one in found if one.fault == "short_cycling"]
    assert finding.cause == "lost_air_charge"
    assert 3000.0 < (finding.raised_us - traces.START_US) / 1e6 - BEGINS_S < 2 * 3600.0
