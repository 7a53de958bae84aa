"""Runs that begin further up: an air charge above cut-in, or a switch that moved up."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import pytest

from analytics.engine import Engine
from analytics.faults.short_cycling import ShortCycling
from analytics.judging.air import CHARGE
from analytics.judging.brief import Brief
from analytics.judging.charge_or_switch import TOLD, stand_on_charge
from analytics.judging.cycling_run import LEAP_SHARE, Seen, see
from analytics.judging.footing import Footing
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.trait import Trait
from analytics.judging.watch import Known
from analytics.plant.description import Switch
from analytics.records import Cycle, Finding
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces

HOUR, PSI = 3600.0, traces.PSI
BEGINS_S = 30.0 * HOUR


def told(hours: float, **changes: object) -> list[Finding]:
    trace = traces.Trace(**changes)  # type: ignore[arg-type]
    engine, found = Engine(traces.plant(trace)), {}
    readings = traces.readings(trace, hours * HOUR, seed=4)
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


@pytest.mark.parametrize("to_psi", [35.0, 38.0])
def test_a_charge_above_cut_in_whose_collapse_falls_between_samples_is_told(to_psi: float) -> None:
    """Boyle's law with the charge that was tells too little water by 43 over 50 psi, absolute pressures
    (13.7 psi of atmosphere)."""
    pumped_s = (BEGINS_S, BEGINS_S + 1800.0)  # by hand
    cut_in = traces.ramp(*pumped_s, to_psi * PSI, 30 * PSI)
    charge = traces.ramp(*pumped_s, (to_psi - 0.1) * PSI, 28 * PSI)
    (finding,) = told(60.0, cut_in_pa=cut_in, charge_pa=charge, every_s=2.0)
    assert (finding.fault, finding.cause) == ("short_cycling", "overcharged_tank")
    assert finding.raised_us > traces.START_US + BEGINS_S * 1e6
    assert finding.cleared_us is None
    assert finding.evidence[CHARGE] == pytest.approx(to_psi * PSI, abs=PSI)


@pytest.mark.parametrize("to_psi", [34.0, 37.0])
def test_a_cut_in_that_moved_up_is_the_switch_s(to_psi: float) -> None:
    (finding,) = told(60.0, cut_in_pa=traces.after(BEGINS_S, to_psi * PSI, 30 * PSI), every_s=2.0)
    assert finding.fault == "switch_drift"
    assert "air charge" not in finding.summary


@pytest.mark.parametrize(
    ("begins", "lowest", "leaps"), [(0.5, 0.05, True), (0.5, 0.45, False), (0.0, -0.4, False)]
)
def test_a_word_at_cut_in_after_a_rest_that_ended_high_is_a_collapse(
    begins: float, lowest: float, leaps: bool
) -> None:
    """Of a gauge that speaks on change few words fall into a short run. One that a large draw holds below
    its start began at cut-in."""
    plant = traces.plant()
    water = Water.of(plant)
    usual = reference(plant, water, Signature())
    at = [usual.start_pa + share * usual.band_pa for share in (begins, lowest, 1.0)]
    cycle = Cycle(0, 30_000_000, 30.0, 600.0, at[0], at[2])
    run = Run(40_000_000, cycle, True, 1.0, pressure_low_pa=at[1], edges_s=1.0)
    leap = see(run, plant, usual, water).leap
    assert leap is not None
    assert (leap > LEAP_SHARE) is leaps


@pytest.mark.parametrize(("lowest", "charged"), [(0.02, False), (0.27, True)])
def test_a_run_with_a_word_about_cut_in_stands_on_no_charge(lowest: float, charged: bool) -> None:
    """A small tank, read each 2 s: draws that begin just before the start make rests seem to end higher, and
    those that stop within the run make delivery seem less."""
    plant = traces.plant()
    water = Water.of(plant)
    signature = Signature(learned_us=1, learned_runs=24)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("kink_m3_s", 5e-4)):
        signature.clean[name] = Trait(value, value, 0.004 * value, value)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature)
    )
    runs = [
        Seen(k, k, 60.0, False, 0.85, 0.75, 0.0, 0.3, False, up=0.25, top=0.0, interval_s=2.0, low=lowest)
        for k in range(5)
    ]
    odds = stand_on_charge(runs, cast(Known, known))
    assert (odds is not None and odds > TOLD) is charged


@pytest.mark.parametrize(
    ("scatters", "since", "charged"),
    [(0.004, 0, True), (0.2, 0, False), (0.004, 20, False)],
)
def test_five_runs_that_were_looked_for_or_scatter_by_as_much_tell_no_charge(
    scatters: float, since: int, charged: bool
) -> None:
    """Five runs say by chance what a charge above cut-in would: of a plant whose clean runs scatter by a
    fifth, or of many that began as far up and delivered what they always did."""
    plant = traces.plant()
    water = Water.of(plant)
    signature = Signature(learned_us=1, learned_runs=24)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("kink_m3_s", 5e-4)):
        sigma = scatters * value if name == "kink_m3_s" else 0.004 * value
        signature.clean[name] = Trait(value, value, sigma, value)
    kinks = [5e-4] * since + [0.83 * 5e-4] * 5
    signature.recent = [
        Brief(k, one, None, one, one, 0.02, 60.0, 0.0, 35 * PSI, 50 * PSI, None, None)
        for k, one in enumerate(kinks)
    ]
    usual = reference(plant, water, signature)
    known = SimpleNamespace(plant=plant, water=water, signature=signature, usual=usual)
    runs = [
        Seen(k, k, 60.0, False, 0.83, 0.75, 0.0, 0.3, True, up=0.25, top=0.0, interval_s=10.0, low=0.4)
        for k in range(5)
    ]
    odds = stand_on_charge(runs, cast(Known, known))
    assert (odds is not None and odds > TOLD) is charged


@pytest.mark.parametrize(
    ("cause", "up", "apparent", "was_there"),
    [
        ("overcharged_tank", -0.8, 1.2, True), ("overcharged_tank", 0.0, 1.0, False),
        ("lost_air_charge", 0.0, 0.4, True), ("lost_air_charge", 0.0, 1.0, False),
    ],
)  # fmt: skip
def test_a_fault_that_was_learned_as_clean_is_forgotten_with_its_cure(
    cause: str, up: float, apparent: float, was_there: bool
) -> None:
    """Once cured, runs begin below where they did, or fill the tank as much more slowly."""
    detector = ShortCycling(traces.plant())
    detector.memory.cause = cause
    detector.memory.runs = [Seen(k, k, 60.0, False, apparent, 1.0, 0.0, 0.3, False, up=up) for k in range(5)]
    assert detector._was_there() is was_there


@pytest.mark.parametrize(("knee", "cleared"), [(6.0, False), (1.4, True), (None, True)])
def test_runs_that_still_leap_at_their_start_cure_no_overcharge(knee: float | None, cleared: bool) -> None:
    """Five seconds between samples, of which none meets the collapse: the band seems whole, and runs are long
    in an hour of heavy draws. But pressure still goes up many times as fast below the charge as above it."""
    plant = traces.plant()
    detector = ShortCycling(plant)
    detector.memory.cause = "overcharged_tank"
    water = Water.of(plant)
    known = SimpleNamespace(
        plant=plant, water=water, signature=Signature(), usual=reference(plant, water, Signature()),
        is_open=lambda fault: True,
    )  # fmt: skip
    seen = Seen(0, 0, 90.0, False, 1.0, 1.0, None, 0.3, True, up=0.05, knee=knee, interval_s=5.0)
    detector.memory.footing = Footing(runs=[[900e6 * k, 90.0, 5.0, 0.1] for k in range(24)])
    assert detector._sound(seen, cast(Known, known)) is cleared


def test_what_is_learned_anew_begins_with_the_cure() -> None:
    signature = Signature(learned_us=1, learned_runs=24)
    signature.clean["start_pa"] = Trait(36 * PSI, 36 * PSI, 100.0, 36 * PSI)
    signature.repaired()
    assert signature.learned_us == 1
    signature.repaired(anew=True)
    assert (signature.learned_us, signature.clean) == (None, {})


@pytest.mark.parametrize(("plate_psi", "charged"), [(30.0, True), (35.0, False)])
def test_runs_that_begin_at_the_setting_stand_on_no_charge(plate_psi: float, charged: bool) -> None:
    """Learned with a cut-in of 30 psi, they now begin at 35: where the plant file has it the switch does."""
    plant = replace(traces.plant(), switch=Switch(plate_psi * PSI, 50 * PSI))
    water = Water.of(plant)
    signature = Signature(learned_us=1, learned_runs=24)
    for name, value in (("start_pa", 30 * PSI), ("stop_pa", 50 * PSI), ("kink_m3_s", 5e-4)):
        signature.clean[name] = Trait(value, value, 0.004 * value, value)
    known = SimpleNamespace(
        plant=plant, water=water, signature=signature, usual=reference(plant, water, signature)
    )
    runs = [
        Seen(k, k, 60.0, False, 0.85, 0.75, 0.0, 0.3, False, up=0.25, top=0.0, interval_s=2.0, low=0.27)
        for k in range(5)
    ]
    odds = stand_on_charge(runs, cast(Known, known))
    assert (odds is not None and odds > TOLD) is charged
