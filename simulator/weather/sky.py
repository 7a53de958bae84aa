"""The weather that is on now: air, rain falling and fallen, evaporation."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from simulator.physics.evaporation import hargreaves_m_day

if TYPE_CHECKING:
    from simulator.agenda import Agenda
    from simulator.calendar import Day
    from simulator.weather.climate import DayWeather, Weather


class Sky:
    """One day's weather at a time."""

    def __init__(self, weather: Weather, agenda: Agenda) -> None:
        self._weather, self._agenda = weather, agenda
        self._today: DayWeather | None = None
        self.rain_m_s = 0.0
        self.evaporation_m_s = 0.0  # from open water

    def new_day(self, day: Day, now_s: float) -> None:
        """Enter a day's showers and take over its temperatures."""
        today = self._today = self._weather.next_day(day)
        for shower in today.showers:
            if shower.stop_s > now_s:
                self._agenda.at(shower.start_s, partial(self._change, shower.rate_m_s))
                self._agenda.at(shower.stop_s, partial(self._change, -shower.rate_m_s))
        latitude = self._weather.climate.latitude_deg
        of_year = day.season.timetuple().tm_yday
        self.evaporation_m_s = (
            hargreaves_m_day(latitude, of_year, today.lowest_c, today.highest_c) / day.length_s
        )

    def _change(self, by_m_s: float) -> None:
        left = self.rain_m_s + by_m_s
        self.rain_m_s = left if left > 1e-12 else 0.0

    def air_c(self, at_s: float) -> float:
        """Air temperature; days are to be entered as they come."""
        assert self._today is not None
        return self._today.air_c(at_s)
