"""Each fault does to the plant what the physics of signatures says it must. Noise-free traces.

Expectations are directions and bounds that follow from Boyle's law, the pump's curve and the switch;
they were written from the table of signatures in the design notes, not from the simulator's output.
"""

from __future__ import annotations

import numpy as np
import pytest
from conftest import DAY_S, START_US, ran, runs, world_of

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.scenario import Scenario
from simulator.simulation import Simulation
from simulator.works import faults

_PSI = 6_894.757


@pytest.fixture(scope="module")
def healthy(juniper: Plant):
    world = world_of(juniper)
    return world, ran(world, 3)


def _faulty(
    plant: Plant, fault: str, cause: str | None = None, severity: float = 0.9, days: float = 3, **more
):
    world = world_of(plant, FaultPlan(fault, cause, severity, 0.0), **more)
    return world, ran(world, days)


def _run_time(trace) -> float:
    lengths = np.diff(runs(trace), axis=1)
    return float(np.median(lengths[lengths > 2.0]))


def _flow_at(trace, low_psi: float, high_psi: float) -> float:
    """Median pump flow in a band of line pressure, well after a start."""
    on = ~np.isnan(trace["run_since"]) & (trace["t0"] - trace["run_since"] > 3)
    band = (trace["line0"] > low_psi * _PSI) & (trace["line0"] < high_psi * _PSI)
    return float(np.median(trace["pump0"][on & band]))


def test_healthy_plant_keeps_between_its_switch_points(healthy) -> None:
    world, trace = healthy
    ends = trace["line1"][:-1][np.diff(np.isnan(trace["run_since"]).astype(int)) == 1]
    assert np.all(np.abs(ends - world.hardware.cut_out_pa) < 5 * 1_400 + 500)
    assert np.max(trace["line1"]) < world.hardware.relief_pa
    assert 60 < _run_time(trace) < 400
    # rated flow at cut-in, as the plant file says it: 9 gpm
    assert _flow_at(trace, 30, 32) == pytest.approx(9 * 6.309e-5, rel=0.05)


def test_lost_air_shortens_runs_by_the_share_lost(juniper: Plant, healthy) -> None:
    """Boyle: usable water goes with the mass of air."""
    _, trace = _faulty(juniper, "short_cycling", "lost_air_charge", 0.8)
    late = trace["t0"] > DAY_S
    assert _flow_at(trace, 38, 42) == pytest.approx(_flow_at(healthy[1], 38, 42), rel=0.03)
    lengths = np.diff(runs(trace), axis=1)
    assert np.median(lengths[runs(trace)[:, 0] > DAY_S]) < 0.45 * _run_time(healthy[1])
    assert late.any()


def test_overcharged_tank_collapses_from_its_charge_to_cut_in(juniper: Plant) -> None:
    """Below the charge there is no water in the tank: the pressure falls through that band at once."""
    world, trace = _faulty(juniper, "short_cycling", "overcharged_tank", 0.6, days=2)
    charge = 30 + 0.6 * 0.6 * 20  # psi: where the fault puts it
    resting = np.isnan(trace["run_since"]) & (trace["t0"] > DAY_S)
    through = resting & (trace["line0"] < (charge - 2) * _PSI) & (trace["line1"] > 30.5 * _PSI)
    above = resting & (trace["line0"] > (charge + 2) * _PSI)
    drawn = trace["supply0"] > 2e-5
    assert np.median(-trace["line_slope0"][through & drawn]) > 20 * np.median(
        -trace["line_slope0"][above & drawn]
    )
    assert world.vessel.air_share > 1.2


def test_narrow_band_shortens_runs(juniper: Plant, healthy) -> None:
    _, trace = _faulty(juniper, "short_cycling", "narrow_switch_band")
    assert _run_time(trace) < 0.35 * _run_time(healthy[1])


def test_chatter_makes_runs_of_a_second(juniper: Plant) -> None:
    _, trace = _faulty(juniper, "short_cycling", "switch_chatter", 1.0)
    lengths = np.diff(runs(trace), axis=1)
    assert np.sum(lengths < 1.0) > 2 * np.sum(lengths > 20.0)


