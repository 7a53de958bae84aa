"""Scenario files: TOML that an owner can write, quantities with units, every mistake told at once.

version = 1
title = "A filter that clogs in a week"
about = "Two guests, a dry spell, and sediment."
days = 14
season = "06-05"              # month and day it plays in; "actual" for the date's own season
storage_at_start = 0.8        # share of the storage's volume

[life]
people = 2
[[guests]]                    # also [[away]] (nobody home) and [[forgotten_hose]] (flow = "3 gpm")
from = "4 days"
until = "6 days"
people = 3

[hand_watering]
per_day = 0.6
length = "8 min"
flow = "4 gpm"
[[programme]]                 # any [[programme]] replaces the usual ones; programmes = [] for none
name = "beds"
kind = "drip"                 # "drip": regulated emitters; "spray": plain nozzles
start = "05:30"
zones = 2
zone_length = "20 min"
flow = "2 gpm"
every_days = 1
months = [4, 10]

[weather]                     # mean, season_swing_c, day_swing_c, rain_day_chance, rain_day, dry, ...
dry = true
[hardware]                    # pump, pipes, motor: the names in HARDWARE below
garden_height = "12 ft"

[[sensor]]
signal = "pressure"
noise = "0.3 psi"             # also step, every, jitter, deadband, look, drop, repeat, late, late_by
drop = 0.01

[[fault]]
fault = "clogged_filter"      # any fault and cause of the findings
severity = 0.8                # 0 nothing .. 1 as bad as it gets
from = "5 days"
until = "12 days"             # repaired then; leave out: never
onset = "ramp"                # "sudden" | "ramp" | "intermittent"
over = "4 days"               # ramp: until it is that bad; intermittent: present = "1 h", absent = "3 h"
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from analytics.plant.dimensions import OF_MEASURE, Dimension
from simulator.demand.garden import Hose, Programme
from simulator.onset import FaultPlan
from simulator.scenario import Scenario, Spell
from simulator.sensing.sensors import SensorChange
from simulator.table import Table
from simulator.weather.climate import Climate
from simulator.works import faults
from simulator.works.hardware import Sizes

if TYPE_CHECKING:
    from analytics.plant.description import Plant

_Plain = TypeVar("_Plain", Climate, Sizes)
_P, _F, _L, _T, _C = (
    Dimension.PRESSURE,
    Dimension.FLOW,
    Dimension.LENGTH,
    Dimension.TIME,
    Dimension.CONDUCTIVITY,
)
#: [hardware] names an owner may set: (the field of `Sizes`, its dimension or None for a plain number).
HARDWARE: dict[str, tuple[str, Dimension | None]] = {
    "rated_flow": ("rated_flow_m3_s", _F),
    "shut_off_over_cut_out": ("shut_off_over_cut_out", None),
    "pump_efficiency": ("pump_efficiency", None),
    "voltage": ("voltage_v", None),
    "inlet_lift": ("inlet_lift_m", _L),
    "well_lift": ("well_lift_m", _L),
    "needed_suction": ("needed_suction_m", _L),
    "suction_length": ("suction_length_m", _L),
    "filter_clean_loss": ("filter_clean_pa", _P),
    "line_length": ("line_length_m", _L),
    "house_height": ("house_height_m", _L),
    "garden_height": ("garden_height_m", _L),
    "relief_over_cut_out": ("relief_over_cut_out", None),
    "air_cooling": ("cooling_s", _T),
    "switch_scatter": ("scatter_pa", _P),
    "well_conductivity": ("well_s_m", _C),
    "rain_conductivity": ("rain_s_m", _C),
    "well_share": ("well_share", None),
    "pipe_smoothness": ("roughness_c", None),
}
_CLIMATE: dict[str, tuple[str, Dimension | None]] = {
    "mean": ("mean_c", Dimension.TEMPERATURE),
    "season_swing_c": ("season_c", None),
    "day_swing_c": ("day_c", None),
    "spread_c": ("spread_c", None),
    "rain_day_chance": ("rain_day_chance", None),
    "rain_after_rain": ("rain_after_rain", None),
    "rain_day": ("rain_day_m", _L),
    "latitude": ("latitude_deg", None),
}
_SENSOR_SHARES = {"drop": "drop_share", "repeat": "repeat_share", "late": "late_share"}
_SENSOR_TIMES = {"every": "every_s", "jitter": "jitter_s", "look": "look_s", "late_by": "late_s"}
_SENSOR_VALUES = ("noise", "step", "deadband")
_ONSETS = ("sudden", "ramp", "intermittent")
_ALLOWED = (
    *("version", "title", "about", "days", "season", "storage_at_start", "open_storage", "life"),
    *("guests", "away", "forgotten_hose", "hand_watering", "programme", "programmes"),
    *("weather", "hardware", "sensor", "fault"),
)


class ScenarioErrors(ValueError):
    """Everything that is wrong with a scenario, for its author. `mistakes`: one sentence each."""

    def __init__(self, name: str, mistakes: list[str]) -> None:
        super().__init__("\n".join(f"{name}: {mistake}" for mistake in mistakes))
        self.mistakes = mistakes


def parse_scenario(text: str, name: str, plant: Plant) -> Scenario:
    """The scenario in a TOML text, for one plant. ScenarioErrors names every mistake.

    A scenario that needs what the plant lacks (a storage, a filter, a signal) is a mistake too.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioErrors(name, [f"not TOML: {error}"]) from error
    mistakes: list[str] = []
    scenario = _scenario(Table(data, "", mistakes), name, plant)
    if mistakes:
        raise ScenarioErrors(name, mistakes)
    return scenario


