"""The plant as plain data, in SI units.

Names end in their unit. Pressures are gauge unless the name says `_abs`. Angles, percentages and
the owner's own units never get past the parser (`analytics.plant.parsing`).
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from enum import StrEnum
from operator import itemgetter
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from analytics.plant.garden import Climate, Garden, Source


class Measure(StrEnum):
    """What a signal measures; the plant file's `measures` values, word for word."""

    LINE_PRESSURE = "line_pressure"
    DISCHARGE_PRESSURE = "discharge_pressure"
    SUCTION_PRESSURE = "suction_pressure"
    PUMP_CURRENT = "pump_current"
    PUMP_POWER = "pump_power"
    PUMP_RUNNING = "pump_running"
    SUPPLY_FLOW = "supply_flow"
    STORAGE_LEVEL = "storage_level"
    RAINFALL = "rainfall"
    AIR_TEMPERATURE = "air_temperature"
    SUPPLY_CONDUCTIVITY = "supply_conductivity"
    WELL_CONDUCTIVITY = "well_conductivity"
    RAIN_CONDUCTIVITY = "rain_conductivity"
    WATER_TEMPERATURE = "water_temperature"


#: The SI unit in which each measure is handled inside. Temperature is in degrees Celsius: every
#: use we make of it is a difference or a comparison with freezing.
SI_UNIT: dict[Measure, str] = {
    Measure.LINE_PRESSURE: "Pa",
    Measure.DISCHARGE_PRESSURE: "Pa",
    Measure.SUCTION_PRESSURE: "Pa",
    Measure.PUMP_CURRENT: "A",
    Measure.PUMP_POWER: "W",
    Measure.PUMP_RUNNING: "",
    Measure.SUPPLY_FLOW: "m^3/s",
    Measure.STORAGE_LEVEL: "m",
    Measure.RAINFALL: "m",
    Measure.AIR_TEMPERATURE: "degC",
    Measure.SUPPLY_CONDUCTIVITY: "S/m",
    Measure.WELL_CONDUCTIVITY: "S/m",
    Measure.RAIN_CONDUCTIVITY: "S/m",
    Measure.WATER_TEMPERATURE: "degC",
}

CONDUCTIVITY_MEASURES = (
    Measure.SUPPLY_CONDUCTIVITY,
    Measure.WELL_CONDUCTIVITY,
    Measure.RAIN_CONDUCTIVITY,
)

#: Any one of these tells whether the motor runs.
MOTOR_MEASURES = (Measure.PUMP_RUNNING, Measure.PUMP_CURRENT, Measure.PUMP_POWER)


@dataclass(frozen=True, slots=True)
class Pump:
    """The pump and its motor; None where the owner does not know."""

    rated_power_w: float | None = None
    rated_flow_m3_s: float | None = None  # delivery at cut-in when new
    min_run_time_s: float | None = None
    max_starts_per_hour: float | None = None
    running_above: float | None = None  # A or W, as `running_above_measures` says
    #: PUMP_CURRENT or PUMP_POWER: which motor signal `running_above` is compared with. The parser
    #: leaves both None where the file's limit is of a kind that no signal measures.
    running_above_measures: Measure | None = None


@dataclass(frozen=True, slots=True)
class Switch:
    cut_in_pa: float
    cut_out_pa: float


@dataclass(frozen=True, slots=True)
class PressureTank:
    volume_m3: float  # air and water together
    precharge_pa: float  # with the water drained


@dataclass(frozen=True, slots=True)
class Filter:
    position: Literal["before_tank", "after_tank"] = "before_tank"


@dataclass(frozen=True, slots=True)
class Storage:
    """A storage tank, or a group of linked tanks that share a level."""

    name: str
    volume_m3: float
    full_level_m: float
    outlet_level_m: float = 0.0
    warn_ahead_s: float = 3 * 86_400.0
    #: (level_m, volume_m3) pairs, rising; a straight line through the origin unless given
    strapping: tuple[tuple[float, float], ...] = ()

    def volume_at(self, level_m: ArrayLike) -> NDArray[np.float64]:
        """Water volume [m3] at a level [m], by straight lines between strapping points."""
        table = self.strapping or ((0.0, 0.0), (self.full_level_m, self.volume_m3))
        levels, volumes = zip(*table, strict=True)
        return np.asarray(np.interp(np.asarray(level_m, dtype=np.float64), levels, volumes))

    def held_m3(self, level_m: float) -> float:
        """`volume_at` of one level, for whoever asks at each beat."""
        table = self.strapping
        if not table:
            return self.volume_m3 * min(max(level_m / self.full_level_m, 0.0), 1.0)
        above = bisect_right(table, level_m, key=itemgetter(0))
        if above in (0, len(table)):
            return table[max(above - 1, 0)][1]
        (low_m, low_m3), (high_m, high_m3) = table[above - 1], table[above]
        return (high_m3 - low_m3) / (high_m - low_m) * (level_m - low_m) + low_m3


