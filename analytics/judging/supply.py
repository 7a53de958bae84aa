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


def storage_low(known: Known) -> bool | None:
    """Whether the storage that is drawn from is at or below its outlet; None where no level is known.

    Of several the plant file does not say which is drawn from: it is low where all are, or where one is
    that was seen to run out (an idle tank that stands empty was not).
    """
    low, ran_out = [], False
    for position in known.plant.measuring(Measure.STORAGE_LEVEL):
        storage = _storage(known.plant, known.plant.signals[position])
        last = known.last(position)
        believed = not known.is_open("sensor_fault", known.plant.signals[position].name)
        if storage is not None and last is not None and believed:
            low.append(last[1] <= storage.outlet_level_m + NEAR_SHARE * storage.full_level_m)
            ran_out |= low[-1] and known.is_open("storage_depletion", storage.name)
    return all(low) or ran_out if low else None


def _storage(plant: Plant, signal: Signal) -> Storage | None:
    for storage in plant.storages:
        if storage.name == signal.of:
            return storage
    return plant.storages[0] if len(plant.storages) == 1 else None