def _scenario(top: Table, name: str, plant: Plant) -> Scenario:
    top.only(*_ALLOWED)
    if top.number("version", 1.0) != 1.0:
        top.wrong("version", "this program reads version 1")
    plain = Scenario(name, name)
    weather, hand = top.table("weather"), top.table("hand_watering")
    weather.only("dry", *_CLIMATE)
    hand.only("per_day", "length", "flow")
    life = top.table("life")
    life.only("people")
    hose = Hose()
    return Scenario(
        name=name,
        title=top.word("title", name),
        about=top.word("about", ""),
        days=top.number("days", plain.days, least=0.01),
        as_if=_season(top),
        people=life.number("people", plain.people, least=0.0),
        guests=tuple(_spell(one, "people", None) for one in top.tables("guests")),
        away=tuple(_spell(one, None, None) for one in top.tables("away")),
        forgotten=tuple(_spell(one, "flow", _F) for one in top.tables("forgotten_hose")),
        hose=Hose(
            hand.number("per_day", hose.per_day, least=0.0),
            hand.quantity("length", _T, hose.median_s),
            hand.quantity("flow", _F, hose.flow_m3_s),
        ),
        programmes=_programmes(top, plain.programmes),
        climate=_set(Climate(), weather, _CLIMATE),
        dry=weather.yes("dry", False),
        sizes=_sizes(top),
        storage_share=top.number("storage_at_start", plain.storage_share, least=0.0, most=1.0),
        sensors=tuple(_sensor(one, plant) for one in top.tables("sensor")),
        faults=tuple(_fault(one, plant) for one in top.tables("fault")),
    )


def _season(top: Table) -> tuple[int, int] | None:
    text = top.word("season", "06-05")
    if text == "actual":
        return None
    match = re.fullmatch(r"(\d\d)-(\d\d)", text)
    if not match or not (1 <= int(match[1]) <= 12 and 1 <= int(match[2]) <= 28):
        top.wrong("season", 'expected a month and day up to 28 such as "06-05", or "actual"')
        return None
    return int(match[1]), int(match[2])


def _spell(table: Table, amount: str | None, dimension: Dimension | None) -> Spell:
    table.only("from", "until", *([amount] if amount else []))
    table.needs("from", "until")
    much = 0.0
    if amount:
        much = table.quantity(amount, dimension, 0.0) if dimension else table.number(amount, 1.0, least=0.0)
    return Spell(table.quantity("from", _T, 0.0), table.quantity("until", _T, 0.0), much)


def _programmes(top: Table, usual: tuple[Programme, ...]) -> tuple[Programme, ...]:
    if top.data.get("programmes") == []:
        return ()
    written = top.tables("programme")
    return tuple(_programme(one) for one in written) if written else usual


