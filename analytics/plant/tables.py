"""The plant file as tables of keys: the one place where a key or a table is added.

Each key names its place in the file, its field in `description`, and its reader. What two keys of
one table must agree on is the table's `check`; what tables must agree on is in `consistency`.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from analytics.plant.description import Catchment, Filter, PressureTank, Pump, Storage, Switch
from analytics.plant.dimensions import Dimension
from analytics.plant.fields import choice, did_you_mean, number, quantity_of, rows_of, text
from analytics.plant.garden_tables import GARDEN_TABLES
from analytics.plant.mistakes import Mistakes, Path
from analytics.plant.table import Fields, Key, Table
from analytics.plant.zones import timezone


def read_keys(keys: tuple[Key, ...], value: Fields, path: Path, mistakes: Mistakes) -> Fields:
    """The fields that could be read; what is unknown, wrong or absent is said."""
    known = {key.name: key for key in keys}
    for name, inner in value.items():
        if name not in known:
            mistakes.add((*path, name), _unknown(name, list(known)), accepted=", ".join(known))
        elif isinstance(inner, dict):
            mistakes.add((*path, name), "a table where a value is wanted")
    for key in keys:
        if key.required and key.name not in value:
            mistakes.add((*path, key.name), "missing; it is required")
    return {
        known[name].field: found
        for name, inner in value.items()
        if name in known and not isinstance(inner, dict)
        if (found := known[name].read(inner, (*path, name), mistakes)) is not None
    }


def _unknown(name: str, known: list[str]) -> str:
    if near := did_you_mean(name, known):
        return f"unknown key{near}"
    homes = [table.name for table in TABLES if name in (key.name for key in table.keys)]
    return f"unknown key here; it belongs in [{homes[0]}]" if homes else "unknown key"


def _check_switch(switch: Fields, written: Fields, path: Path, mistakes: Mistakes) -> None:
    if {"cut_in_pa", "cut_out_pa"} <= switch.keys() and switch["cut_in_pa"] >= switch["cut_out_pa"]:
        told = "the pump starts at cut_in and stops at cut_out, so cut_in is the lower"
        accepted = f"a pressure below cut_out, {written['cut_out']}"
        mistakes.add((*path, "cut_in"), told, value=written["cut_in"], accepted=accepted)


def _check_storage(storage: Fields, written: Fields, path: Path, mistakes: Mistakes) -> None:
    if storage.get("outlet_level_m", 0.0) >= storage.get("full_level_m", float("inf")):
        accepted = f"a level above outlet_level, {written.get('outlet_level', '0')}"
        told = "the overflow is above the outlet"
        mistakes.add((*path, "full_level"), told, value=written["full_level"], accepted=accepted)
    rows = storage.get("strapping", ())
    if any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(rows)):
        told = "level and volume both rise from each row to the next"
        mistakes.add((*path, "strapping"), told, value=written["strapping"])


PRESSURE = quantity_of(Dimension.PRESSURE, least=0)
SIZE = quantity_of(Dimension.VOLUME, above=0)

TABLES: tuple[Table, ...] = (
    Table(
        "pump",
        "pump",
        Pump,
        (
            Key("rated_power", "rated_power_w", quantity_of(Dimension.POWER, above=0)),
            Key("rated_flow", "rated_flow_m3_s", quantity_of(Dimension.FLOW, above=0)),
            Key("min_run_time", "min_run_time_s", quantity_of(Dimension.TIME, above=0)),
            Key(
                "max_starts_per_hour", "max_starts_per_hour", number("a number above 0, such as 20", above=0)
            ),
            # Which of the two it is follows from the unit: `consistency` looks at it again.
            Key("running_above", "running_above", quantity_of(Dimension.CURRENT, Dimension.POWER, above=0)),
        ),
    ),
    Table(
        "switch",
        "switch",
        Switch,
        (
            Key("cut_in", "cut_in_pa", PRESSURE, required=True),
            Key("cut_out", "cut_out_pa", PRESSURE, required=True),
        ),
        check=_check_switch,
    ),
    Table(
        "pressure_tank",
        "pressure_tank",
        PressureTank,
        (
            Key("volume", "volume_m3", SIZE, required=True),
            Key("precharge", "precharge_pa", PRESSURE, required=True),
        ),
    ),
    Table("filter", "filter", Filter, (Key("position", "position", choice("before_tank", "after_tank")),)),
    Table(
        "storage",
        "storages",
        Storage,
        (
            Key("volume", "volume_m3", SIZE, required=True),
            Key("full_level", "full_level_m", quantity_of(Dimension.LENGTH, above=0), required=True),
            Key("outlet_level", "outlet_level_m", quantity_of(Dimension.LENGTH, least=0)),
            Key("warn_ahead", "warn_ahead_s", quantity_of(Dimension.TIME, above=0)),
            Key(
                "strapping",
                "strapping",
                rows_of(
                    quantity_of(Dimension.LENGTH, least=0),
                    quantity_of(Dimension.VOLUME, least=0),
                    'rows of level and volume, such as [["0 in", "0 gal"], ["84 in", "3000 gal"]]',
                ),
            ),
        ),
        named=True,
        check=_check_storage,
    ),
    Table(
        "catchment",
        "catchment",
        Catchment,
        (
            Key("area", "area_m2", quantity_of(Dimension.AREA, above=0), required=True),
            Key("runoff", "runoff", number("a share above 0 and up to 1, such as 0.85", above=0, most=1)),
            Key("first_flush", "first_flush_m3", quantity_of(Dimension.VOLUME, least=0)),
        ),
    ),
    *GARDEN_TABLES,
)

#: Keys that stand before any table. `version` is looked at first, by the parser itself.
TOP: tuple[Key, ...] = (
    Key("title", "title", text()),
    Key("display_units", "display_units", choice("us", "metric")),
    Key("timezone", "timezone", timezone, required=True),
    # From the shore of the Dead Sea to the highest dwellings, with room to spare.
    Key("altitude", "altitude_m", quantity_of(Dimension.LENGTH, least=-500, most=9000)),
)

DEFAULTS: dict[str, Any] = {
    "display_units": "metric",
    "altitude_m": 0.0,
    "pump": Pump(),
    "storages": (),
    "sources": (),
}