@pytest.mark.parametrize(("fault", "power_share"), [("lost_prime", 0.6), ("dry_supply", 0.6)])
def test_no_water_moves_while_the_motor_runs(juniper: Plant, healthy, fault: str, power_share: float) -> None:
    _, trace = _faulty(juniper, fault, None, 1.0)
    at = trace.at(np.arange(2.5 * DAY_S, 2.6 * DAY_S, 60.0))
    assert np.all(at.energised == 1.0)
    assert np.all(at.pump_m3_s < 1e-5)
    on = healthy[1].at(runs(healthy[1])[:, 1] - 5.0)
    assert np.median(at.power_w) < power_share * np.median(on.power_w)
    assert np.median(at.current_a) > 0.6 * np.median(on.current_a)  # the current hardly tells


def test_repair_restores(juniper: Plant) -> None:
    for fault in ("lost_prime", "dry_supply", "clogged_filter"):
        world = world_of(juniper, FaultPlan(fault, None, 1.0, 0.3 * DAY_S, 0.8 * DAY_S))
        trace = ran(world, 2)
        assert _flow_at_late(trace) == pytest.approx(9 * 6.309e-5, rel=0.05), fault


def _flow_at_late(trace) -> float:
    on = ~np.isnan(trace["run_since"]) & (trace["t0"] - trace["run_since"] > 3) & (trace["t0"] > 1.2 * DAY_S)
    band = (trace["line0"] > 30 * _PSI) & (trace["line0"] < 32 * _PSI)
    return float(np.median(trace["pump0"][on & band]))


def test_clog_and_wear_are_told_apart_by_the_filters_drop(juniper: Plant, healthy) -> None:
    """A clog multiplies drop over flow squared; wear leaves it alone. Both lower delivery."""

    def resistance(trace) -> float:
        stops = trace.at(runs(trace)[:, 1] - 5.0)
        return float(np.median((stops.discharge_pa - stops.line_pa) / stops.pump_m3_s**2))

    clean = resistance(healthy[1])
    for fault, ratio in (("clogged_filter", (3.0, np.inf)), ("pump_wear", (0.9, 1.1))):
        _, trace = _faulty(juniper, fault, None, 0.8)
        assert _flow_at(trace, 38, 42) < 0.9 * _flow_at(healthy[1], 38, 42)
        assert ratio[0] < resistance(trace) / clean < ratio[1], fault


def test_burst_never_recovers(juniper: Plant) -> None:
    _, trace = _faulty(juniper, "burst_line", None, 0.8, days=0.1)
    at = trace.at(np.array([0.05 * DAY_S]))
    assert at.energised[0] == 1.0
    assert at.line_pa[0] < 25 * _PSI
    assert at.supply_m3_s[0] > 5e-4


def test_blocked_discharge_deadheads_the_pump(juniper: Plant) -> None:
    world, trace = _faulty(juniper, "blocked_discharge", "closed_valve", 1.0, days=1)
    at = trace.at(np.array([0.9 * DAY_S]))
    assert at.energised[0] == 1.0
    assert at.pump_m3_s[0] < 1e-5
    shut_off = world.hardware.curve.shut_off_head_m
    assert at.discharge_pa[0] / 9_789 > shut_off - 1.0
    assert at.power_w[0] < 0.85 * world.hardware.motor.power_w(world.hardware.curve.shaft_power_w)


def test_welded_contact_lifts_the_relief_valve(juniper: Plant) -> None:
    world, trace = _faulty(juniper, "overpressure", "switch_stuck", 1.0, days=1)
    assert np.max(trace["line1"]) > world.hardware.relief_pa
    assert np.max(trace["line1"]) < 1.1 * world.hardware.relief_pa
    assert world.totals.lost > 0.1


def test_switch_drift_moves_both_points(juniper: Plant, healthy) -> None:
    _, trace = _faulty(juniper, "switch_drift", None, 1.0)
    for which in (0, 1):
        drifted, before = (np.median(t.at(runs(t)[:, which]).line_pa) for t in (trace, healthy[1]))
        assert drifted - before == pytest.approx(-0.4 * 20 * _PSI, abs=0.6 * _PSI)


def test_leaks_draw_with_nobody_home(juniper: Plant) -> None:
    quiet = {"people": 0.0, "programmes": ()}
    for cause in ("downstream", "check_valve"):
        world, trace = _faulty(juniper, "supply_leak", cause, 0.8, days=1, **quiet)
        assert len(runs(trace)) >= 3, cause
        back = np.min(trace["pump0"])
        assert (back < -1e-6) == (cause == "check_valve")
        assert (world.totals.lost > 0.05) == (cause == "downstream")


def test_storage_leak_and_overflow(juniper: Plant) -> None:
    leaking, _ = _faulty(juniper, "storage_leak", None, 1.0)
    assert leaking.totals.leaked > 0.5
    full, _ = _faulty(juniper, "storage_overflow", None, 1.0)
    assert full.totals.spilled > 1.0
    assert "storage_overflow" in full.spans


