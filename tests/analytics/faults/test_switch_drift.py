"""A switch that has moved, and what only looks so where samples are far apart."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import pytest

from analytics.engine import Engine
from analytics.faults.overpressure import Overpressure
from analytics.faults.short_cycling import ShortCycling
from analytics.faults.switch_drift import SwitchDrift
from analytics.judging.brief import Brief
from analytics.judging.ends import Ends, Side
from analytics.judging.reference import reference
from analytics.judging.setting import off_setting
from analytics.judging.signature import Signature
from analytics.judging.trait import Trait
from analytics.judging.watch import AllClear, Claim, Known
from analytics.records import Cycle, Finding
from analytics.seeing.events import Look, Run
from analytics.seeing.water import Water
from tests.analytics import traces

HOUR, PSI, LPM = 3600.0, traces.PSI, traces.LPM


def told(hours: float, seed: int, draw_lpm: float = 5.0, **changes: object) -> list[Finding]:
    trace = traces.Trace(demand=traces.steady(draw_lpm * LPM), **changes)
    engine, found = Engine(traces.plant(trace)), {}
    readings = traces.readings(trace, hours * HOUR, seed=seed)
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return [finding for finding in found.values() if finding.fault == "switch_drift"]


@pytest.mark.parametrize("draw_lpm", [5.0, 14.0])
@pytest.mark.parametrize("every_s", [30.0, 60.0])
def test_a_pump_that_weakens_moves_no_switch(every_s: float, draw_lpm: float) -> None:
    """Runs of two minutes grow to ten. A sample a minute met a stop far below the cut-out, and meets it
    nearer now: the last sample before it lies as much lower as pressure rises from one to the next."""
    weaker = traces.ramp(10.0 * HOUR, 24.0 * HOUR, 52.0 * PSI, 75.0 * PSI)
    assert told(26.0, 1, draw_lpm, every_s=every_s, shut_off_pa=weaker) == []


@pytest.mark.parametrize(("every_s", "to_psi"), [(1.0, 45.0), (10.0, 45.0)])
def test_a_cut_out_that_has_moved_is_told(every_s: float, to_psi: float) -> None:
    moved = traces.after(14.0 * HOUR, to_psi * PSI, 50.0 * PSI)
    (finding,) = told(22.0, 1, every_s=every_s, cut_out_pa=moved)
    assert finding.evidence["cut_out_moved_pa"] == pytest.approx((to_psi - 50.0) * PSI, rel=0.3)
    assert finding.raised_us > traces.START_US + 14.0 * HOUR * 1e6


def everything(hours: float, seed: int, **changes: object) -> list[Finding]:
    trace = traces.Trace(demand=traces.steady(5.0 * LPM), **changes)
    engine, found = Engine(traces.plant(trace)), {}
    for outcome in (engine.feed(traces.readings(trace, hours * HOUR, seed=seed)), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return list(found.values())


@pytest.mark.parametrize("every_s", [1.0, 10.0])
@pytest.mark.parametrize(("low_psi", "high_psi"), [(22.0, 50.0), (30.0, 56.0), (38.0, 58.0), (23.0, 43.0)])
def test_a_switch_off_its_setting_from_the_first_row_is_told_until_it_is_set_right(
    low_psi: float, high_psi: float, every_s: float
) -> None:
    """Its setting is 30 to 50 psi. Once it is back there nothing is wrong: no stuck switch, no new move; and
    what was learned meanwhile is learned anew."""
    ends = (traces.after(30.0 * HOUR, psi * PSI, was * PSI) for psi, was in ((30, low_psi), (50, high_psi)))
    cut_in, cut_out = ends
    found = everything(
        60.0, 3, cut_in_pa=cut_in, cut_out_pa=cut_out, shut_off_pa=90 * PSI, every_s=every_s,
        charge_pa=22 * PSI,
    )  # fmt: skip
    (finding,) = [one for one in found if one.fault != "supply_leak"]  # which a draw without end is besides
    assert finding.fault == "switch_drift"
    assert "does not act at the plant file's setting" in finding.summary
    assert finding.raised_us < traces.START_US + 12.0 * HOUR * 1e6
    assert finding.cleared_us is not None
    assert finding.cleared_us > traces.START_US + 30.0 * HOUR * 1e6


def off(
    start_psi: float, stop_psi: float, every_s: float = 1.0, delivers: float = 1.0, no_charge: bool = False
) -> bool:
    """Whether runs that begin and end there are off their setting of 30 to 50 psi."""
    plant = traces.plant()
    water, signature = Water.of(plant), Signature()
    brief = Brief(1, None, 5e-4, None, None, 0.02, 60.0, 0.0, start_psi * PSI, stop_psi * PSI, None, None)
    signature.recent = [brief] * 6
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        is_open=lambda fault: False,
    )  # fmt: skip
    known.usual = replace(known.usual, delivery_m3_s=delivers * known.usual.delivery_m3_s)
    moves = off_setting(cast(Known, known), every_s, 6, 2.5, no_charge)
    return moves is not None and moves.over >= 1.0


def test_a_gauge_s_zero_and_a_setting_by_hand_are_no_switch_off_its_setting() -> None:
    assert not off(32.0, 52.0)
    assert not off(33.0, 53.0)
    assert not off(34.0, 54.0)
    assert off(36.0, 56.0)
    assert not off(28.0, 52.0)
    assert not off(30.0, 54.0)
    assert off(30.0, 56.0)


def test_starts_alone_that_stand_high_and_a_band_of_less_than_half_are_left_to_short_cycling() -> None:
    assert not off(37.0, 50.0)
    assert off(37.0, 50.0, no_charge=True)
    assert not off(30.0, 39.5)
    assert off(30.0, 44.0)


def test_of_a_start_what_falls_before_it_is_taken_off_and_not_what_the_pump_fills() -> None:
    """At 5 s a quarter of what fills the tank goes by between two samples in the run."""
    assert off(24.0, 50.0, every_s=5.0, delivers=4.0)
    assert not off(30.0, 44.0, every_s=5.0, delivers=4.0)


def test_what_samples_far_apart_do_not_meet_is_taken_off_but_a_stop_that_was_met() -> None:
    assert off(24.0, 50.0)
    assert not off(24.0, 50.0, every_s=60.0)
    assert not off(30.0, 44.0, every_s=60.0)
    assert off(30.0, 56.0, every_s=60.0)


def test_of_runs_that_seem_to_deliver_nothing_no_setting_is_told() -> None:
    """Learned from samples a minute apart beside a garden's draws, delivery has come out below nothing."""
    assert off(30.0, 43.0, every_s=10.0)
    assert not off(30.0, 43.0, every_s=10.0, delivers=-0.3)


