"""Pump wear: delivery falls at every pressure, and the filter is not the reason.

What fails. Impeller and wear ring lose their fit, the nozzle of a jet pump scales or erodes, the motor
slows, or a little air comes in with the suction: the shut-off head H0 falls.

Physics. Q = sqrt((H0 - P) / r): a lower H0 lowers delivery, and more at cut-out than at cut-in; the motor
works less about as delivery falls.

What the sensors show. As a clogged filter, with the drop across the filter falling and the motor's power
down by as much as the delivery.

Mistaken for. A clogged filter (see `analytics.judging.blame`).

Parameters. As clogged_filter.

Source: common practice, no source; witnesses from trial figures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics import words
from analytics.faults.clogged_filter import DeliveryFault
from analytics.judging.pace_words import late
from analytics.judging.watch import Coverage
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from analytics.judging.worked_out import Decline
    from analytics.plant.description import Plant


class PumpWear(DeliveryFault):
    FAULT = "pump_wear"

    def blames(self, found: Decline) -> bool:
        return found.clog < 0.5

    def words(self, found: Decline) -> str:
        said = f"The pump delivers {words.percent(found.left)} of what it did when new, at every pressure."
        if found.clog > 0.1:
            said += (
                " A clogging filter would look much the same: flush it first and see whether it comes back."
            )
        return said


def detector(plant: Plant) -> PumpWear:
    return PumpWear(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    before = plant.filter is not None and plant.filter.position == "before_tank"  # the pump feels no other
    if not before or plant.measuring(Measure.DISCHARGE_PRESSURE, Measure.PUMP_POWER):
        return Coverage(True, f"Told from delivery against the plant's own first 24 runs.{late(plant)}")
    return Coverage(
        True, f"Told from delivery; an outlet gauge or power meter would tell it from a filter.{late(plant)}"
    )
