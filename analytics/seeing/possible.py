"""Which words of a sensor can be a measurement at all: its range, and the codes that stand for "no value".

Range: what the plant file's `valid` says; where it says nothing, what no sensor of a holding can
truthfully say. A pressure and a level are bounded by the plant besides.

Codes: a 16-bit register without a value says 65535, 65533 or 32767, scaled as its values are: 655.33,
6.5535, 327.67. Mostly that is out of range. Where it is not (655.33 in kPa, 655.35 in cm), five digits
that spell a code, or the four that it is rounded to, further out than the signal goes from day to day, are
the code. A true reading spells one of the eight once in 10,000, and is then one sample lost.

Parameters:
    PRESSURE_CEILING 4   times cut-out: a pump's shut-off head is seldom twice the cut-out, a hammer
                         blow seldom three times; where the plant file gives no switch, 60 MPa, to where
                         common transmitters go: an oil press's 200 bar is no fault of its gauge
    BACKWARDS      0.1   of the rated flow (of a small pump's, where none is given), that a supply meter may
                         say the wrong way round: its zero, a moment's swing; nothing feeds it from behind
    ZERO           0.01  of its `valid` span, that a gauge of pressure or level may stand below it: its zero's
                         error (class 1), which an empty line or storage shows. It is empty, not broken
    LEVEL_CEILING  1.5   times the level at the overflow, and LEVEL_SPARE_M: no tank's wall stands so
                         far above its overflow
    LEVEL_UNDER    0.225 of that level, below the outlet, where the plant file has no `valid`: no outlet is
                         set higher above the floor than a fifth of the tank, and a zero is good to a fortieth
    FROM                 above it a word that spells a code is one: 1.2 of cut-out, and at the pump's outlet
                         1.5, what it comes to before a filter that is shut (its shut-off head); the
                         overflow's level by its gauge's error, a fiftieth; three times the rated flow or
                         power. Where neither is known: of pressure 1 MPa, which few pumps of a holding reach

Source: common practice, no source; the codes from recordings of pumping stations.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant, Signal

#: [SI] Where the plant file gives no `valid`.
POSSIBLE: dict[Measure, tuple[float, float]] = {
    Measure.LINE_PRESSURE: (-101_325.0, 6.0e7),
    Measure.DISCHARGE_PRESSURE: (-101_325.0, 6.0e7),
    Measure.SUCTION_PRESSURE: (-101_325.0, 2.0e6),
    Measure.PUMP_CURRENT: (-1.0, 500.0),
    Measure.PUMP_POWER: (-100.0, 5.0e4),  # 5 hp with its rotor locked takes some 33 kW; 65535 is a code
    Measure.PUMP_RUNNING: (0.0, 1.0),
    Measure.SUPPLY_FLOW: (-4e-5, 0.5),
    Measure.STORAGE_LEVEL: (-1.0, 60.0),
    Measure.RAINFALL: (0.0, 0.5),
    Measure.AIR_TEMPERATURE: (-60.0, 70.0),
    Measure.SUPPLY_CONDUCTIVITY: (0.0, 20.0),
    Measure.WELL_CONDUCTIVITY: (0.0, 20.0),
    Measure.RAIN_CONDUCTIVITY: (0.0, 20.0),
    Measure.WATER_TEMPERATURE: (-5.0, 100.0),
}
PRESSURE_CEILING = 4.0
BACKWARDS = 0.1
ZERO = 0.01
LEVEL_CEILING, LEVEL_SPARE_M = 1.5, 0.3
LEVEL_UNDER = 0.225
PRESSURES = (Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE)
WITH_ZERO = (*PRESSURES, Measure.STORAGE_LEVEL)
CODES = (65535.0, 65534.0, 65533.0, 32767.0, 32766.0)
ROUNDED = (65540.0, 65530.0, 32770.0)
#: [SI] From where a code is a code, whatever the plant: sun on a pipe, two thirds of sea water's salt
#: (5 S/m), a clogged intake's deepest suction is negative.
FROM: dict[Measure, float] = {
    Measure.AIR_TEMPERATURE: 50.0,
    Measure.WATER_TEMPERATURE: 50.0,
    Measure.SUPPLY_CONDUCTIVITY: 3.0,
    Measure.WELL_CONDUCTIVITY: 3.0,
    Measure.RAIN_CONDUCTIVITY: 3.0,
    Measure.LINE_PRESSURE: 1.0e6,
    Measure.DISCHARGE_PRESSURE: 1.0e6,
    Measure.SUCTION_PRESSURE: 3.0e5,
    Measure.PUMP_CURRENT: 32.0,
    Measure.PUMP_POWER: 6.0e3,
    Measure.SUPPLY_FLOW: 1.0e-3,
}
PRESSURE_FROM = {Measure.LINE_PRESSURE: 1.2, Measure.DISCHARGE_PRESSURE: 1.5}  # of cut-out
LEVEL_FROM, RATED_FROM = 1.02, 3.0


def possible_range(plant: Plant, signal: Signal) -> tuple[float, float]:
    """SI limits outside which a sample is not taken for a measurement."""
    low, high = signal.valid if signal.valid is not None else POSSIBLE[signal.measures]
    if signal.valid is not None and signal.measures in WITH_ZERO:
        low -= ZERO * (high - low)
    if plant.switch is not None and signal.measures in PRESSURES:
        high = min(high, PRESSURE_CEILING * plant.switch.cut_out_pa)
    if signal.measures is Measure.SUPPLY_FLOW and signal.valid is None:
        low = min(low, -BACKWARDS * (plant.pump.rated_flow_m3_s or 0.0))
    if signal.measures is Measure.STORAGE_LEVEL and (full_m := _full_m(plant, signal)) is not None:
        high = min(high, LEVEL_CEILING * full_m + LEVEL_SPARE_M)
        if signal.valid is None:
            low = max(low, _outlet_m(plant, signal) - LEVEL_UNDER * full_m)
    return low, high


def overflow_code(stored: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which values, in the sensor's own unit, are such a code: 655.33, 6553.5, 32.767, 655.4. Shape kept."""
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = np.abs(stored) * 10.0 ** (4.0 - np.floor(np.log10(np.abs(stored))))
    whole = np.abs(digits - np.round(digits)) < 1e-3
    return np.asarray(whole & np.isin(np.round(digits), CODES + ROUNDED))