def claimed(
    every_s: float,
    clean_stop_psi: float,
    now_stop_psi: float,
    pressure_s: float | None = None,
    is_set: bool = True,
    now_start_psi: float = 30.0,
    drawn_m3_s: float = 0.0,
    young: bool = False,
    run_s: float = 300.0,
) -> bool:
    """Whether stops seen at one pressure by clean runs of three minutes and at another by runs of five, each
    the last sample before the stop, are called a switch that has moved. Its setting is 30 to 50 psi, if the
    plant file says so."""
    plant, at_us = traces.plant(), traces.START_US
    plant = plant if is_set else replace(plant, switch=None)
    signature = Signature(learned_us=at_us, learned_runs=24)
    for name, value in (
        ("start_pa", 30 * PSI),
        ("stop_pa", clean_stop_psi * PSI),
        ("run_time_s", 0.6 * run_s),
    ):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    if young:
        signature.first, signature.learned_us, signature.learned_runs = dict(signature.clean), None, 8
    brief = Brief(
        at_us, None, None, None, None, 0.02, run_s, drawn_m3_s, now_start_psi * PSI,
        now_stop_psi * PSI, None, None,
    )  # fmt: skip
    signature.recent = [brief] * 12
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        ends=Ends(), is_open=lambda fault: False,
    )  # fmt: skip
    detector = SwitchDrift(plant)
    said, lowest_psi = [], max(31.0, now_start_psi)
    for k in range(14 if now_start_psi > 30.0 else 6):  # such a start may be the charge's: it takes more
        start_us = at_us + k * 900_000_000
        cycle = Cycle(start_us, start_us + 300_000_000, 300.0, 600.0, now_start_psi * PSI, now_stop_psi * PSI)
        run = Run(
            start_us + 400_000_000,
            cycle,
            True,
            every_s,
            pressure_low_pa=lowest_psi * PSI,
            pressure_s=pressure_s,
        )
        said += detector.run(run, cast(Known, known))
    return any(isinstance(word, Claim) for word in said)


