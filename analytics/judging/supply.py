"""Whether there is water to draw: what the storages' levels say when a run moves none."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.judging.watch import Known
    from analytics.plant.description import Plant, Signal, Storage

#: A level gauge is good to a fiftieth of its range; the inlet draws air a little before (common
#: practice, no source).
NEAR_SHARE = 0.02
#: A gauge that is said to lie, and a pump that lifts nothing, in one day are two faults; a storage that has
#: run out so fast that its gauge was not believed is one.
SAME_DAY_US = 86_400_000_000


def storage_low(known: Known) -> bool | None:
    """Whether the storage that is drawn from is at or below its outlet; None where no level is known.

    Of several the plant file does not say which is drawn from: it is low where all are, or where one is
    that was seen to run out (an idle tank that stands empty was not).
    """
    low, ran_out = [], False
    for position in known.plant.measuring(Measure.STORAGE_LEVEL):
        storage = _storage(known.plant, known.plant.signals[position])
        last = known.last(position)
        doubted_us = known.raised_us("sensor_fault", known.plant.signals[position].name)
        if storage is None or last is None:
            continue
        empty = last[1] <= storage.outlet_level_m + NEAR_SHARE * storage.full_level_m
        if doubted_us is None or (empty and last[0] - doubted_us < SAME_DAY_US):
            low.append(empty)
            ran_out |= low[-1] and known.is_open("storage_depletion", storage.name)
    return all(low) or ran_out if low else None


def _storage(plant: Plant, signal: Signal) -> Storage | None:
    for storage in plant.storages:
        if storage.name == signal.of:
            return storage
    return plant.storages[0] if len(plant.storages) == 1 else None
