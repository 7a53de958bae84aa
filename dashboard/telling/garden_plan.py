"""The season's plan from what the pages are told from: stores, use, mix, rain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.garden.budget import Works
from analytics.garden.limits import water_limit
from analytics.garden.plan import Plan, plan
from analytics.garden.season import weeks_to_end
from analytics.plant.description import Measure
from dashboard.telling import display
from dashboard.telling.salt import share_now
from dashboard.telling.waters import pair

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Storage
    from analytics.records import Cycle
    from dashboard.telling.facts import Facts

_DAY_S = 86_400.0


def rain_storage(facts: Facts) -> Storage | None:
    """The storage that rain is drawn from."""
    plant = facts.plant
    named = next((source.storage for source in plant.sources if source.storage), None)
    return next((one for one in plant.storages if named in (None, one.name)), None)


def held_m3(facts: Facts) -> float | None:
    """What the rain storage holds above its outlet; None where no level tells it."""
    storage = rain_storage(facts)
    if storage is None:
        return None
    reading = facts.reading(facts.signal(Measure.STORAGE_LEVEL, of=storage.name))
    if reading is None:
        return None
    above = storage.volume_at(reading.value) - storage.volume_at(storage.outlet_level_m)
    return max(float(above), 0.0)


def house_m3_day(facts: Facts) -> tuple[float, str]:
    """What the house uses a day, and how that is known: typed in, or the meter of the cycles outside
    the hours of watering, over the last fortnight."""
    garden = facts.plant.garden
    if garden is not None and garden.household_m3_s is not None:
        return garden.household_m3_s * _DAY_S, "as typed in"
    if not facts.cycles:
        return 0.0, "not known: no runs yet"
    spans = garden.watered if garden is not None else ()
    total = sum(_water_m3(cycle) for cycle in facts.cycles if not _watered(facts, cycle, spans))
    days = max((facts.now_us - facts.cycles[0].start_us) / 1e6 / _DAY_S, 1.0)
    told = (
        "metered by the pump's runs outside the hours of watering"
        if spans
        else "all that the pump's runs metered"
    )
    return total / days, told


def _water_m3(cycle: Cycle) -> float:
    """What one run brought: its time at the mean of the deliveries that are known."""
    known = [
        q
        for q in (cycle.delivery_start_m3_s, cycle.delivery_mid_m3_s, cycle.delivery_stop_m3_s)
        if q is not None
    ]
    if known:
        return cycle.run_time_s * sum(known) / len(known)
    return cycle.drawdown_m3 or 0.0


def _watered(facts: Facts, cycle: Cycle, spans: tuple[tuple[float, float], ...]) -> bool:
    then = display.local(cycle.start_us, facts.plant.timezone)
    second = then.hour * 3600 + then.minute * 60 + then.second
    return any(a <= second < b if a <= b else second >= a or second < b for a, b in spans)


def planned(
    facts: Facts, asked_ds_m: float | None = None, gauge_m: NDArray[np.float64] | None = None
) -> Plan | None:
    """The plan from today on; None where the plant file does not tell enough."""
    plant, storage, held = facts.plant, rain_storage(facts), held_m3(facts)
    if storage is None or plant.catchment is None or plant.garden is None:
        return None
    room = storage.volume_m3 - float(storage.volume_at(storage.outlet_level_m))
    roof = plant.catchment
    works = Works(room / 2 if held is None else held, room, roof.area_m2, roof.runoff, roof.first_flush_m3)
    two = pair(facts)
    waters = None
    if two is not None and two[0].salt is not None and two[1].salt is not None:
        waters = (two[0].salt.conductivity_s_m, two[1].salt.conductivity_s_m)
    today = display.local(facts.now_us, plant.timezone).date()
    return plan(
        plant,
        today,
        works,
        house_m3_day(facts)[0],
        share_now(facts, asked_ds_m),
        waters,
        water_limit(plant).soil_s_m,
        gauge_m,
        weeks_to_end(plant.garden, today),
    )
