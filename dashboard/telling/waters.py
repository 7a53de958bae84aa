"""The waters of a plant as they are now: each source's conductivity at 25 degC, and the supply's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.garden.conductivity import at_25
from analytics.garden.mix import Salt, salt
from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.plant.description import Plant, Signal
    from analytics.plant.garden import Source
    from dashboard.telling.facts import Facts

_OWN = {"rain": Measure.RAIN_CONDUCTIVITY, "well": Measure.WELL_CONDUCTIVITY}


@dataclass(frozen=True, slots=True)
class Water:
    """One water. `told_by` says whence its figure is; `age_s` None where it was typed in."""

    name: str
    salt: Salt | None
    told_by: str
    age_s: float | None = None
    rain: bool = False
    sodium_adsorption_ratio: float = 0.0


def salty(plant: Plant) -> bool:
    """Whether a plant has anything to say of salt."""
    return bool(plant.sources) or bool(plant.measuring(Measure.SUPPLY_CONDUCTIVITY))


def supply(facts: Facts) -> Water | None:
    """What comes out of the tap; None without a probe there."""
    signal = facts.signal(Measure.SUPPLY_CONDUCTIVITY)
    return None if signal is None else _measured(facts, "supply", signal)


def pair(facts: Facts) -> tuple[Water, Water] | None:
    """The two waters of the valve, rain first. None where the plant file and its sensors tell no two."""
    waters = sources(facts)
    rain = next((water for water in waters if water.rain), None)
    other = next((water for water in waters if water is not rain), None)
    return (rain, other) if rain is not None and other is not None else None


def sources(facts: Facts) -> list[Water]:
    """As the plant file names them; without any there, the rain and well that are measured."""
    if facts.plant.sources:
        return [_source(facts, source) for source in facts.plant.sources]
    found = []
    for name, measure in _OWN.items():
        signal = facts.signal(measure)
        if signal is not None:
            found.append(_measured(facts, name, signal, rain=name == "rain"))
    return found


def _source(facts: Facts, source: Source) -> Water:
    """A measured value goes before one that was typed in."""
    rain = source.storage is not None or source.name == "rain"
    ratio = source.sodium_adsorption_ratio or 0.0
    signal = next((one for one in facts.plant.signals if one.name == source.signal), None)
    if signal is not None and (facts.fresh(signal) or source.conductivity_s_m is None):
        return _measured(facts, source.name, signal, source.uncertainty_s_m, rain=rain, ratio=ratio)
    if source.conductivity_s_m is None:
        return Water(source.name, None, "nothing tells it", rain=rain)
    value = source.conductivity_s_m
    if source.read_at_c is not None:
        value = float(at_25(value, source.read_at_c))
    return Water(source.name, salt(value, source.uncertainty_s_m), "the plant file", None, rain, ratio)


def _measured(
    facts: Facts,
    name: str,
    signal: Signal,
    deviation_s_m: float | None = None,
    *,
    rain: bool = False,
    ratio: float = 0.0,
) -> Water:
    reading = facts.reading(signal)
    if reading is None:
        return Water(name, None, f"{signal.name}, not heard yet", rain=rain)
    age = facts.age_s(reading)
    if not facts.fresh(signal):
        return Water(name, None, f"{signal.name}, silent", age, rain)
    value = reading.value
    if signal.temperature_coefficient is not None:
        warmth = facts.signal(Measure.WATER_TEMPERATURE)
        told = facts.reading(warmth)
        if warmth is None or told is None or not facts.fresh(warmth):
            return Water(name, None, f"{signal.name}, but no water temperature to go with it", age, rain)
        value = float(at_25(value, told.value, signal.temperature_coefficient))
    return Water(name, salt(max(value, 0.0), deviation_s_m), signal.name, age, rain, ratio)
