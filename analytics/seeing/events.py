"""What detectors are told: things that happened in the readings, as records.

Every event carries `at_us`, the time of the reading that made it due; it depends on readings up to
that time and on nothing else. Flows are worked out with the plant file's pressure tank; where the
file gives none they are in tanks of one cubic metre and only their ratios mean anything
(`Known.flows_are_true`). None means: could not be measured here.

They are structs, which are made, handed to another process and taken up there in a fraction of a
dataclass's time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.seeing.beats import Beat
from analytics.seeing.silences import Silence
from analytics.seeing.stillness import Stood

if TYPE_CHECKING:
    from analytics.records import Cycle


class Run(msgspec.Struct, frozen=True):
    """A pump run that is over, with the rest before it and the first minute after it.

    entire           start and stop were both seen, with no gap in pressure or motor between
    interval_s       how finely start and stop were seen: the coarser of the two signals' spacing
    pressure_s       spacing of pressure's own words, by which its turning points tell start and stop
    slope_*          slope of tank water [m3/s]: before the start, over the run's inside, after the stop
    slope_first/last slope of tank water near the run's ends
    pressure_low/high_pa   extremes inside the run
    scatter_m3       root mean square of tank water about its straight line over the run
    leap_pa          how far the line of the run's first seconds begins above the lowest pressure about the
                     start: the jump of a line whose tank was empty
    before_us        stop of the run before, or None
    """

    at_us: int
    cycle: Cycle
    entire: bool
    interval_s: float
    slope_before_m3_s: float | None = None
    slope_run_m3_s: float | None = None
    slope_after_m3_s: float | None = None
    slope_first_m3_s: float | None = None
    slope_last_m3_s: float | None = None
    pressure_low_pa: float | None = None
    pressure_high_pa: float | None = None
    scatter_m3: float | None = None
    leap_pa: float | None = None
    before_us: int | None = None
    flow_m3_s: float | None = None  # mean of supply_flow in the run
    discharge_pa: float | None = None  # median discharge pressure in the run
    suction_pa: float | None = None
    motor_s: float | None = None  # its length by the motor's words alone, each edge midway between two
    edges_s: float | None = None  # how finely the motor's words tell start and stop, the coarser of both
    motor_words: float | None = None  # median of all the motor said in the run, its inrush too
    pressure_s: float | None = None
    rested_pa: float | None = None  # the highest pressure of two to four minutes before it, the motor at rest
    motor_said: int = 0  # how often the motor spoke in it, once it was up to speed
    motor_stood: float | None = None  # what half of those words and two at least stood at or above


class Look(msgspec.Struct, frozen=True, gc=False):
    """A glance into a run that is still going on. Only runs that do not go as usual are looked into.

    age_s      since the start
    window_s   what the slopes are taken over: the last part of the run
    slope_before_m3_s   slope of tank water before the start (minus the demand there)
    slope_error_m3_s    standard error of `slope_m3_s`
    fall_m3_s  fastest that tank water is sure to have fallen lately between two samples some seconds apart,
               from just before the start on; what is below the charge holds none, so samples far apart
               give a lower bound
    filter_drop_pa   outlet pressure less line pressure, medians over one and the same window
    """

    at_us: int
    start_us: int
    age_s: float
    window_s: float
    samples: int
    entire: bool
    interval_s: float
    pressure_start_pa: float | None
    pressure_pa: float | None
    pressure_high_pa: float | None
    slope_m3_s: float | None
    slope_pa_s: float | None
    slope_first_m3_s: float | None
    slope_before_m3_s: float | None
    noise_pa: float | None
    motor_level: float | None
    flow_m3_s: float | None
    discharge_pa: float | None
    suction_pa: float | None
    motor_now: float | None = None  # median of the newest three samples
    slope_error_m3_s: float | None = None
    fall_m3_s: float | None = None
    filter_drop_pa: float | None = None
    gap: bool = False  # a silence lies within the window
    still: bool = False  # the gauge has said the same for longer than ever: it shows no state of the water
    rested_pa: float | None = None  # as of a run


class Rest(msgspec.Struct, frozen=True):
    """A piece of a rest, at most half an hour, ended by a start or by the clock of the rest itself.

    Pieces begin at the stop, ten minutes after it (the air has come to rest by then), and each half
    hour after that. slope_m3_s is negative where water is lost; slope_error_m3_s is its standard error.
    """

    at_us: int
    stop_us: int  # the stop that began the rest
    from_us: int
    to_us: int
    samples: int
    entire: bool  # the stop was seen and no gap lies in the piece
    slope_m3_s: float | None
    slope_error_m3_s: float | None
    pressure_from_pa: float | None
    pressure_to_pa: float | None
    scatter_m3: float | None
    rise_pa: float = 0.0  # the most that pressure rose, lone wild words left out; 0: it hardly moved

    @property
    def since_stop_s(self) -> float:
        return (self.from_us - self.stop_us) / 1e6


class Day(msgspec.Struct, frozen=True):
    """A day of the plant's time zone is over: [from_us, to_us)."""

    at_us: int
    from_us: int
    to_us: int


Event = Run | Look | Rest | Beat | Silence | Stood | Day
