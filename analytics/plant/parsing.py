"""The plant file (TOML) into a `Plant`. Pure: text in, plant or every mistake out.

The keys of each table stand in one table of ours (`_KEYS`), with the reader of each value; a new
optional key is one line there.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from analytics.plant import units
from analytics.plant.description import (
    SI_UNIT,
    Catchment,
    Filter,
    Measure,
    Plant,
    PressureTank,
    Pump,
    Signal,
    Storage,
    Switch,
)
from analytics.plant.mistakes import Mistake, PlantErrors, lines_of_keys

VERSION = 1

#: The dimension (units.DIMENSIONS) of each measure; None for the one that has no unit.
DIMENSION: dict[Measure, str | None] = {
    measure: {
        "Pa": "pressure",
        "A": "current",
        "W": "power",
        "": None,
        "m^3/s": "flow",
        "m": "length",
        "degC": "temperature",
        "S/m": "conductivity",
    }[unit]
    for measure, unit in SI_UNIT.items()
}


def parse_plant(text: str, name: str) -> Plant:
    """The plant that `text` describes; `name` is its short name, the file's stem.

    Raises PlantErrors with every mistake at once.
    """
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise PlantErrors(
            name, [Mistake("the file", str(error), "it must be TOML (https://toml.io)")]
        ) from error
    reader = _Reader(name, lines_of_keys(text))
    plant = reader.plant(data)
    if reader.mistakes or plant is None:
        raise PlantErrors(name, reader.mistakes)
    return plant


class _Reader:
    """Walks the file, keeping mistakes instead of stopping at the first."""

    def __init__(self, name: str, lines: dict[str, int]) -> None:
        self.name = name
        self.lines = lines
        self.mistakes: list[Mistake] = []

    # -- saying what is wrong ------------------------------------------------------------------

    def wrong(self, path: str, found: object, accepted: str) -> None:
        line = self.lines.get(path)
        probe = path
        while line is None and "." in probe:
            probe = probe.rpartition(".")[0]
            line = self.lines.get(probe)
        self.mistakes.append(Mistake(path, found if isinstance(found, str) else repr(found), accepted, line))

    def table(self, data: Any, path: str, keys: tuple[str, ...]) -> dict[str, Any]:
        """`data` as a table that holds none but `keys`; empty where it is no table."""
        if not isinstance(data, dict):
            self.wrong(path, data, f"a table is wanted, [{path}]")
            return {}
        for key in data:
            if key not in keys:
                near = difflib.get_close_matches(key, keys, n=1)
                hint = f'did you mean "{near[0]}"?' if near else "known here: " + ", ".join(keys)
                self.wrong(f"{path}.{key}" if path else key, "an unknown key", hint)
        return data

    # -- values --------------------------------------------------------------------------------

    def quantity(self, value: Any, path: str, dimension: str) -> float | None:
        _, examples = units.DIMENSIONS[dimension]
        wanted = f'a {dimension} with its unit is wanted, such as "{_EXAMPLE[dimension]}" ({examples})'
        if not isinstance(value, str):
            self.wrong(path, value, wanted)
            return None
        try:
            found = units.quantity(value, dimension)
        except units.WrongDimension:
            self.wrong(path, f'"{value}"', f"that is no {dimension}: {wanted}")
        except ValueError:
            self.wrong(path, f'"{value}"', wanted)
        else:
            if math.isfinite(found):
                return found
            self.wrong(path, f'"{value}"', wanted)
        return None

    def take(
        self, data: dict[str, Any], path: str, key: str, dimension: str, **bounds: float
    ) -> float | None:
        """An optional quantity with bounds `above` (excluded), `least`, `most` (included), in SI."""
        if key not in data:
            return None
        where = f"{path}.{key}" if path else key
        value = self.quantity(data[key], where, dimension)
        if value is None:
            return None
        if not (
            value > bounds.get("above", -math.inf)
            and bounds.get("least", -math.inf) <= value <= bounds.get("most", math.inf)
        ):
            self.wrong(where, f'"{data[key]}"', f"that is no {dimension} a plant could have")
            return None
        return value

    def number(self, data: dict[str, Any], path: str, key: str, least: float, most: float) -> float | None:
        value = data.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not least < value <= most:
            self.wrong(f"{path}.{key}", value, f"a number above {least:g} and up to {most:g} is wanted")
            return None
        return float(value)

    def word(self, data: dict[str, Any], path: str, key: str, default: str | None = None) -> str | None:
        value = data.get(key, default)
        where = f"{path}.{key}" if path else key
        if value is None:
            self.wrong(where, "nothing", "it is needed")
        elif not isinstance(value, str) or not value.strip():
            self.wrong(where, value, "a text is wanted")
        else:
            return value
        return None

    def choice(
        self, data: dict[str, Any], path: str, key: str, choices: tuple[str, ...], default: str
    ) -> Any:
        value = data.get(key, default)
        if value not in choices:
            where = f"{path}.{key}" if path else key
            self.wrong(where, value, "one of " + ", ".join(f'"{c}"' for c in choices) + " is wanted")
            return default
        return value

    def needed(self, data: dict[str, Any], path: str, *keys: str) -> None:
        for key in keys:
            if key not in data:
                self.wrong(f"{path}.{key}", "nothing", "it is needed")

    # -- tables --------------------------------------------------------------------------------

    def plant(self, data: dict[str, Any]) -> Plant | None:
        version = data.get("version")
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            self.wrong("version", "nothing" if version is None else version, f"version = {VERSION} is wanted")
        elif version > VERSION:
            self.wrong(
                "version",
                version,
                f"this Holdwater reads plant files up to version {VERSION}; a newer Holdwater is needed",
            )
            return None
        self.table(data, "", _KEYS)
        storages = self.storages(data.get("storage", {}))
        signals = self.signals(data.get("signal", []), storages)
        return Plant(
            name=self.name,
            title=self.word(data, "", "title", self.name) or self.name,
            timezone=self.timezone(data),
            display_units=self.choice(data, "", "display_units", ("us", "metric"), "metric"),
            altitude_m=self.take(data, "", "altitude", "length", least=-500.0, most=6000.0) or 0.0,
            pump=self.pump(data.get("pump", {}), signals),
            signals=signals,
            switch=self.optional(data, "switch", self.switch),
            pressure_tank=self.tank(data),
            filter=self.optional(data, "filter", self.filter),
            storages=storages,
            catchment=self.optional(data, "catchment", self.catchment),
        )

    def optional(self, data: dict[str, Any], key: str, read: Callable[[Any], Any]) -> Any:
        return read(data[key]) if key in data else None

    def timezone(self, data: dict[str, Any]) -> str:
        name = data.get("timezone", "UTC")
        try:
            return str(ZoneInfo(name).key)
        except (OSError, ValueError, TypeError, KeyError, AttributeError):
            self.wrong("timezone", name, 'an IANA name such as "America/Boise" is wanted')
            return "UTC"

    def pump(self, data: Any, signals: tuple[Signal, ...]) -> Pump:
        keys = ("rated_power", "rated_flow", "min_run_time", "max_starts_per_hour", "running_above")
        table = self.table(data, "pump", keys)
        return Pump(
            rated_power_w=self.take(table, "pump", "rated_power", "power", above=0.0, most=1e5),
            rated_flow_m3_s=self.take(table, "pump", "rated_flow", "flow", above=0.0, most=0.1),
            min_run_time_s=self.take(table, "pump", "min_run_time", "time", above=0.0, most=3600.0),
            max_starts_per_hour=self.number(table, "pump", "max_starts_per_hour", 0.0, 1000.0),
            running_above=self.running_above(table, signals),
        )

    def running_above(self, table: dict[str, Any], signals: tuple[Signal, ...]) -> float | None:
        """A current or a power: whichever the motor's signal measures."""
        if "running_above" not in table:
            return None
        power = any(signal.measures is Measure.PUMP_POWER for signal in signals)
        current = any(signal.measures is Measure.PUMP_CURRENT for signal in signals)
        return self.take(
            table, "pump", "running_above", "power" if power and not current else "current", above=0.0
        )

    def switch(self, data: Any) -> Switch | None:
        table = self.table(data, "switch", ("cut_in", "cut_out"))
        self.needed(table, "switch", "cut_in", "cut_out")
        cut_in = self.take(table, "switch", "cut_in", "pressure", least=0.0, most=2e6)
        cut_out = self.take(table, "switch", "cut_out", "pressure", above=0.0, most=2e6)
        if cut_in is None or cut_out is None:
            return None
        if cut_in >= cut_out:
            self.wrong(
                "switch.cut_in",
                f'"{table["cut_in"]}"',
                f'it must be below the cut-out, which is "{table["cut_out"]}"',
            )
        return Switch(cut_in, cut_out)

    def tank(self, data: dict[str, Any]) -> PressureTank | None:
        if "pressure_tank" not in data:
            return None
        table = self.table(data["pressure_tank"], "pressure_tank", ("volume", "precharge"))
        self.needed(table, "pressure_tank", "volume", "precharge")
        volume = self.take(table, "pressure_tank", "volume", "volume", above=0.0, most=100.0)
        precharge = self.take(table, "pressure_tank", "precharge", "pressure", least=0.0, most=2e6)
        if volume is None or precharge is None:
            return None
        return PressureTank(volume, precharge)

    def filter(self, data: Any) -> Filter:
        table = self.table(data, "filter", ("position",))
        return Filter(self.choice(table, "filter", "position", ("before_tank", "after_tank"), "before_tank"))

    def storages(self, data: Any) -> tuple[Storage, ...]:
        if not isinstance(data, dict):
            self.wrong("storage", data, "tables are wanted, such as [storage.rain]")
            return ()
        found = [self.storage(name, table) for name, table in data.items()]
        return tuple(one for one in found if one is not None)

    def storage(self, name: str, data: Any) -> Storage | None:
        path = f"storage.{name}"
        table = self.table(data, path, ("volume", "full_level", "outlet_level", "warn_ahead", "strapping"))
        if not isinstance(data, dict):
            return None
        self.needed(table, path, "volume", "full_level")
        volume = self.take(table, path, "volume", "volume", above=0.0, most=1e6)
        full = self.take(table, path, "full_level", "length", above=0.0, most=100.0)
        outlet = self.take(table, path, "outlet_level", "length", least=0.0, most=100.0) or 0.0
        ahead = self.take(table, path, "warn_ahead", "time", above=0.0, most=366 * 86_400.0)
        strapping = self.strapping(table, path)
        if volume is None or full is None:
            return None
        if outlet >= full:
            self.wrong(
                f"{path}.outlet_level",
                f'"{table["outlet_level"]}"',
                f'it must be below the full level, which is "{table["full_level"]}"',
            )
        return Storage(name, volume, full, outlet, 3 * 86_400.0 if ahead is None else ahead, strapping)

    def strapping(self, table: dict[str, Any], path: str) -> tuple[tuple[float, float], ...]:
        pairs = self.pairs(table, path, "strapping", ("length", "volume"))
        if any(b[0] <= a[0] or b[1] < a[1] for a, b in pairwise(pairs)):
            self.wrong(
                f"{path}.strapping", table["strapping"], "levels and volumes must rise from row to row"
            )
        return pairs

    def pairs(
        self, table: dict[str, Any], path: str, key: str, dimensions: tuple[str | None, str | None]
    ) -> tuple[tuple[float, float], ...]:
        """Two columns, two rows or more; a column without dimension is of bare numbers."""
        if key not in table:
            return ()
        where = f"{path}.{key}"
        rows = table[key]
        good = isinstance(rows, list) and all(isinstance(row, list) and len(row) == 2 for row in rows)
        if not good or len(rows) < 2:
            self.wrong(
                where, rows, 'two pairs or more are wanted, such as [[0.5, "0 psi"], [4.5, "100 psi"]]'
            )
            return ()
        found = []
        for number, row in enumerate(rows):
            pair = [
                self.cell(cell, f"{where}[{number}]", dim) for cell, dim in zip(row, dimensions, strict=True)
            ]
            if pair[0] is None or pair[1] is None:
                return ()
            found.append((pair[0], pair[1]))
        return tuple(found)

    def cell(self, value: Any, where: str, dimension: str | None) -> float | None:
        if dimension is not None:
            return self.quantity(value, where, dimension)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.wrong(where, value, "a number as the sensor sends it is wanted")
            return None
        return float(value)

    def catchment(self, data: Any) -> Catchment | None:
        table = self.table(data, "catchment", ("area", "runoff", "first_flush"))
        self.needed(table, "catchment", "area")
        area = self.take(table, "catchment", "area", "area", above=0.0, most=1e6)
        runoff = self.number(table, "catchment", "runoff", 0.0, 1.0)
        flush = self.take(table, "catchment", "first_flush", "volume", least=0.0, most=1000.0)
        return None if area is None else Catchment(area, 0.85 if runoff is None else runoff, flush or 0.0)

    # -- signals -------------------------------------------------------------------------------

    def signals(self, data: Any, storages: tuple[Storage, ...]) -> tuple[Signal, ...]:
        if not isinstance(data, list) or not data:
            self.wrong("signal", data if data else "nothing", "at least one [[signal]] is needed")
            return ()
        found = [self.signal(table, f"signal[{number}]", storages) for number, table in enumerate(data)]
        good = [one for one in found if one is not None]
        self.once(good, lambda one: one.name, "name", "another signal bears that name")
        self.once(
            good,
            lambda one: f"{one.topic} {one.pointer}" if one.pointer is not None else None,
            "topic",
            "another signal reads that topic with the same pointer",
        )
        self.once(
            [one for one in good if one.pointer is None],
            lambda one: one.topic,
            "topic",
            "another signal reads that topic; tell them apart with a pointer",
        )
        return tuple(good)

    def once(
        self, signals: list[Signal], key: Callable[[Signal], str | None], what: str, accepted: str
    ) -> None:
        seen: set[str] = set()
        for number, signal in enumerate(signals):
            value = key(signal)
            if value is None:
                continue
            if value in seen:
                self.wrong(f"signal[{number}].{what}", f'"{value}"', accepted)
            seen.add(value)

    def signal(self, data: Any, path: str, storages: tuple[Storage, ...]) -> Signal | None:
        table = self.table(data, path, _SIGNAL_KEYS)
        if not table:
            return None
        before = len(self.mistakes)
        name = self.word(table, path, "name")
        measures = self.measures(table, path)
        topic = self.topic(table, path)
        if measures is None:
            return None
        unit, raw, factor, offset = self.unit(table, path, measures)
        dimension = DIMENSION[measures]
        calibration = self.pairs(table, path, "calibration", (None, dimension))
        if len({a for a, _ in calibration}) < len(calibration):
            self.wrong(f"{path}.calibration", table["calibration"], "each raw value may stand only once")
        if raw and not calibration and len(self.mistakes) == before:
            self.wrong(
                f"{path}.unit",
                f'"{unit}"',
                f"that is no {dimension}: a {dimension} is wanted ({units.DIMENSIONS[str(dimension)][1]}), "
                "or a calibration that makes one of it",
            )
        every = self.take(table, path, "every", "time", above=0.0, most=7 * 86_400.0)
        valid = self.valid(table, path, dimension)
        of = self.of(table, path, measures, storages)
        pointer = self.pointer(table, path)
        if len(self.mistakes) > before or name is None or topic is None:
            return None
        return Signal(
            name, measures, topic, unit, pointer, calibration, raw, valid, every, of, factor, offset
        )

    def measures(self, table: dict[str, Any], path: str) -> Measure | None:
        value = table.get("measures")
        if value in list(Measure):
            return Measure(value)
        near = difflib.get_close_matches(str(value), list(Measure), n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        self.wrong(
            f"{path}.measures", "nothing" if value is None else value, f"{hint}known: " + ", ".join(Measure)
        )
        return None

    def topic(self, table: dict[str, Any], path: str) -> str | None:
        topic = self.word(table, path, "topic")
        if topic is not None and (set(topic) & set("+#\0") or topic.startswith("$")):
            self.wrong(f"{path}.topic", f'"{topic}"', "one plain topic is wanted, without + or #")
            return None
        return topic

    def pointer(self, table: dict[str, Any], path: str) -> str | None:
        pointer = table.get("pointer")
        if pointer is None:
            return None
        if not isinstance(pointer, str) or (pointer and not pointer.startswith("/")):
            self.wrong(f"{path}.pointer", pointer, 'a JSON Pointer is wanted, such as "/ain/0/value"')
            return None
        return pointer

    def unit(
        self, table: dict[str, Any], path: str, measures: Measure
    ) -> tuple[str | None, bool, float, float]:
        """(unit, raw, factor, offset)."""
        dimension = DIMENSION[measures]
        unit = table.get("unit")
        where = f"{path}.unit"
        if dimension is None:
            if unit not in (None, ""):
                self.wrong(where, f'"{unit}"', "pump_running has no unit: it is 0/1, true/false or on/off")
            return None, False, 1.0, 0.0
        wanted = f"a unit of {dimension} is wanted ({units.DIMENSIONS[dimension][1]})"
        if not isinstance(unit, str):
            self.wrong(where, "nothing" if unit is None else unit, wanted)
            return None, False, 1.0, 0.0
        try:
            factor, offset = units.conversion(unit, dimension)
        except units.WrongDimension:
            return unit, True, 1.0, 0.0
        except units.UnknownUnit:
            self.wrong(where, f'"{unit}"', f"that unit is not known: {wanted}")
            return unit, False, 1.0, 0.0
        return unit, False, factor, offset

    def valid(self, table: dict[str, Any], path: str, dimension: str | None) -> tuple[float, float] | None:
        if "valid" not in table:
            return None
        rows = table["valid"]
        if not isinstance(rows, list) or len(rows) != 2:
            self.wrong(
                f"{path}.valid", rows, 'a lowest and a highest are wanted, such as ["0 psi", "100 psi"]'
            )
            return None
        low, high = (self.cell(value, f"{path}.valid", dimension) for value in rows)
        if low is None or high is None:
            return None
        if low >= high:
            self.wrong(f"{path}.valid", rows, "the first must be the lower")
        return low, high

    def of(
        self, table: dict[str, Any], path: str, measures: Measure, storages: tuple[Storage, ...]
    ) -> str | None:
        """Which storage a level belongs to; the sole one need not be named."""
        names = [storage.name for storage in storages]
        of = table.get("of")
        known = "known: " + (", ".join(names) or "none; add a [storage.NAME] table")
        if measures is not Measure.STORAGE_LEVEL:
            if of is not None:
                self.wrong(f"{path}.of", of, "only a storage_level belongs to a storage")
            return None
        if of is None:
            if len(names) > 1:
                self.wrong(f"{path}.of", "nothing", f"it is needed where there are several storages; {known}")
            return names[0] if names else None
        if of not in names:
            self.wrong(f"{path}.of", of, known)
        return str(of)


_KEYS = (
    "version",
    "title",
    "display_units",
    "timezone",
    "altitude",
    "pump",
    "switch",
    "pressure_tank",
    "filter",
    "storage",
    "catchment",
    "signal",
)
_SIGNAL_KEYS = ("name", "measures", "topic", "unit", "pointer", "calibration", "valid", "every", "of")
_EXAMPLE = {
    "pressure": "30 psi",
    "volume": "44 gal",
    "flow": "9 gpm",
    "length": "7 ft",
    "area": "1800 ft^2",
    "time": "60 s",
    "power": "0.75 hp",
    "current": "1.0 A",
    "temperature": "3 degC",
    "conductivity": "1.2 dS/m",
}