class Possible:
    """What one signal can say."""

    def __init__(self, plant: Plant, signal: Signal) -> None:
        self.low, self.high = possible_range(plant, signal)
        # calibrated words no longer show the register's digits
        self.doubted = np.inf if signal.raw else _codes_from(plant, signal)
        self._from_si = signal.from_si

    def all_good(self, low: float, high: float) -> bool:
        """Whether all samples between the two are measurements, at a glance. False for NaN."""
        return bool(self.low <= low and high <= self.high and high <= self.doubted)

    def good(self, value: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which samples (N,) [SI] may be measurements."""
        good = np.asarray((value >= self.low) & (value <= self.high))  # False for NaN
        doubted = np.flatnonzero(good & (value > self.doubted))
        if len(doubted):
            good[doubted] = ~overflow_code(self._from_si(value[doubted]))
        return good


def _codes_from(plant: Plant, signal: Signal) -> float:
    measures, pump = signal.measures, plant.pump
    if measures in PRESSURE_FROM and plant.switch is not None:
        return PRESSURE_FROM[measures] * plant.switch.cut_out_pa
    if measures is Measure.STORAGE_LEVEL:
        full_m = _full_m(plant, signal)
        return LEVEL_FROM * full_m if full_m is not None else float(np.inf)
    rated = {Measure.SUPPLY_FLOW: pump.rated_flow_m3_s, Measure.PUMP_POWER: pump.rated_power_w}.get(measures)
    return RATED_FROM * rated if rated else FROM.get(measures, float(np.inf))


def _full_m(plant: Plant, signal: Signal) -> float | None:
    """The overflow's level of the storage that a gauge is in; the highest where it does not say which."""
    full = [one.full_level_m for one in plant.storages if signal.of in (one.name, None)]
    return max(full, default=None)


def _outlet_m(plant: Plant, signal: Signal) -> float:
    """The outlet's level of that storage; the lowest likewise."""
    return min(one.outlet_level_m for one in plant.storages if signal.of in (one.name, None))
