"""A day's draws: the household, its guests and absences, the garden, a hose forgotten."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.demand.enduses import Use, household
from simulator.demand.garden import by_hand, programmed
from simulator.seeds import stream

if TYPE_CHECKING:
    from simulator.calendar import Day
    from simulator.scenario import Scenario
    from simulator.works.hardware import Hardware


class Life:
    """Draws day by day; every day has a stream of its own, so days can be asked for in any order."""

    def __init__(self, scenario: Scenario, hardware: Hardware, seed: int) -> None:
        self._scenario = scenario
        self._hardware = hardware
        self._seed = seed

    def people(self, at_s: float) -> float:
        """Persons at home at a time."""
        scenario = self._scenario
        if any(spell.from_s <= at_s < spell.until_s for spell in scenario.away):
            return 0.0
        visiting = sum(spell.amount for spell in scenario.guests if spell.from_s <= at_s < spell.until_s)
        return scenario.people + visiting

    def day(self, day: Day, demand_share: float = 1.0) -> list[Use]:
        """All draws that begin on one day."""
        scenario, rated = self._scenario, self._hardware.rated_flow_m3_s
        noon_s = day.start_s + day.length_s / 2
        uses = household(day, self.people(noon_s), demand_share, stream(self._seed, "house", day.number))
        random = stream(self._seed, "garden", day.number)
        for programme in scenario.programmes:
            uses += programmed(day, programme, rated, random)
        if self.people(noon_s) > 0:
            uses += by_hand(day, scenario.hose, random)
        for spell in scenario.forgotten:
            if day.start_s <= spell.from_s < day.start_s + day.length_s:
                flow = spell.amount or scenario.hose.flow_m3_s
                uses.append(Use(spell.from_s, spell.until_s, flow, "garden", what="hose left running"))
        return uses
