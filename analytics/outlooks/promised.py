"""What is foretold with this plant's sensors, in words: each forecast, or what it wants.

A band is wide where the sensors show little, and nothing is said where they show nothing: a filter's flush is
seen coming by the drop across it, and by delivery alone when a good part of the way is gone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.judging.balance import watched_storages
from analytics.judging.pace_words import apart, interval_s, unless_on_change
from analytics.judging.signature import COARSE_S
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from analytics.plant.description import Plant


def promised(plant: Plant) -> list[tuple[str, str]]:
    """Label and words of each forecast; none of what the plant has not."""
    seen = {one.storage.name for one in watched_storages(plant)}
    found = [
        (f"days to empty {one.name}", BY_LEVEL if one.name in seen else "Needs the level of this storage.")
        for one in plant.storages
    ]
    runs = bool(plant.measuring(Measure.LINE_PRESSURE) and plant.measuring(*MOTOR_MEASURES))
    if plant.filter is not None:
        found.append(("days to flush", _flush(plant, plant.filter.position, runs)))
    if plant.pressure_tank is not None:
        found.append(("weeks to top-up", BY_RUNS + _coarse(plant) if runs else NEEDS_RUNS))
    return found


BY_LEVEL = "By its level and the days' own draw, rain not counted."
NEEDS_RUNS = "Needs line pressure and a motor signal."
BY_RUNS = "By how fast runs fill the tank, once air goes faster than the runs scatter."


def _flush(plant: Plant, position: str, runs: bool) -> str:
    if position == "after_tank":
        return "Not foretold of a filter after the tank: it is told once it clogs."
    if not runs:
        return NEEDS_RUNS
    if plant.measuring(Measure.DISCHARGE_PRESSURE):
        return "By delivery and the drop across the filter." + _coarse(plant)
    alone = "By delivery alone, late and within a wide band: a gauge at the pump's outlet would show it"
    return f"{alone} sooner.{_coarse(plant)}"


def _coarse(plant: Plant) -> str:
    """Delivery is hardly seen by samples so far apart."""
    every_s = interval_s(plant)
    if every_s is None or every_s < COARSE_S:
        return ""
    return f" At readings {apart(every_s)} apart{unless_on_change(every_s)}, seldom or not at all."
