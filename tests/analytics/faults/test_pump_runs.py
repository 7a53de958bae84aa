"""What tells the faults of a pump run apart, each on a trace of its own.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the
simulator. Six hours at a steady draw make some sixty runs: enough to learn from, quick to integrate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.plant.description import Measure, Plant
from analytics.readings import Readings
from analytics.records import Finding
from tests.analytics import traces

GAL, LPM, PSI = traces.GAL, traces.LPM, traces.PSI
HOUR = 3600.0
CONTACT = Measure.PUMP_RUNNING


def told(plant: Plant, readings: Readings) -> list[Finding]:
    engine, found = Engine(plant), {}
    for outcome in (engine.feed(readings), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


def of(hours: float, **changes: object) -> list[Finding]:
    trace = traces.Trace(**changes)
    return told(traces.plant(trace), traces.readings(trace, hours * HOUR, seed=3))


def named(found: list[Finding]) -> list[tuple[str, str | None]]:
    return [(finding.fault, finding.cause) for finding in found]


def seconds(finding: Finding, since_s: float) -> float:
    return (finding.raised_us - traces.START_US) / 1e6 - since_s


def draws(*steps: tuple[float, float]) -> Callable[..., np.ndarray]:
    """(hour, L/min) steps of the demand."""
    at, rate = [hour * HOUR for hour, _ in steps], [lpm * LPM for _, lpm in steps]
    return lambda rng, t: np.asarray(rate)[np.searchsorted(at, t, side="right") - 1]


STEADY = draws((0.0, 12.0))
#: An hour in which the zone's draw equals what the pump gives in the middle of the band.
ZONE = draws((0.0, 12.0), (4.5, 33.0), (5.5, 12.0))


@pytest.mark.parametrize("every_s", [1.0, 5.0, 20.0])
def test_a_zone_that_stands_against_the_pump_is_no_fault(every_s: float) -> None:
    assert named(of(8.0, demand=ZONE, motor=CONTACT, every_s=every_s)) == []


def test_a_zone_beyond_the_pump_is_no_lost_prime() -> None:
    much = draws((0.0, 12.0), (4.5, 38.0), (5.5, 12.0))
    assert "lost_prime" not in [f.fault for f in of(8.0, demand=much, motor=CONTACT)]


@pytest.mark.parametrize(("motor", "most_s"), [(Measure.PUMP_CURRENT, 45.0), (CONTACT, 600.0)])
def test_prime_lost_within_a_run_is_called_in_it(motor: Measure, most_s: float) -> None:
    trace = traces.Trace(demand=STEADY, motor=motor)
    on = traces.run(trace, 6 * HOUR, seed=3)
    starts = on["t"][1:][np.diff(on["on"]) > 0]
    lost_s = float(starts[starts > 5 * HOUR][0]) + 20.0  # well into a run
    gone = replace(trace, delivers=lambda s: 0.0 if lost_s <= s < lost_s + HOUR else 1.0)
    found = told(traces.plant(gone), traces.readings(gone, 8 * HOUR, seed=3))
    assert named(found) == [("lost_prime", None)]
    assert 0.0 < seconds(found[0], lost_s) < most_s
    assert found[0].cleared_us is not None


@pytest.mark.parametrize("motor", [Measure.PUMP_CURRENT, CONTACT])
@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_a_burst_is_no_lost_prime(motor: Measure, every_s: float) -> None:
    broken = {"burst_m3_s": lambda s: 60 * LPM if 5.0 * HOUR <= s < 5.5 * HOUR else 0.0}
    found = of(8.0, demand=STEADY, motor=motor, every_s=every_s, **broken)
    assert named(found) == [("burst_line", None)]
    assert seconds(found[0], 5.0 * HOUR) < 120.0 + 10.0 * every_s


def test_a_filter_clogged_from_the_first_row_is_told_by_the_rating() -> None:
    found = of(9.0, demand=STEADY, clog=14.0)
    assert [f.fault for f in found] == ["clogged_filter"]
    assert found[0].evidence["delivery_share_1"] < 0.77


def test_a_sound_plant_is_not_clogged_by_its_rating() -> None:
    assert named(of(9.0, demand=STEADY)) == []


def test_a_clog_that_leaves_less_than_the_garden_draws_is_neither_burst_nor_lost_prime() -> None:
    demand = draws((0.0, 12.0), (3.0, 24.0), (4.0, 12.0), (7.5, 24.0), (8.5, 12.0))
    clog = traces.after(7.0 * HOUR, 20.0)
    for motor in (Measure.PUMP_CURRENT, CONTACT):
        found = {f.fault for f in of(11.0, demand=demand, clog=clog, motor=motor)}
        assert not found & {"burst_line", "lost_prime", "dry_supply"}


def _on_change(readings: Readings, signal: int) -> Readings:
    """Keep of one signal only what differs from its last word."""
    keep = readings.signal != signal
    mine = np.flatnonzero(~keep)
    keep[mine[np.flatnonzero(np.diff(readings.value[mine], prepend=-1.0) != 0.0)]] = True
    return readings[keep]


def test_a_contact_that_speaks_on_change_is_as_good_as_one_asked_each_second() -> None:
    trace = traces.Trace(demand=STEADY, motor=CONTACT, charge_pa=traces.after(4.0 * HOUR, 0.0, 28 * PSI))
    plant, readings = traces.plant(trace), traces.readings(trace, 8 * HOUR, seed=3)
    signals = (plant.signals[0], replace(plant.signals[1], every_s=None))
    asked, changes = told(plant, readings), told(replace(plant, signals=signals), _on_change(readings, 1))
    assert named(asked) == named(changes) == [("short_cycling", "lost_air_charge")]
    assert abs(asked[0].raised_us - changes[0].raised_us) < 600e6


def test_lost_air_stands_through_hours_of_long_runs() -> None:
    demand = draws((0.0, 12.0), (6.0, 27.0), (8.0, 12.0), (10.0, 27.0), (12.0, 12.0))
    found = of(14.0, demand=demand, charge_pa=traces.after(4.0 * HOUR, 0.0, 28 * PSI))
    assert named(found) == [("short_cycling", "lost_air_charge")]
    assert found[0].cleared_us is None


def test_a_tank_topped_up_again_is_told_cured() -> None:
    air = {"charge_pa": lambda s: 0.0 if 4.0 * HOUR <= s < 7.0 * HOUR else 28 * PSI}
    found = of(10.0, demand=STEADY, **air)
    assert named(found) == [("short_cycling", "lost_air_charge")]
    assert found[0].cleared_us is not None
    assert "cure" in found[0].summary


def test_a_tank_shut_off_from_its_line_is_a_closed_valve() -> None:
    found = of(5.0, demand=STEADY, volume_m3=traces.after(4.5 * HOUR, 0.8 * GAL, 44 * GAL))
    assert named(found)[:1] == [("blocked_discharge", "closed_valve")]


def test_a_stalled_rotor_is_named_and_stays_named() -> None:
    trace = traces.Trace(demand=STEADY, delivers=lambda s: 0.0 if 5 * HOUR <= s < 5.3 * HOUR else 1.0)
    plant, readings = traces.plant(trace), traces.readings(trace, 8 * HOUR, seed=3)
    jammed = (readings.signal == 1) & (readings.value > 1.0)
    jammed &= np.abs((readings.time_us - traces.START_US) / 1e6 - 5.15 * HOUR) <= 0.15 * HOUR
    spoiled = Readings(readings.signal, readings.time_us, np.where(jammed, 30.0, readings.value))
    found = told(plant, spoiled)
    assert named(found) == [("motor_overload", "locked_rotor")]
    assert found[0].cleared_us is not None


def test_a_motor_that_drags_is_overloaded_and_not_stalled() -> None:
    trace = traces.Trace(demand=STEADY)
    readings = traces.readings(trace, 8 * HOUR, seed=3)
    late = (readings.signal == 1) & (readings.time_us > traces.START_US + 5 * HOUR * 1e6)
    value = np.where(late, 1.28 * readings.value, readings.value)
    found = told(traces.plant(trace), Readings(readings.signal, readings.time_us, value))
    assert named(found) == [("motor_overload", None)]


def test_sagging_mains_are_no_overload() -> None:
    sag = {"sag": lambda s: 1.0 + 0.1 * np.sin(s / 1800.0)}
    assert named(of(8.0, demand=STEADY, **sag)) == []


def test_a_cut_out_that_has_moved_up_is_a_switch_that_works() -> None:
    moved = of(14, demand=draws((0, 8)), cut_out_pa=traces.after(8 * HOUR, 59 * PSI, 50 * PSI))
    standing = [finding.fault for finding in moved if finding.cleared_us is None]
    assert standing == ["switch_drift"]
    assert {finding.fault for finding in moved} <= {"switch_drift", "overpressure"}


def test_a_switch_that_does_not_stop_the_pump_stays_overpressure() -> None:
    welded = of(14, demand=draws((0, 8)), stuck=traces.after(8 * HOUR, 1.0, 0.0))
    assert [(finding.fault, finding.cleared_us) for finding in welded] == [("overpressure", None)]