@pytest.mark.parametrize(
    ("first_stop_psi", "every_s", "told"),
    [(50.0, 1.0, True), (46.0, 1.0, False), (50.0, 5.0, True), (50.0, 30.0, False)],
)
def test_a_move_within_the_lesson_is_held_against_first_runs_that_stood_at_the_setting(
    first_stop_psi: float, every_s: float, told: bool
) -> None:
    """Three runs a day: the lesson takes a week, and the cut-in was moved up on its third day. Samples meet
    both ends where a run is long to them: each 5 s of three minutes, and not each 30 s."""
    assert claimed(every_s, first_stop_psi, 50.0, now_start_psi=34.0, young=True) is told


def test_a_stop_that_is_seen_nearer_to_its_setting_is_no_move() -> None:
    """Runs that last longer rise less from one sample to the next, and the last one lies higher."""
    assert claimed(1.0, 43.0, 56.0)
    assert not claimed(60.0, 43.0, 50.0)


def test_pressure_each_second_tells_a_move_whatever_the_motor_s_words() -> None:
    """A contact that is asked each minute: start and stop lie where pressure turns."""
    assert claimed(60.0, 50.0, 56.0, pressure_s=1.0)
    assert not claimed(60.0, 50.0, 56.0, pressure_s=60.0, is_set=False)


def test_a_move_that_is_less_than_what_passes_between_two_samples_is_none() -> None:
    assert not claimed(60.0, 50.0, 55.0, is_set=False)
    assert claimed(60.0, 50.0, 62.0, is_set=False)
    assert claimed(10.0, 50.0, 55.0)


@pytest.mark.parametrize(("drawn_lpm", "told"), [(2.0, True), (50.0, False)])
def test_a_start_that_a_heavy_draw_passes_between_two_samples_is_told_by_no_line(
    drawn_lpm: float, told: bool
) -> None:
    """A zone takes a sixth of the band within ten seconds, and starts by the rests' lines lie 3 psi low."""
    heavy = claimed(10.0, 50.0, 50.0, now_start_psi=27.0, drawn_m3_s=drawn_lpm / 6e4)
    assert heavy is told
    assert claimed(1.0, 50.0, 50.0, now_start_psi=27.0, drawn_m3_s=drawn_lpm / 6e4)


def test_a_start_is_told_by_the_rest_before_it_however_quickly_the_pump_fills() -> None:
    """Runs of 16 to 26 s by samples each 5 s: pressure rises by a third of the band from one to the next, and
    falls by next to nothing before the start."""
    assert claimed(5.0, 50.0, 50.0, now_start_psi=34.0, run_s=26.0)
    assert not claimed(5.0, 50.0, 46.0, run_s=26.0, is_set=False)


@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_a_switch_whose_both_points_have_moved_up_does_not_fail_to_stop(every_s: float) -> None:
    """Its main spring is stiffer by 8 psi, two fifths of the band: it starts the pump as much further up,
    which one whose contacts have welded does not."""
    cut_in, cut_out = (traces.after(14.0 * HOUR, psi * PSI, (psi - 8.0) * PSI) for psi in (38.0, 58.0))
    trace = traces.Trace(
        demand=traces.steady(5.0 * LPM), every_s=every_s, cut_in_pa=cut_in, cut_out_pa=cut_out,
        shut_off_pa=90 * PSI,
    )  # fmt: skip
    engine, found = Engine(traces.plant(trace)), {}
    for outcome in (engine.feed(traces.readings(trace, 24.0 * HOUR, seed=3)), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    assert [finding.fault for finding in found.values()] == ["switch_drift"]


@pytest.mark.parametrize(
    ("began", "age_s", "stuck"),
    [(0.4, 40.0, False), (0.4, 1800.0, True), (1.3, 40.0, True), (0.0, 40.0, True)],
)
def test_a_run_that_seems_to_begin_above_the_band_is_no_moved_switch_s(
    began: float, age_s: float, stuck: bool
) -> None:
    """Pressure stands at the shut-off head of a pump that is not stopped, 0.6 of the band above cut-out, and
    its motor's signal hiccups there. Of a run that began 0.4 above cut-in the stop is 0.4 higher too, and
    soon: half an hour is none of a switch that has only moved."""
    plant, signature = traces.plant(), Signature(learned_us=1, learned_runs=24)
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        ends=Ends(), is_open=lambda fault: False,
    )  # fmt: skip
    detector, said = Overpressure(plant), []
    for at_s in (100, 200):
        nothing = dict.fromkeys(
            ("pressure_high_pa", "slope_m3_s", "slope_pa_s", "slope_first_m3_s", "slope_before_m3_s",
             "motor_level", "flow_m3_s", "discharge_pa", "suction_pa")
        )  # fmt: skip
        look = Look(
            at_us=at_s * 1_000_000, start_us=1, age_s=age_s, window_s=30.0, samples=20, entire=True,
            interval_s=1.0, pressure_pa=62 * PSI, pressure_start_pa=(30 + 20 * began) * PSI, noise_pa=500.0,
            **nothing,
        )  # fmt: skip
        said += detector.look(look, cast(Known, known))
    assert bool(said) is stuck


