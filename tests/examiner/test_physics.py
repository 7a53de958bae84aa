"""The examiner's tank and pump against what a page of thermodynamics gives."""

from __future__ import annotations

import numpy as np
import pytest

from tests.examiner import physics as ph

PSI = 6894.757
NO_STORES = np.zeros((0, 4))


def plant(gamma: float, tau_s: float = 1e12) -> ph.Array:
    """A tank of 100 L charged to 28 psi at sea level, a pump of about 20 L/min, a switch at 30 and 50 psi."""
    p = np.zeros(ph.PARAMETERS)
    p[[ph.ATM, ph.VOLUME, ph.PRECHARGE]] = 101325.0, 0.1, 28 * PSI
    p[[ph.GAMMA, ph.TAU, ph.RELIEF]] = gamma, tau_s, 90 * PSI
    p[[ph.SHUTOFF, ph.PUMP_A, ph.RATED_Q]] = 70 * PSI, 40 * PSI / 3.3e-4**2, 3.3e-4
    p[[ph.NOMINAL_PA, ph.FREEDOM, ph.LEAK_N, ph.POWER]] = 40 * PSI, 0.5, 0.5, 750.0
    p[[ph.IDLE_SHARE, ph.DRY_SHARE, ph.AMPS, ph.MAGNET_SHARE]] = 0.7, 0.5, 6.0, 0.5
    return p


def healthy(minutes: int) -> ph.Array:
    """Controls of a plant without a fault."""
    c = np.zeros((minutes, ph.CONTROLS))
    c[:, [ph.AIR, ph.CLOG, ph.HEAD, ph.PRIME, ph.FRICTION, ph.VOLT]] = 1.0
    c[:, ph.CUT_IN], c[:, ph.CUT_OUT], c[:, ph.AMBIENT] = 30 * PSI, 50 * PSI, ph.REFERENCE_K
    return c


def stepped(p: ph.Array, c: ph.Array, start_pa: float, asked: float = 0.0) -> tuple[ph.Array, ph.Array]:
    """Record at every step, and the runs that ended."""
    state = ph.at_rest(p, c, (), start_pa, seed=1)
    record, log = np.zeros((len(c) * 240, ph.RECORDED)), np.zeros((50, ph.RUN_COLUMNS))
    ended = ph.advance(p, NO_STORES, c, np.full(len(c) * 60, asked), state, 0.0, 1, record, log)
    return record, log[:ended]


def test_isothermal_filling_is_boyles() -> None:
    # Boyle: w = V (1 - (Pc + pa) / (P + pa)), absolute pressures.
    p = plant(gamma=1.0)
    _, runs = stepped(p, healthy(4), 29 * PSI)

    def water(psi: float) -> float:
        return float(0.1 * (1 - (28 * PSI + 101325) / (psi * PSI + 101325)))

    assert len(runs) == 1
    # One step of the pump is 0.08 L.
    assert runs[0, 2] == pytest.approx(water(50) - water(29), abs=1.0e-4)


def test_fast_filling_follows_the_adiabat() -> None:
    # P V^gamma stays the same where no heat leaves: the run ends on less water than Boyle's.
    p = plant(gamma=1.4)
    _, runs = stepped(p, healthy(4), 29 * PSI)
    charge, low, high = (x * PSI + 101325 for x in (28, 29, 50))
    gas = 0.1 * charge / low
    assert runs[0, 2] == pytest.approx(gas * (1 - (low / high) ** (1 / 1.4)), abs=1.5e-4)


def test_gas_cools_after_a_stop_and_pressure_sags() -> None:
    p = plant(gamma=1.25, tau_s=60.0)
    record, runs = stepped(p, healthy(8), 29 * PSI)
    stop = int(runs[0, 1] / ph.STEP_S)
    assert record[stop, ph.R_LINE] > 50 * PSI > record[-1, ph.R_LINE] > 44 * PSI


def test_pump_delivers_its_curve() -> None:
    record, _ = stepped(plant(gamma=1.0), healthy(1), 29 * PSI)
    on = record[:, ph.R_ON] > 0
    expected = 3.3e-4 * np.sqrt((70 * PSI - record[on, ph.R_LINE]) / (40 * PSI))
    assert record[on, ph.R_PUMPED] == pytest.approx(expected, rel=0.01)


def test_prime_lost_in_a_run_stops_the_water_not_the_motor() -> None:
    p, c = plant(gamma=1.0), healthy(4)
    p[ph.MID_RUN_S] = 20.0
    c[:, ph.PRIME] = ph.LOSES_IN_RUN
    record, runs = stepped(p, c, 29 * PSI)
    assert len(runs) == 0
    assert record[60:79, ph.R_PUMPED].min() > 0
    assert record[100:, ph.R_PUMPED].max() == 0
    assert record[100:, ph.R_ON].min() == 1
    assert record[100:, ph.R_POWER].max() < 0.6 * 750


def test_burst_holds_pressure_below_cut_in() -> None:
    p, c = plant(gamma=1.0), healthy(6)
    c[:, ph.BURST] = 2 * 3.3e-4 / np.sqrt(30 * PSI)
    record, _ = stepped(p, c, 31 * PSI)
    line = record[-1, ph.R_LINE]
    # What the pump gives there is what the hole takes.
    assert record[-1, ph.R_PUMPED] == pytest.approx(2 * 3.3e-4 * np.sqrt(line / (30 * PSI)), rel=0.02)
    assert line < 28 * PSI


def test_without_mains_the_line_runs_empty_and_the_pump_comes_back() -> None:
    p, c = plant(gamma=1.0), healthy(20)
    c[2:14, ph.OUTAGE] = 1.0
    record, _ = stepped(p, c, 40 * PSI, asked=1e-4)
    off, back = slice(3 * 240, 14 * 240), slice(-240, None)
    assert record[off, ph.R_ON].max() == 0
    assert record[14 * 240 - 1, ph.R_LINE] < 1 * PSI
    assert record[back, ph.R_LINE].min() > 28 * PSI


def test_locked_rotor_draws_its_inrush_trips_and_tries_again() -> None:
    p, c = plant(gamma=1.0), healthy(12)
    p[[ph.TRIP_S, ph.COOL_S, ph.INRUSH]] = 10.0, 120.0, 5.0
    c[:, ph.LOCKED] = 1.0
    record, runs = stepped(p, c, 29 * PSI)
    assert len(runs) == 6
    assert runs[:, 1] - runs[:, 0] == pytest.approx([10.25] * 6, abs=0.3)
    assert record[:, ph.R_AMPS].max() == pytest.approx(30.0)
    assert record[:, ph.R_PUMPED].max() == 0
