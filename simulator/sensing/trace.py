"""What the plant did, without a sensor's noise: pieces of time, and values at any instant of them.

The world writes one row a step. Pressure is a cubic Hermite polynomial in each piece, the rest is
straight between the piece's ends, so values at a million instants cost a few array operations.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from simulator.physics.motor import RUN_UP_S, speed_share
from simulator.physics.water import PA_PER_M

if TYPE_CHECKING:
    from simulator.numbers import Floats
    from simulator.works.hardware import Hardware


class Piece(NamedTuple):
    """One step of the world. Times since the start [s], gauge pressures [Pa], flows [m3/s].

    Names ending in 0 and 1 are values at the piece's beginning and end.
    """

    t0: float
    t1: float
    line0: float
    line1: float
    line_slope0: float  # [Pa/s]
    line_slope1: float
    pump0: float
    pump1: float
    supply0: float  # through the flow meter
    supply1: float
    run_since: float  # when the motor last started; NaN at rest
    locked: float  # 1: energised, not turning
    prime: float
    wear_speed: float  # effective speed left by wear, 1 when new
    drag: float  # extra shaft load, share of the rated
    static_m: float
    filter_k: float  # filter before the tank, as it is now
    rain0: float  # rain since the start [m]
    rain1: float
    salt0: float  # conductivity of the supply [S/m]
    salt1: float
    air0: float  # [degC]
    air1: float
    water0: float  # water in the first storage [degC]
    water1: float
    pipe0: float  # water in the exposed pipe [degC]
    pipe1: float
    warm0: float  # water at the end of the buried line [degC]
    warm1: float
    level0: float  # first storage [m]
    level1: float
    more_levels: tuple[float, ...] = ()  # (level0, level1) of each further storage, in order


_BEND_PA = 300.0  # what a pressure may turn within one step, some tolerances
_WIDTH = len(Piece._fields) - 1


class Trace:
    """Pieces in order, without gaps, as arrays."""

    def __init__(self, pieces: list[Piece], hardware: Hardware) -> None:
        self.hardware = hardware
        rows = np.array([piece[:_WIDTH] for piece in pieces], dtype=np.float64).reshape(-1, _WIDTH)
        self._column = {name: rows[:, i] for i, name in enumerate(Piece._fields[:_WIDTH])}
        self._more = np.array([piece.more_levels for piece in pieces], dtype=np.float64)

    def __len__(self) -> int:
        return len(self._column["t0"])

    def __getitem__(self, name: str) -> Floats:
        return self._column[name]

    def at(self, times_s: Floats) -> Moment:
        """The plant at times within the trace, ascending."""
        piece = np.searchsorted(self._column["t1"], times_s, side="right")
        piece = np.minimum(piece, len(self) - 1)
        return Moment(self, times_s, piece)


class Moment:
    """The plant at many instants: each property is an array over them, worked out when asked for."""

    def __init__(self, trace: Trace, times_s: Floats, piece: np.ndarray) -> None:
        self._trace, self.times_s, self._piece = trace, times_s, piece
        self.hardware = trace.hardware
        begin, end = self._of("t0"), self._of("t1")
        self._length = np.maximum(end - begin, 1e-12)
        self._share = np.clip((times_s - begin) / self._length, 0.0, 1.0)

    def _of(self, name: str) -> Floats:
        values: Floats = self._trace[name][self._piece]
        return values

    def _between(self, name: str) -> Floats:
        first, last = self._of(name + "0"), self._of(name + "1")
        value: Floats = first + (last - first) * self._share
        return value

    @property
    def line_pa(self) -> Floats:
        x, h = self._share, self._length
        a, b = self._of("line0"), self._of("line1")
        da, db = self._of("line_slope0") * h, self._of("line_slope1") * h
        # a stiff step's end slopes may be far steeper than the step itself: keep the cubic from
        # overshooting (Fritsch and Carlson 1980, SIAM J. Numer. Anal. 17:238), but for a real bend
        most = 3.0 * np.abs(b - a) + _BEND_PA
        da, db = np.clip(da, -most, most), np.clip(db, -most, most)
        return a + x * (da + x * (3 * (b - a) - 2 * da - db + x * (2 * (a - b) + da + db)))

    @property
    def pump_m3_s(self) -> Floats:
        return self._between("pump")

    @property
    def supply_m3_s(self) -> Floats:
        return self._between("supply")

    @property
    def energised(self) -> Floats:
        return (~np.isnan(self._of("run_since"))).astype(np.float64)

    @property
    def speed(self) -> Floats:
        since = np.nan_to_num(self.times_s - self._of("run_since"), nan=0.0)
        value: Floats = speed_share(since, RUN_UP_S) * (1.0 - self._of("locked")) * self.energised
        return value

    @property
    def prime(self) -> Floats:
        return self._of("prime")

    @property
    def shaft_w(self) -> Floats:
        curve = self.hardware.curve
        flow = np.maximum(self.pump_m3_s, 0.0)
        shaft = curve.shaft_w(flow, self.speed * self._of("wear_speed"), self.prime)
        value: Floats = shaft + self._of("drag") * curve.shaft_power_w * self.speed
        return value

    @property
    def current_a(self) -> Floats:
        value: Floats = self.energised * self.hardware.motor.current_a(self.shaft_w, self.speed)
        return value

    @property
    def power_w(self) -> Floats:
        value: Floats = self.energised * self.hardware.motor.starting_power_w(self.shaft_w, self.speed)
        return value

    @property
    def discharge_pa(self) -> Floats:
        """Behind the check valve, before the filter: holds the line's pressure while at rest."""
        hardware, curve = self.hardware, self.hardware.curve
        flow = np.maximum(self.pump_m3_s, 0.0)
        through = self.line_pa + PA_PER_M * self._of("filter_k") * flow**2
        head = curve.head_m(flow, self.speed * self._of("wear_speed"))
        lost = curve.shut_off_head_m * (self.speed * self._of("wear_speed")) ** 2 * (1 - self.prime**2)
        pushed = head - lost + self._of("static_m")
        pushed = pushed - (hardware.suction_k + hardware.valve_k) * flow**2
        value: Floats = np.where(self.energised > 0, np.maximum(through, PA_PER_M * pushed), through)
        return value

    @property
    def suction_pa(self) -> Floats:
        flow = np.maximum(self.pump_m3_s, 0.0)
        value: Floats = PA_PER_M * (self._of("static_m") - self.hardware.suction_k * flow**2)
        return value

    @property
    def rain_m(self) -> Floats:
        return self._between("rain")

    @property
    def salt_s_m(self) -> Floats:
        return self._between("salt")

    @property
    def air_c(self) -> Floats:
        return self._between("air")

    @property
    def water_c(self) -> Floats:
        """Of the first storage."""
        return self._between("water")

    @property
    def pipe_c(self) -> Floats:
        return self._between("pipe")

    @property
    def supply_c(self) -> Floats:
        return self._between("warm")

    def level_m(self, storage: int = 0) -> Floats:
        if storage == 0:
            return self._between("level")
        first, last = self._trace._more[self._piece][:, 2 * (storage - 1) : 2 * storage].T
        value: Floats = first + (last - first) * self._share
        return value
