"""Dry supply: the motor runs and no water moves, because the storage is at or below its outlet.

What fails. Nothing in the pump: the storage is empty as far as the pump is concerned, and it draws air.
Running dry ruins a shaft seal in minutes.

Physics, what the sensors show, mistaken for. As lost_prime; the storage level tells them apart.

Parameters. As lost_prime; the level counts as low within a fiftieth of its range above the outlet (a
level gauge is good to that; common practice, no source).

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics import words
from analytics.faults.lost_prime import NoDelivery
from analytics.judging.pace_words import within
from analytics.judging.watch import Coverage
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look


class DrySupply(NoDelivery):
    FAULT = "dry_supply"
    WHEN_LOW = True

    def _words(self, look: Look, low: bool | None) -> str:
        return (
            f"The pump has been running for {words.duration(look.age_s)} and moves no water: the storage is "
            "down to its outlet and the pump draws air."
        )


def detector(plant: Plant) -> DrySupply:
    return DrySupply(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure, a motor signal and a storage level.")
    if not plant.measuring(Measure.STORAGE_LEVEL):
        return Coverage(False, "Shows as lost prime: a storage level would tell the two apart.")
    if plant.measuring(Measure.PUMP_POWER, Measure.PUMP_CURRENT):
        return Coverage(True, f"Told {within(plant, 30.0)} from pressure, motor and storage level.")
    return Coverage(
        True,
        "Told at the start of a run, from pressure and storage level. Where the storage runs dry within one, "
        "with nobody drawing, it shows at the next draw only: the motor's current or power would tell.",
    )