def test_locked_rotor_trips_again_and_again(juniper: Plant) -> None:
    world, trace = _faulty(juniper, "motor_overload", "locked_rotor", 1.0, days=0.5)
    lengths = np.diff(runs(trace), axis=1)
    assert len(lengths) > 20
    assert np.max(lengths) < 15
    middle = trace.at(runs(trace)[:, 0] + 3.0)
    assert np.min(middle.current_a) == pytest.approx(world.hardware.motor.locked_rotor_a)
    assert np.max(middle.pump_m3_s) < 1e-9


def test_drag_raises_the_current(juniper: Plant, healthy) -> None:
    _, trace = _faulty(juniper, "motor_overload", None, 1.0)
    now, before = (np.median(t.at(runs(t)[:, 1] - 5.0).current_a) for t in (trace, healthy[1]))
    assert now > 1.3 * before


def test_salt_and_cold(juniper: Plant) -> None:
    _, salty = _faulty(juniper, "salinity_high", None, 0.5)
    assert salty.at(np.array([2.9 * DAY_S])).salt_s_m[0] == pytest.approx(0.5 * (0.36 + 0.006), rel=0.1)
    _, cold = _faulty(juniper, "freeze_risk", None, 1.0)
    assert np.min(cold["air0"]) < 0.0


def test_ramp_grows_and_intermittent_comes_and_goes(juniper: Plant) -> None:
    plan = FaultPlan("pump_wear", None, 1.0, 0.0, None, "ramp", 2 * DAY_S)
    world = world_of(juniper, plan)
    shares = []
    for day in (0.5, 1.0, 1.5):
        world.run_until(day * DAY_S)
        shares.append(world.condition.head_share)
    assert shares[0] > shares[1] > shares[2]
    plan = FaultPlan("salinity_high", None, 1.0, 0.0, None, "intermittent", on_s=7_200, off_s=7_200)
    world = world_of(juniper, plan)
    seen = set()
    for hour in range(48):
        world.run_until(hour * 3_600.0)
        seen.add(world.condition.well_share)
    assert seen == {0.0, 1.0}


def test_every_fault_and_cause_of_the_contract_is_there() -> None:
    """The contract's table of findings, section 3."""
    contract = {
        "short_cycling": {
            *("lost_air_charge", "overcharged_tank", "narrow_switch_band", "switch_chatter", "leak"),
            "undersized_tank",
        },
        "lost_prime": {None},
        "dry_supply": {None},
        "clogged_filter": {None},
        "storage_depletion": {"demand", "leak"},
        "storage_leak": {None},
        "storage_overflow": {None},
        "supply_leak": {"downstream", "check_valve"},
        "burst_line": {None},
        "blocked_discharge": {"closed_valve", "frozen"},
        "overpressure": {"switch_stuck"},
        "switch_drift": {None},
        "pump_wear": {None},
        "motor_overload": {"locked_rotor", None},
        "freeze_risk": {None},
        "salinity_high": {None},
        "sensor_fault": {"out_of_range", "stuck", "silent", "implausible"},
    }
    ours: dict[str, set[str | None]] = {}
    for one in faults.MECHANISMS:
        ours.setdefault(one.fault, set()).add(one.cause)
    assert ours == contract


@pytest.mark.parametrize("one", faults.MECHANISMS, ids=lambda m: f"{m.fault}-{m.cause}")
def test_every_fault_runs_alone(juniper: Plant, one: faults.Mechanism) -> None:
    """At full severity, on and repaired: finite values, pressures a plant can have."""
    signal = "pressure" if one.fault == "sensor_fault" else None
    plan = FaultPlan(one.fault, one.cause, 1.0, 0.2 * DAY_S, 0.7 * DAY_S, signal=signal)
    simulation = Simulation(juniper, Scenario("t", "t", faults=(plan,)), 2, START_US)
    batch = simulation.advance(START_US + round(DAY_S * 1e6))
    assert np.all(np.isfinite(batch.value))
    assert simulation.world.line_pa > -simulation.world.hardware.atmosphere_pa


def test_faults_together(juniper: Plant) -> None:
    plans = (FaultPlan("pump_wear", None, 0.5), FaultPlan("clogged_filter", None, 0.5))
    world = world_of(juniper, *plans)
    ran(world, 0.2)
    assert world.condition.head_share < 1.0
    assert world.condition.covered_share > 0.0
