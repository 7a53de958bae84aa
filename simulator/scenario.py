"""What happens to a plant: life, garden, weather, hardware, sensors and faults, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from simulator.demand.garden import Hose, Programme
from simulator.weather.climate import Climate
from simulator.works.hardware import Sizes

if TYPE_CHECKING:
    from simulator.onset import FaultPlan
    from simulator.sensing.sensors import SensorChange


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time with something special in it: guests, nobody home, a hose left running."""

    from_s: float
    until_s: float
    amount: float = 0.0  # people or flow [m3/s]


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that a simulated plant lives through."""

    name: str
    title: str
    about: str = ""
    days: float = 14.0  # how long it wants to be watched
    as_if: tuple[int, int] | None = (6, 5)  # month and day of the season it plays in; None: the date's
    people: float = 2.0
    guests: tuple[Spell, ...] = ()
    away: tuple[Spell, ...] = ()
    forgotten: tuple[Spell, ...] = ()
    hose: Hose = field(default_factory=Hose)
    programmes: tuple[Programme, ...] = (
        Programme("drip", start_h=5.5, zones=2, zone_s=900.0),
        Programme(
            "bench mist", kind="spray", start_h=13.0, zones=2, zone_s=240.0, first_month=5, last_month=9
        ),
    )
    climate: Climate = field(default_factory=Climate)
    dry: bool = False  # no rain at all
    sizes: Sizes = field(default_factory=Sizes)
    storage_share: float = 0.7  # of each storage's volume, at the start
    sensors: tuple[SensorChange, ...] = ()
    faults: tuple[FaultPlan, ...] = ()
