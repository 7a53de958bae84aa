"""The plant's water temperatures: storage, exposed pipe, buried line."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from simulator.physics import warmth
from simulator.physics.salt import mixed_after

if TYPE_CHECKING:
    from simulator.weather.climate import Climate
    from simulator.works.hardware import Hardware

_BURIED_M = 0.6  # common practice where frost is no deeper
_EXPOSED_M = 2.0  # of pipe between pump house and ground
#: Soil round a buried pipe takes its water's warmth in about so long (no source).
_LINE_S = 4 * 3_600.0
_WARMEST_DAY = 200  # the climate's own (see `weather.climate`)
_LEAST_M3 = 0.02  # what is left in an empty tank


class Warmth:
    """Temperatures [degC]: `water_c` in the first storage (or the well), `pipe_c` in the pipe that
    stands in the air, `supply_c` at the end of the buried line."""

    def __init__(self, hardware: Hardware, climate: Climate, depth_m: float, day_of_year: int) -> None:
        self._climate = climate
        self._depth_m = depth_m  # of the storage when full; nothing: no storage
        bore_m = hardware.bore_m
        self._pipe_s = warmth.pipe_s(bore_m)
        self._pipe_m3 = pi * bore_m**2 / 4 * _EXPOSED_M
        self._line_m3 = hardware.line_m3
        self._full_s = warmth.tank_s(hardware.storage_m3, depth_m) if depth_m else 0.0
        self._full_m3 = hardware.storage_m3
        self.ground_c = 0.0
        self.new_day(day_of_year)
        self.water_c = climate.mean_c if depth_m else self.well_c
        self.pipe_c = self.supply_c = self.ground_c

    @property
    def well_c(self) -> float:
        """A well's water has the year's mean."""
        return self._climate.mean_c

    def new_day(self, day_of_year: int) -> None:
        climate = self._climate
        since = day_of_year - _WARMEST_DAY
        self.ground_c = warmth.ground_c(climate.mean_c, climate.season_c, _BURIED_M, since)

    def step(
        self,
        seconds: float,
        air_c: float,
        held_m3: float,
        rain_m3: float,
        drawn: tuple[float, float, float],
    ) -> None:
        """One step. held_m3, rain_m3: in storage, and come into it at the air's temperature; drawn:
        (by the pump [m3], its share from the well, through the supply line [m3])."""
        pumped_m3, well_share, supplied_m3 = drawn
        if self._depth_m:
            held = max(held_m3, _LEAST_M3)
            self.water_c += (air_c - self.water_c) * min(rain_m3 / held, 1.0)
            # wall and lid stay, the water in them grows less: it follows sooner
            constant_s = self._full_s * held / self._full_m3
            self.water_c = warmth.towards(self.water_c, air_c, seconds, constant_s)
        coming_c = self.water_c + (self.well_c - self.water_c) * well_share
        self.pipe_c = warmth.towards(self.pipe_c, air_c, seconds, self._pipe_s)
        if pumped_m3 > 0.0:
            self.pipe_c = mixed_after(self.pipe_c, coming_c, pumped_m3, self._pipe_m3)
        self.supply_c = warmth.towards(self.supply_c, self.ground_c, seconds, _LINE_S)
        if supplied_m3 > 0.0:
            self.supply_c = mixed_after(self.supply_c, coming_c, supplied_m3, self._line_m3)