@pytest.mark.parametrize(("lowest_psi", "moved"), [(30.3, False), (33.8, True)])
def test_starts_that_seem_higher_than_pressure_went_are_no_move(lowest_psi: float, moved: bool) -> None:
    """A tank of 10 L falls by 2 psi a second: at 2 s the last word before a start lies above it. In the runs
    pressure is seen at cut-in, where a switch that has moved up would not let it go."""
    assert begins(34.0, lowest_psi) is moved


@pytest.mark.parametrize(("lowest_psi", "moved"), [(36.0, True), (44.0, False)])
def test_starts_from_which_pressure_leaps_to_the_first_words_stand_on_a_charge(
    lowest_psi: float, moved: bool
) -> None:
    """Five seconds, in which the pump fills a twentieth of the tank: the rest's last words lie anywhere
    between the charge and cut-in, and each run's first ones well above both."""
    assert begins(34.0, lowest_psi, 5.0) is moved


@pytest.mark.parametrize(("start_psi", "moved"), [(1.0, False), (24.0, True)])
def test_a_line_that_ran_empty_while_the_rotor_was_jammed_has_moved_no_switch(
    start_psi: float, moved: bool
) -> None:
    assert begins(start_psi, start_psi) is moved


@pytest.mark.parametrize(
    ("start_psi", "every_s", "runs"), [(34.0, 1.0, 3), (34.0, 2.0, 3), (35.0, 10.0, 4), (34.0, 10.0, 12)]
)
def test_runs_that_would_have_shown_a_collapse_wait_for_no_charge(
    start_psi: float, every_s: float, runs: int
) -> None:
    """Delivery is a half: what takes it away hides what a charge would. A dozen runs that samples each 10 s
    met nowhere near cut-in say hardly more than four do; but starts a fifth of the band up draws make too."""
    assert not begins(start_psi, start_psi - 0.2, every_s, runs - 1, 2.5e-4)
    assert begins(start_psi, start_psi - 0.2, every_s, runs, 2.5e-4)


def test_delivery_that_is_less_by_what_a_charge_takes_waits_for_short_cycling() -> None:
    assert not begins(35.0, 34.8, 10.0, 11, 4.3e-4)
    assert begins(35.0, 34.8, 10.0, 4, 5e-4)


@pytest.mark.parametrize(
    ("run_s", "rest_s", "moved"), [(60.0, 600.0, True), (10.0, 600.0, False), (60.0, 20.0, False)]
)
def test_starts_of_which_a_rest_or_run_of_a_sample_or_two_tells_are_no_move(
    run_s: float, rest_s: float, moved: bool
) -> None:
    """A tank that has lost its air fills within the 10 s from one sample to the next, and empties so too: a
    draw takes a quarter of the band unseen before each start. The lesson's runs took a minute."""
    assert begins(35.0, 35.2, 10.0, run_s=run_s, rest_s=rest_s) is moved


