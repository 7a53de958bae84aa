"""A plant for trials, and readings of it worked out here by Boyle's law, apart from what is tested."""

from __future__ import annotations

import numpy as np

from analytics.plant.description import Measure, Plant, PressureTank, Pump, Signal, Switch
from analytics.readings import Readings

PSI, GAL = 6894.757, 3.785412e-3
PA = 14.7 * PSI  # the atmosphere that the trade-journal examples take
ALTITUDE_M = -2.4  # where the standard atmosphere is that much
BEGUN_US = 1_935_532_800_000_000


def plant(
    tank_gal: float = 85.0, charge_psi: float = 28.0, rated_gpm: float | None = 10.0, motor: bool = True
) -> Plant:
    signals = [Signal("pressure", Measure.LINE_PRESSURE, "p", "Pa")]
    if motor:
        signals.append(Signal("motor", Measure.PUMP_CURRENT, "m", "A"))
    return Plant(
        "bench",
        "Bench",
        "UTC",
        "us",
        ALTITUDE_M,
        Pump(rated_flow_m3_s=None if rated_gpm is None else rated_gpm * GAL / 60.0),
        tuple(signals),
        Switch(30 * PSI, 50 * PSI),
        PressureTank(tank_gal * GAL, charge_psi * PSI),
    )


def pressure_of(water_gal: np.ndarray, tank_gal: float, charge_psi: float) -> np.ndarray:
    """psi gauge of a tank that holds so much water: (Pc + pa) V = (P + pa) (V - w)."""
    return (charge_psi + 14.7) * tank_gal / (tank_gal - water_gal) - 14.7


def water_of(pressure_psi: float, tank_gal: float, charge_psi: float) -> float:
    return tank_gal - (charge_psi + 14.7) * tank_gal / (pressure_psi + 14.7)


def readings(
    time_s: np.ndarray, pressure_psi: np.ndarray, amps: np.ndarray | float = 0.0, step_psi: float = 0.1
) -> Readings:
    """Both signals at these times; the gauge shows multiples of `step_psi`."""
    time_us = BEGUN_US + np.round(time_s * 1e6).astype(np.int64)
    shown = np.round(pressure_psi / step_psi) * step_psi * PSI
    current = np.broadcast_to(np.asarray(amps, float), shown.shape)
    n = len(time_us)
    return Readings.of(
        np.repeat([0, 1], n), np.concatenate([time_us, time_us]), np.concatenate([shown, current])
    ).in_time_order()


def slow_draw(
    tank_gal: float, charge_psi: float, *, minutes: float, from_psi: float = 49.0, tau_s: float = 90.0
) -> tuple[np.ndarray, np.ndarray]:
    """(seconds, psi) of a tank drained through a tap left as it is, until the pipe is empty.

    The air is an ideal gas that exchanges heat with the tank (first order, `tau_s`): worked out in
    small steps from the first law, so neither isothermal nor adiabatic. Past the charge only the
    pipe gives: a thousandth of a gallon a psi.
    """
    air, warm = tank_gal - water_of(from_psi, tank_gal, charge_psi), 1.0
    moles = (from_psi + 14.7) * air
    usual = np.sqrt((from_psi + charge_psi) / 2)
    tap = water_of(from_psi, tank_gal, charge_psi) / (minutes * 60.0) / usual
    step, at, pressure = 0.1, 0.0, from_psi
    times, shown = [], []
    while pressure > 0.2 and at < 7200:
        times.append(at)
        shown.append(pressure)
        out = tap * np.sqrt(max(pressure, 0.0)) * step
        if air < tank_gal:
            grown = air + out
            warm *= (air / grown) ** 0.4
            warm += (1.0 - warm) * step / tau_s
            air = grown
            pressure = moles * warm / air - 14.7
        else:
            pressure -= out / 1e-3
        at += step
    every = slice(None, None, 10)
    return np.array(times)[every], np.array(shown)[every]