@dataclass(frozen=True, slots=True)
class Catchment:
    area_m2: float
    runoff: float = 0.85
    first_flush_m3: float = 0.0


@dataclass(frozen=True, slots=True)
class Signal:
    """One sensor's stream.

    Stored and exchanged values are in `unit`, the owner's declared unit, so that an export returns
    what came in; `to_si` and `from_si` are the only two doors between that and the inside.
    """

    name: str
    measures: Measure
    topic: str
    unit: str | None = None
    pointer: str | None = None  # RFC 6901, into a JSON payload
    record: str | None = None  # end of a SenML record's name, where a pack feeds several signals
    #: (raw, SI value) pairs for a sensor that does not speak a quantity; straight lines between
    calibration: tuple[tuple[float, float], ...] = ()
    #: True where `unit` is not of the measure's own dimension (volts, milliamps): stored values
    #: are then raw, and calibration is applied on the way in. Otherwise calibration was applied
    #: when the payload was decoded and stored values are quantities in `unit`.
    raw: bool = False
    valid: tuple[float, float] | None = None  # SI
    every_s: float | None = None
    of: str | None = None  # which storage, for storage_level
    #: of a conductivity that the sensor sends as it is, not brought to 25 degC: share for each degree
    temperature_coefficient: float | None = None
    si_factor: float = 1.0  # SI value = stored * si_factor + si_offset (unless raw)
    si_offset: float = 0.0

    def to_si(self, stored: ArrayLike) -> NDArray[np.float64]:
        """Values in `unit` as SI values of the measure. Shape kept, NaN kept."""
        values = np.asarray(stored, dtype=np.float64)
        if self.raw:
            return _through(values, self.calibration)
        return values * self.si_factor + self.si_offset

    def from_si(self, si: ArrayLike) -> NDArray[np.float64]:
        """The inverse of `to_si`."""
        values = np.asarray(si, dtype=np.float64)
        if self.raw:
            return _through(values, tuple((b, a) for a, b in self.calibration))
        return (values - self.si_offset) / self.si_factor


def _through(values: NDArray[np.float64], pairs: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Straight lines through `pairs`, the outer two continued past the ends."""
    xs, ys = (np.array(column) for column in zip(*sorted(pairs), strict=True))
    piece = np.clip(np.searchsorted(xs, values) - 1, 0, len(xs) - 2)
    slope = (ys[piece + 1] - ys[piece]) / (xs[piece + 1] - xs[piece])
    through: NDArray[np.float64] = ys[piece] + slope * (values - xs[piece])
    return through


@dataclass(frozen=True, slots=True)
class Plant:
    """Everything in one plant file, SI inside. `name` is the file's stem: the plant's short name."""

    name: str
    title: str
    timezone: str
    display_units: Literal["us", "metric"]
    altitude_m: float
    pump: Pump
    signals: tuple[Signal, ...]
    switch: Switch | None = None
    pressure_tank: PressureTank | None = None
    filter: Filter | None = None
    storages: tuple[Storage, ...] = ()
    catchment: Catchment | None = None
    sources: tuple[Source, ...] = ()
    garden: Garden | None = None
    climate: Climate | None = None
    version: int = 1
    #: What was accepted but deserves a word to the owner; `holdwater check` prints it.
    remarks: tuple[str, ...] = ()
    _measuring: dict[tuple[Measure, ...], tuple[int, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_measuring", {})

    def index(self, name: str) -> int:
        """Position of the named signal, which is its number in `Readings.signal`. KeyError if none."""
        for position, signal in enumerate(self.signals):
            if signal.name == name:
                return position
        raise KeyError(name)

    def measuring(self, *measures: Measure) -> tuple[int, ...]:
        """Positions of the signals that measure any of `measures`, in the order asked for."""
        found = self._measuring.get(measures)
        if found is None:  # asked all the time, and the signals stay as they are
            found = self._measuring[measures] = tuple(
                position
                for measure in measures
                for position, signal in enumerate(self.signals)
                if signal.measures is measure
            )
        return found