def begins(
    start_psi: float,
    lowest_psi: float,
    every_s: float = 2.0,
    runs: int = 20,
    delivers_m3_s: float = 5e-4,
    run_s: float = 60.0,
    rest_s: float = 600.0,
) -> bool:
    """Whether runs that begin there, of a switch of 30 to 50 psi, are called one that has moved."""
    plant = traces.plant()
    signature, water = Signature(learned_us=1, learned_runs=24), Water.of(plant)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("delivery_m3_s", 5e-4)):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    brief = Brief(
        1, None, delivers_m3_s, None, None, 0.02, 60.0, 0.0, start_psi * PSI, 50 * PSI, None, None,
    )  # fmt: skip
    signature.recent = [brief] * 12
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        ends=Ends(), is_open=lambda fault: False,
    )  # fmt: skip
    detector, said = SwitchDrift(plant), []
    for k in range(runs):
        stop_us = k * 900_000_000 + int(run_s * 1e6)
        cycle = Cycle(k * 900_000_000, stop_us, run_s, rest_s, start_psi * PSI, 50 * PSI)
        run = Run(k * 900_000_000, cycle, True, every_s, pressure_low_pa=lowest_psi * PSI)
        said += detector.run(run, cast(Known, known))
    return any(isinstance(word, Claim) for word in said)


def by_rests(lows_psi: list[float], run_s: float) -> str | None:
    """What is said of a switch of 30 to 50 psi, if anything, whose rests end at 40 psi now, by samples each
    15 s: of runs too short to be learned from, each with its lowest sample. Clean ones took a minute."""
    plant = traces.plant()
    signature, water = Signature(learned_us=1, learned_runs=24), Water.of(plant)
    clean = {"start_pa": 30 * PSI, "stop_pa": 50 * PSI, "delivery_m3_s": 5e-4, "run_time_s": 60.0}
    for name, value in clean.items():
        signature.clean[name] = Trait(value, value, 0.02 * value, value)
    old = Brief(1, None, 5e-4, None, None, 0.02, 60.0, 0.0, 30 * PSI, 50 * PSI, None, None)
    signature.recent = [old] * 12
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature), ends=Ends(),
        is_open=lambda fault: False,
    )  # fmt: skip
    known.ends.start.lesson = [-30 * PSI] * 24
    detector, said = SwitchDrift(plant), []
    for k, low_psi in enumerate(lows_psi):
        start_us, stop_us = (k + 1) * 1800_000_000, (k + 1) * 1800_000_000 + int(run_s * 1e6)
        known.ends.start.add(start_us, -40 * PSI, healthy=False)
        cycle = Cycle(start_us, stop_us, run_s, 1700.0, 40.5 * PSI, 50 * PSI)
        run = Run(stop_us, cycle, True, 15.0, pressure_low_pa=low_psi * PSI)
        said += detector.run(run, cast(Known, known))
    return next((word.summary for word in said if isinstance(word, Claim)), None)


def test_runs_too_short_to_learn_from_tell_a_charge_by_the_collapses_that_samples_met() -> None:
    """Two of thirty began with a sample near the old cut-in, as one in fifteen should; a switch that moved
    never lets pressure go there. The last runs that were learned from are those of before."""
    lows_psi = [40.5] * 30
    said = by_rests(lows_psi, 35.0)
    assert said is not None
    assert "air charge" in said
    lows_psi[3] = lows_psi[11] = 31.0
    assert by_rests(lows_psi, 35.0) is None


def test_rests_before_runs_a_third_as_long_are_of_another_tank() -> None:
    """A cut-in that has moved up by half of the band halves them; where air is lost, draws take more of the
    band from one sample to the next than the lesson's did."""
    assert by_rests([40.5] * 30, 20.0) is None


def test_a_narrow_band_that_was_learned_is_learned_anew_once_it_is_cured() -> None:
    """The lesson's runs stopped at 38 psi; they do at 50 now."""
    plant, signature = traces.plant(), Signature(learned_us=1, learned_runs=24)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 38 * PSI), ("delivery_m3_s", 5e-4)):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature), ends=Ends(),
        is_open=lambda fault: fault == "short_cycling",
    )  # fmt: skip
    detector, said = ShortCycling(plant), []
    detector.memory.cause = "narrow_switch_band"
    for k in range(8):
        cycle = Cycle(k * 900_000_000, k * 900_000_000 + 180_000_000, 180.0, 600.0, 30 * PSI, 50 * PSI)
        said += detector.run(Run(k * 900_000_000, cycle, True, 1.0), cast(Known, known))
    (word,) = said
    assert isinstance(word, AllClear)
    assert word.anew


