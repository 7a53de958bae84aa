"""What the tables of a plant file must agree on among themselves."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

from analytics.plant.description import CONDUCTIVITY_MEASURES, MOTOR_MEASURES, Measure, Pump, Signal
from analytics.plant.dimensions import Dimension
from analytics.plant.fields import did_you_mean
from analytics.plant.mistakes import Mistakes, Path
from analytics.plant.table import Fields
from analytics.plant.units import UnitError, quantity

Raw = dict[str, Any]


def check_names(signals: list[Raw], mistakes: Mistakes) -> None:
    """No two signals share a name."""
    first: dict[str, int] = {}
    for at, signal in enumerate(signals):
        name = signal.get("name")
        if isinstance(name, str) and first.setdefault(name, at) != at:
            told = f"the name of signal[{first[name] + 1}] too; each signal needs its own"
            mistakes.add(("signal", at, "name"), told, value=name)


def check_topics(signals: list[Raw], mistakes: Mistakes) -> None:
    """No payload feeds two signals alike: on one topic each has its own pointer, or its own record."""
    heard: dict[tuple[str, Any], list[int]] = defaultdict(list)
    for at, signal in enumerate(signals):
        if isinstance(topic := signal.get("topic"), str):
            pointer = signal.get("pointer")
            heard[topic, pointer if isinstance(pointer, str) else None].append(at)
    for (topic, pointer), sharing in heard.items():
        records = [signals[at].get("record") for at in sharing]
        for place, at in enumerate(sharing[1:], 1):
            if pointer is None and records[place] is not None and records[place] not in records[:place]:
                if records[0] is not None:
                    continue
                told = f"signal[{sharing[0] + 1}] is on this topic too and names no record"
            else:
                same = "the same pointer" if pointer is not None else "no pointer either"
                told = f"signal[{sharing[0] + 1}] is on this topic too, with {same}"
            accepted = "a topic of its own; or each its own pointer (JSON), or its own record (SenML)"
            mistakes.add(("signal", at, "topic"), told, value=topic, accepted=accepted)


def check_storage_of(signals: list[Raw], storages: list[str], mistakes: Mistakes) -> None:
    """Every storage level says which storage it is of, where there is a choice."""
    known = ", ".join(f'"{name}"' for name in storages)
    for at, signal in enumerate(signals):
        if signal.get("measures") != Measure.STORAGE_LEVEL:
            continue
        path: Path = ("signal", at, "of")
        named = signal.get("of")
        if not storages:
            told = "a storage_level needs a [storage.NAME] table that tells its tank's size"
            mistakes.add(("signal", at, "measures"), told, value="storage_level")
        elif named is None and len(storages) > 1:
            mistakes.add(path, "missing; there is more than one storage", accepted=known)
        elif isinstance(named, str) and named not in storages:
            near = did_you_mean(named, storages)
            mistakes.add(path, f"no storage of this name{near}", value=named, accepted=known)


def with_storage(signal: Signal, storages: list[str]) -> Signal:
    """A storage level without `of` is of the only storage."""
    if signal.measures is Measure.STORAGE_LEVEL and signal.of is None and len(storages) == 1:
        return replace(signal, of=storages[0])
    return signal


def check_precharge(tank: Fields, switch: Fields, written: object, mistakes: Mistakes) -> str | None:
    """An air charge at or above cut-out lets no water in at all. Between the two limits it is a
    fault of the plant, not of the file: a remark."""
    if "precharge_pa" not in tank or not {"cut_in_pa", "cut_out_pa"} <= switch.keys():
        return None
    if tank["precharge_pa"] >= switch["cut_out_pa"]:
        mistakes.add(
            ("pressure_tank", "precharge"),
            "at or above cut_out: no water could enter the tank",
            value=written,
            accepted="the air charge with the water drained, usually a little below cut_in",
        )
    elif tank["precharge_pa"] > switch["cut_in_pa"]:
        return "The air charge (precharge) is above cut-in: the tank is empty before the pump starts."
    return None


def check_sources(sources: Raw, signals: list[Raw], storages: list[str], mistakes: Mistakes) -> None:
    """Sources name conductivities and storages that there are; one reading tells two waters apart."""
    salty = [one.get("name") for one in signals if one.get("measures") in CONDUCTIVITY_MEASURES]
    known = [name for name in salty if isinstance(name, str)]
    for name, source in sources.items():
        if not isinstance(source, dict):
            continue
        for key, those, what in (
            ("signal", known, "no signal of this name measures a conductivity"),
            ("storage", storages, "no storage of this name"),
        ):
            named = source.get(key)
            if isinstance(named, str) and named not in those:
                accepted = ", ".join(f'"{one}"' for one in those)
                told = f"{what}{did_you_mean(named, those)}"
                mistakes.add(("sources", name, key), told, value=named, accepted=accepted)
    for name in list(sources)[2:]:
        told = "a third source: one conductivity tells two waters apart and no more"
        mistakes.add(("sources", name), told, accepted="at most two sources")


def check_compensation(signals: list[Raw], mistakes: Mistakes) -> None:
    """A conductivity that is not brought to 25 degC needs the water's temperature."""
    if any(signal.get("measures") == Measure.WATER_TEMPERATURE for signal in signals):
        return
    for at, signal in enumerate(signals):
        if "temperature_coefficient" in signal and signal.get("measures") in CONDUCTIVITY_MEASURES:
            told = "needs a signal that measures water_temperature, and there is none"
            value = signal["temperature_coefficient"]
            mistakes.add(("signal", at, "temperature_coefficient"), told, value=value)


def place_running_above(pump: Pump, written: object, signals: list[Raw]) -> tuple[Pump, str | None]:
    """The pump with `running_above` tied to the motor signal of its kind, or freed of it, with a
    remark, where no signal is of that kind."""
    if pump.running_above is None or not isinstance(written, str):
        return pump, None
    try:
        dimension = quantity(written)[1].dimension
    except UnitError:
        return pump, None
    measure = Measure.PUMP_CURRENT if dimension is Dimension.CURRENT else Measure.PUMP_POWER
    fitted = {signal.get("measures") for signal in signals} & {*MOTOR_MEASURES}
    if measure in fitted:
        return replace(pump, running_above_measures=measure), None
    told = f"running_above is a {dimension} and no signal measures {measure}: it is not used."
    return replace(pump, running_above=None), told
