"""From rain on a roof to water in the tank: runoff, first flush, overflow."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.plant.description import Catchment

#: A diverter drips empty; after this long without rain the next rain fills it anew. Common practice.
DIVERTER_EMPTIES_S = 2 * 86_400.0


class Roof:
    """A catchment with a first-flush diverter. 1 mm on 1 m2 is a litre; plan area counts."""

    def __init__(self, catchment: Catchment | None) -> None:
        self._catchment = catchment
        self._to_divert_m3 = catchment.first_flush_m3 if catchment else 0.0
        self._last_rain_s = float("-inf")
        self.diverted_m3 = 0.0

    def collected_m3(self, rain_m: float, until_s: float) -> float:
        """Water that reaches the tank from `rain_m` of rain that ended at `until_s`."""
        if self._catchment is None or rain_m <= 0.0:
            return 0.0
        if until_s - self._last_rain_s > DIVERTER_EMPTIES_S:
            self._to_divert_m3 = self._catchment.first_flush_m3
        self._last_rain_s = until_s
        runoff = self._catchment.area_m2 * self._catchment.runoff * rain_m
        diverted = min(runoff, self._to_divert_m3)
        self._to_divert_m3 -= diverted
        self.diverted_m3 += diverted
        return runoff - diverted