def test_rests_that_show_the_stop_at_its_setting_move_nothing() -> None:
    """The lesson's runs were seen to stop at 36 psi, its rests showed 39. Now these show 49 of 50 psi."""
    plant, signature = traces.plant(), Signature(learned_us=1, learned_runs=24)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 36 * PSI), ("run_time_s", 180.0)):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    brief = Brief(1, None, None, None, None, 0.02, 180.0, 0.0, 30 * PSI, 36 * PSI, None, None)
    signature.recent = [brief] * 12
    ends = Ends(stop=Side(lesson=[39 * PSI] * 24, newest=[[float(k), 49 * PSI] for k in range(6)]))
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature), ends=ends,
        is_open=lambda fault: False,
    )  # fmt: skip
    detector, said = SwitchDrift(plant), []
    for k in range(6):
        start_us = k * 900_000_000
        cycle = Cycle(start_us, start_us + 180_000_000, 180.0, 600.0, 30 * PSI, 36 * PSI)
        run = Run(start_us, cycle, True, 60.0, pressure_low_pa=31 * PSI)
        said += detector.run(run, cast(Known, known))
    assert not any(isinstance(word, Claim) for word in said)


def test_where_the_switch_acts_is_kept_once() -> None:
    """By short cycling and by this detector alike it is asked of one memory."""
    assert Engine(traces.plant()).snapshot().count(b"\xa4ends") == 1


def test_a_cut_in_that_scatters_about_a_tenth_of_its_setting_is_one_move() -> None:
    """It acted at 31 psi, and acts at 28 now, a tenth of the band below the setting, give or take."""
    plant = traces.plant()
    signature, water = Signature(learned_us=1, learned_runs=24), Water.of(plant)
    for name, value in (("start_pa", 31 * PSI), ("stop_pa", 50 * PSI), ("delivery_m3_s", 5e-4)):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    standing: list[bool] = []
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        ends=Ends(), is_open=lambda fault: bool(standing),
    )  # fmt: skip
    detector, said = SwitchDrift(plant), []
    for k in range(80):
        start_pa = (27.8 if k // 8 % 2 == 0 else 28.2) * PSI
        brief = Brief(1, None, 5e-4, None, None, 0.02, 60.0, 0.0, start_pa, 50 * PSI, None, None)
        signature.recent = [*signature.recent, brief][-12:]
        cycle = Cycle(k * 900_000_000, k * 900_000_000 + 60_000_000, 60.0, 600.0, start_pa, 50 * PSI)
        run = Run(k * 900_000_000, cycle, True, 1.0, pressure_low_pa=start_pa)
        for word in detector.run(run, cast(Known, known)):
            if isinstance(word, Claim) != bool(standing):
                said.append(type(word))
                standing[:] = [True] if isinstance(word, Claim) else []
    assert said == [Claim]


def told_after(
    starts_psi: list[float],
    stops_psi: list[float],
    every_s: float = 1.0,
    stuck: bool = False,
    filling: float = 0.8,
    follow: bool = False,
) -> int | None:
    """By which of the runs that begin and end there a switch of 30 to 50 psi is said to have moved.

    follow: whether each run is known to be the next after the one before.
    """
    plant = traces.plant()
    signature, water = Signature(learned_us=1, learned_runs=24), Water.of(plant)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("run_time_s", 300.0)):
        signature.clean[name] = Trait(value, value, 0.002 * value, value)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature),
        ends=Ends(), is_open=lambda fault: stuck and fault == "overpressure",
    )  # fmt: skip
    detector, before_us = SwitchDrift(plant), None
    was = [Brief(1, None, 5e-4, None, None, 0.02, 300.0, 0.0, 30 * PSI, 50 * PSI, None, None)] * 12
    for k, (start_psi, stop_psi) in enumerate(zip(starts_psi, stops_psi, strict=True)):
        signature.recent = was[-12:]
        start_us, stop_us = k * 3600_000_000, k * 3600_000_000 + 300_000_000
        cycle = Cycle(start_us, stop_us, 300.0, 3300.0, start_psi * PSI, stop_psi * PSI)
        run = Run(
            stop_us, cycle, True, every_s, slope_last_m3_s=filling * known.usual.delivery_m3_s,
            pressure_low_pa=start_psi * PSI, before_us=before_us if follow else None,
        )  # fmt: skip
        before_us = stop_us
        claims = [word for word in detector.run(run, cast(Known, known)) if isinstance(word, Claim)]
        if claims:
            # who stops the pump at one pressure, however high, has not failed to stop it
            assert ("overpressure" in claims[0].apart_from) is (stop_psi > 50.0)
            return k + 1
        if not stuck:  # of such runs nothing is learned
            brief = Brief(
                stop_us, None, 5e-4, None, None, 0.02, 300.0, 0.0, start_psi * PSI, stop_psi * PSI, None, None
            )
            was = [*was, brief]
    return None


