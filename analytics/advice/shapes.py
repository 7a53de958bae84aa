"""The shape of an advice, and the cautions that many steps share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Station = Literal["storage", "pump", "filter", "tank", "line"]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do; `caution` where doing it can hurt someone or something."""

    do: str
    caution: str | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """A headline, what it means, what to do in order, and what will show that it worked.

    `isolating` is the test that separates causes which the readings alone cannot.
    """

    fault: str
    cause: str | None
    station: Station
    title: str
    meaning: str
    steps: tuple[Step, ...]
    proof: str
    isolating: str | None = None


MAINS = (
    "Mains voltage. Switch off at the breaker, keep it from being switched on again, and test that the "
    "wires are dead. Where local rules want a licensed electrician, call one."
)
PRESSURE = (
    "Stored pressure. With the pump off, open a tap until the gauge reads zero and no more water comes; "
    "only then loosen anything. Where local codes want a licensed plumber, call one."
)
AIR = (
    "Stored pressure. Drain the water side first, fill in short bursts and check the gauge each time. Never "
    "go above the tank's label; leave a rusted or bulging tank to a licensed plumber, as local codes may ask."
)
RELIEF = (
    "Scalding or sudden water: stand clear of the outlet. Never plug a relief valve or set it higher; its "
    "setting is a matter of local code, and of a licensed plumber where the code wants one."
)
HOT = (
    "A pump that has run dry can be scalding hot, and can spray. Switch it off at the breaker and let it "
    "cool for an hour before you open it. Wiring is for a licensed electrician where local rules say so."
)
DIG = (
    "Have buried power, gas and telephone lines located first: in most places that is free and required by "
    "law. Near them dig by hand; leave damaged cables to the utility or a licensed trade."
)
CROSS = (
    "Two supplies joined by a valve are a cross-connection: the worse can foul the better. Keep the "
    "backflow "
    "protection that local code asks for, and have a licensed plumber make any new connection."
)
TANK_ENTRY = (
    "Never climb into a tank: the air in it can kill, and so can the water. Look from the hatch and "
    "work from "
    "outside; cleaning from within is for a crew trained and equipped under local rules."
)
LADDER = "Set the ladder on firm ground with someone to hold it, and stay off a wet roof or tank lid."
THAW = (
    "No open flame, and no electric heater near water: both have cost houses and lives. Thaw with warm "
    "cloths "
    "or warm air from the tap end, pump off. Heating cable is wired under local code, by a licensed trade."
)