def _programme(table: Table) -> Programme:
    table.only("name", "kind", "start", "zones", "zone_length", "flow", "every_days", "months")
    start = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", table.word("start", "05:30"))
    if start is None:
        table.wrong("start", 'expected a time of day such as "05:30"')
    months = table.data.get("months", [1, 12])
    if not (isinstance(months, list) and len(months) == 2 and all(m in range(1, 13) for m in months)):
        table.wrong("months", "expected the first and the last month, such as [4, 10]")
        months = [1, 12]
    return Programme(
        name=table.word("name", "programme"),
        kind=table.choice("kind", ("drip", "spray"), "drip"),
        start_h=int(start[1]) + int(start[2]) / 60 if start else 0.0,
        zones=int(table.number("zones", 1, least=1)),
        zone_s=table.quantity("zone_length", _T, 900.0),
        flow_m3_s=table.quantity("flow", _F, 0.0),
        every_days=int(table.number("every_days", 1, least=1)),
        first_month=months[0],
        last_month=months[1],
    )


def _sizes(top: Table) -> Sizes:
    table = top.table("hardware")
    table.only(*HARDWARE)
    sizes = _set(Sizes(), table, HARDWARE)
    return replace(sizes, storage_open=top.yes("open_storage", False))


def _set(plain: _Plain, table: Table, names: dict[str, tuple[str, Dimension | None]]) -> _Plain:
    changes: dict[str, Any] = {}
    for name, (attribute, dimension) in names.items():
        if name in table.data:
            usual = getattr(plain, attribute)
            changes[attribute] = (
                table.quantity(name, dimension, usual) if dimension else table.number(name, usual)
            )
    return replace(plain, **changes)


def _sensor(table: Table, plant: Plant) -> SensorChange:
    table.only("signal", *_SENSOR_SHARES, *_SENSOR_TIMES, *_SENSOR_VALUES)
    signal = _signal(table, plant)
    changes = {
        to: table.number(key, 0.0, 0.0, 1.0) for key, to in _SENSOR_SHARES.items() if key in table.data
    }
    changes |= {to: table.quantity(key, _T, 1.0) for key, to in _SENSOR_TIMES.items() if key in table.data}
    if signal in (None, ""):
        return SensorChange("", {})
    measured = plant.signals[plant.index(signal)].measures
    dimension = OF_MEASURE[measured]
    for key in _SENSOR_VALUES:
        if key in table.data and dimension is not None:
            changes[key] = table.difference(key, dimension)
    return SensorChange(signal, changes)


def _signal(table: Table, plant: Plant) -> str:
    known = [signal.name for signal in plant.signals]
    name = table.word("signal", "")
    if name not in known:
        table.wrong("signal", "expected one of the plant's signals: " + ", ".join(known))
        return ""
    return name


def _fault(table: Table, plant: Plant) -> FaultPlan:
    table.only("fault", "cause", "severity", "from", "until", "onset", "over", "present", "absent", "signal")
    fault = table.choice("fault", tuple(dict.fromkeys(m.fault for m in faults.MECHANISMS)), None)
    causes = tuple(m.cause for m in faults.MECHANISMS if m.fault == fault and m.cause)
    cause = table.choice("cause", causes, None) if "cause" in table.data else None
    if fault:
        for lack in faults.lacking(faults.mechanism(fault, cause), plant):
            table.wrong("fault", f"{fault} needs a {lack}, and the plant file describes none")
    needs_signal = fault == "sensor_fault"
    return FaultPlan(
        fault=fault or "",
        cause=cause,
        severity=table.number("severity", 0.8, 0.0, 1.0),
        from_s=table.quantity("from", _T, 0.0),
        until_s=table.quantity("until", _T, 0.0) if "until" in table.data else None,
        onset=table.choice("onset", _ONSETS, "sudden"),
        over_s=table.quantity("over", _T, 86_400.0),
        on_s=table.quantity("present", _T, 3_600.0),
        off_s=table.quantity("absent", _T, 10_800.0),
        signal=_signal(table, plant) if needs_signal else None,
    )