@pytest.mark.parametrize("every_s", [1.0, 15.0])
def test_an_end_that_has_moved_is_told_by_three_runs_that_agree(every_s: float) -> None:
    """No draw stops a pump, nor lifts pressure above the cut-out. Each 15 s pressure falls unseen before a
    start, and a collapse is not met."""
    assert told_after([30.0] * 12, [58.0] * 12, every_s) == 3
    assert told_after([30.0] * 12, [42.0] * 12, every_s) == 3
    assert told_after([24.0] * 12, [50.0] * 12) == 3
    assert told_after([36.0] * 12, [50.0] * 12) == 3


def test_two_runs_or_every_other_move_no_end() -> None:
    assert told_after([30.0] * 12, [50.0] * 5 + [58.0] * 2 + [50.0] * 5) is None
    assert told_after([30.0] * 12, [58.0, 50.0] * 6) is None
    assert told_after([30.0] * 12, [50.0] * 5 + [43.0] * 2 + [50.0] * 5) is None


def test_one_that_ends_elsewhere_parts_none_that_agree() -> None:
    assert told_after([30.0] * 6, [43.0, 43.2, 47.0, 43.1, 43.0, 43.0]) == 4


def test_a_hand_at_the_breaker_stops_the_pump_at_no_one_pressure() -> None:
    assert told_after([30.0] * 4, [56.0, 62.0, 57.0, 66.0], stuck=True) is None
    assert told_after([30.0] * 4, [58.0, 58.3, 57.8, 58.1], stuck=True) == 3
    assert told_after([30.0] * 6, [44.0, 41.0, 46.5, 42.6, 40.2, 47.4]) is None


@pytest.mark.parametrize("stop_psi", [58.0, 46.0])
def test_where_the_tank_no_longer_fills_a_switch_shows_by_its_next_start_at_cut_in(stop_psi: float) -> None:
    """A garden holds pressure up, and a clock stops the pump; or a relief valve does, and a hand. Neither
    starts it again at cut-in, as a switch does that has opened, so that it is told by a run more."""
    by_hand, stops_psi, stuck = [24.0, 27.0, 21.0, 25.5, 22.5, 28.4], [stop_psi] * 6, stop_psi > 50.0
    assert told_after([30.0] * 6, stops_psi, stuck=stuck, filling=0.05) is None
    assert told_after(by_hand, stops_psi, stuck=stuck, filling=0.05, follow=True) is None
    assert told_after([30.0] * 6, stops_psi, stuck=stuck, filling=0.05, follow=True) == 4


def test_stops_that_a_minute_s_samples_may_have_missed_say_it_together() -> None:
    """A fifth of the run passes between two: any stop seen low may be one that was missed, twelve in half a
    day are not; nor does one among them that was met leave it so."""
    assert told_after([30.0] * 20, [46.0] * 20, 60.0) == 12
    assert told_after([30.0] * 20, [46.0] * 6 + [50.0] + [46.0] * 11 + [50.0] * 2, 60.0) is None


def test_both_ends_off_by_what_a_gauge_s_zero_may_be_move_no_switch() -> None:
    """A gauge that has drifted by 2 psi, beside scatter, shows both a tenth of the band lower; of more than
    that the rest is told, and the one end alone."""
    assert told_after([27.9] * 9, [47.9] * 9) is None
    assert told_after([30.0] * 9, [47.9] * 9) == 3
    assert told_after([26.0] * 9, [45.0] * 9) == 3
