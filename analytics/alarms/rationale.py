"""Which findings are alarms, and how long each must last to be one. IEC 62682 calls it rationalisation.

An alarm is what asks a person for a response in time; everything else is an event: it is kept and shown
and calls nobody. A full storage that spills in the rain does what it was built to do: an event.

Delays. The standard counts on-delay and off-delay among the ways against fleeting and chattering alarms.
Its starting values (15 s for pressure and flow, 60 s for level and temperature, from memory) are for raw
limits; a finding has gathered evidence for longer than that before it is raised, so on-delays here are
zero but for sensors, and the off-delays are what keeps an alarm from being told over at every good run.
Common practice, no source, each with its reason:

IN_RUN     told while a run lasts. Off 10 min: a plant in use begins its next run by then, and a pump that
           loses its prime at every other run is not mended between two.
OF_RUNS    told from many runs, and slow to come and go: 30 min is a few cycles more.
OF_DAYS    leaks and stores, judged over quiet hours: 30 min, for these move but once a day.
SENSORS    on 5 min: a router that restarts or a battery that is changed asks nothing of anybody. Off 5 min.
WEATHER    frost hovers about its threshold all night: off 1 h.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analytics.instants import HOUR_US

if TYPE_CHECKING:
    from analytics.records import Priority

MINUTE_US = 60_000_000


@dataclass(frozen=True, slots=True)
class Delays:
    judged: Literal["in a run", "by runs", "by days", "by a sensor", "by weather"]
    on_us: int
    off_us: int


IN_RUN = Delays("in a run", 0, 10 * MINUTE_US)
OF_RUNS = Delays("by runs", 0, 30 * MINUTE_US)
OF_DAYS = Delays("by days", 0, 30 * MINUTE_US)
SENSORS = Delays("by a sensor", 5 * MINUTE_US, 5 * MINUTE_US)
WEATHER = Delays("by weather", 0, HOUR_US)

#: Priority is how soon to answer (IEC 62682): what a person is told of it.
URGENCY: dict[Priority, str] = {
    "high": "See to it now",
    "medium": "See to it soon",
    "low": "When you pass by",
}

#: Every fault that is an alarm; the contract's others are events.
ALARMS: dict[str, Delays] = {
    "lost_prime": IN_RUN,
    "dry_supply": IN_RUN,
    "burst_line": IN_RUN,
    "blocked_discharge": IN_RUN,
    "overpressure": IN_RUN,
    "motor_overload": IN_RUN,
    "short_cycling": OF_RUNS,
    "clogged_filter": OF_RUNS,
    "pump_wear": OF_RUNS,
    "switch_drift": OF_RUNS,
    "supply_leak": OF_DAYS,
    "storage_leak": OF_DAYS,
    "storage_depletion": OF_DAYS,
    "salinity_high": OF_DAYS,
    "freeze_risk": WEATHER,
    "sensor_fault": SENSORS,
}
EVENTS = frozenset({"storage_overflow"})

#: Chattering: a control room calls an alarm so that comes three times a minute (ISA-18.2's first sieve,
#: from memory). Here the one who answers has a walk to the pump: three times in the six hours of a
#: morning's or an evening's work is as much. From the third on it counts as standing until the condition
#: has stayed away for an hour, so that it is told once as one that comes and goes.
CHATTER_TIMES = 3
CHATTER_US = 6 * HOUR_US
SETTLED_US = HOUR_US

#: An alarm is put aside for a time, never for good; for good is "out of service".
SHELVED_LONGEST_US = 7 * 24 * HOUR_US
