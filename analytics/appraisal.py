"""A plant by its file alone: what was understood, what follows from it, what its sensors can show.

Rows of label and words, in the owner's units, for `holdwater check` and the Set-up page. The
figures are those that the detectors start from before anything is learned.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from analytics.faults import FAULTS, coverage
from analytics.garden.understood import follows, read_back
from analytics.outlooks.promised import promised
from analytics.physics import hydraulics
from analytics.physics.roof import caught_m3
from analytics.plant.description import SI_UNIT, Measure, Plant, Signal
from analytics.plant.dimensions import Dimension
from analytics.plant.shown import number, shown
from analytics.seeing.motor import learns_level, motor_signal, running_level

if TYPE_CHECKING:
    from analytics.plant.description import PressureTank, Storage, Switch

#: Air charge below cut-in with the water drained: common practice, no source.
_CHARGE_BELOW_CUT_IN_PA = 13_789.5  # 2 psi
_RIGHT_WITHIN_PA = 10_342.1  # 1.5 psi: a tyre gauge and a night's cooling
#: Of the lift that the atmosphere allows, what pumps manage: common practice, no source.
_LIFT_IN_PRACTICE = 2 / 3


class Row(NamedTuple):
    """One thing, and what there is to say of it."""

    label: str
    words: str


def understood(plant: Plant) -> list[Row]:
    """The plant's parts as they were read."""
    rows = [
        Row("site", f"{plant.timezone}, {_show(plant, plant.altitude_m, Dimension.LENGTH)} above the sea")
    ]
    if pump := _pump(plant):
        rows.append(Row("pump", pump))
    if plant.switch:
        low, high = (
            _show(plant, pa, Dimension.PRESSURE) for pa in (plant.switch.cut_in_pa, plant.switch.cut_out_pa)
        )
        rows.append(Row("pressure switch", f"starts the pump at {low}, stops it at {high}"))
    if tank := plant.pressure_tank:
        volume, charge = _volume(plant, tank.volume_m3), _show(plant, tank.precharge_pa, Dimension.PRESSURE)
        rows.append(Row("pressure tank", f"{volume} of air and water; air charge {charge}"))
    if plant.filter:
        rows.append(Row("filter", plant.filter.position.replace("_", " the ")))
    rows += [_storage(plant, storage) for storage in plant.storages]
    if roof := plant.catchment:
        flush = f"; first {_volume(plant, roof.first_flush_m3)} let go" if roof.first_flush_m3 else ""
        area = _show(plant, roof.area_m2, Dimension.AREA)
        rows.append(Row("catchment", f"{area}, {number(100 * roof.runoff)} % runs off{flush}"))
    return rows + [Row(*pair) for pair in read_back(plant)]


def _pump(plant: Plant) -> str:
    pump, said = plant.pump, []
    if pump.rated_power_w:
        said.append(_show(plant, pump.rated_power_w, Dimension.POWER))
    if pump.rated_flow_m3_s:
        said.append(f"{_show(plant, pump.rated_flow_m3_s, Dimension.FLOW)} at cut-in when new")
    if pump.min_run_time_s:
        said.append(f"no run shorter than {number(pump.min_run_time_s)} s")
    if pump.max_starts_per_hour:
        said.append(f"at most {number(pump.max_starts_per_hour)} starts an hour")
    motor = motor_signal(plant)
    if motor is not None and plant.signals[motor].measures is not Measure.PUMP_RUNNING:
        kind = Dimension.CURRENT if plant.signals[motor].measures is Measure.PUMP_CURRENT else Dimension.POWER
        limit = shown(running_level(plant, motor), kind, "metric")  # motors are read in A and W everywhere
        learned = " at first, then above what its runs show" if learns_level(plant, motor) else ""
        said.append(f"running above {limit}{learned}")
    return ", ".join(said)


def _storage(plant: Plant, storage: Storage) -> Row:
    full, outlet, ahead = (
        _show(plant, storage.full_level_m, Dimension.LENGTH),
        _show(plant, storage.outlet_level_m, Dimension.LENGTH),
        shown(storage.warn_ahead_s, Dimension.TIME, plant.display_units),
    )
    table = f"; level table of {len(storage.strapping)} rows" if storage.strapping else ""
    words = f"{_volume(plant, storage.volume_m3)} at the overflow, {full}; outlet at {outlet}{table}"
    return Row(f"storage {storage.name}", f"{words}; warns {ahead} before it is empty")


def signals(plant: Plant) -> list[Row]:
    """Each signal: what it measures, in which unit, from where."""
    return [Row(signal.name, _signal(signal)) for signal in plant.signals]


def _signal(signal: Signal) -> str:
    said = signal.measures.value.replace("_", " ")
    if signal.of:
        said += f" of {signal.of}"
    said += f" [{signal.unit}]" if signal.unit else " [raw counts]" if signal.raw else " [on or off]"
    if signal.calibration:
        said += f", calibrated by {len(signal.calibration)} points"
    said += f", from {signal.topic}"
    if signal.pointer:
        said += f" at {signal.pointer}"
    if signal.record:
        said += f", record {signal.record}"
    if signal.every_s:
        said += f", every {shown(signal.every_s, Dimension.TIME, 'metric')}"
    return said


def figures(plant: Plant) -> list[Row]:
    """What follows from the file: tank and pump, cycle, atmosphere, storage and rain."""
    pa = float(hydraulics.atmosphere_pa_abs(plant.altitude_m))
    rows: list[Row] = []
    if plant.switch and plant.pressure_tank:
        rows += _tank_figures(plant, plant.switch, plant.pressure_tank, pa)
    lift = float(hydraulics.suction_head_available_m(pa))
    rows.append(
        Row(
            "atmosphere",
            f"{_show(plant, pa, Dimension.PRESSURE, 3)}; it can lift water "
            f"{_show(plant, lift, Dimension.LENGTH, 2)} at the very most, "
            f"{_show(plant, _LIFT_IN_PRACTICE * lift, Dimension.LENGTH, 2)} in practice",
        )
    )
    for storage in plant.storages:
        rows += _storage_figures(plant, storage)
    return rows + [Row(*pair) for pair in follows(plant)]


def _tank_figures(plant: Plant, switch: Switch, tank: PressureTank, pa: float) -> list[Row]:
    drawdown = float(
        hydraulics.drawdown_m3(switch.cut_in_pa, switch.cut_out_pa, tank.volume_m3, tank.precharge_pa, pa)
    )
    share = number(100 * drawdown / tank.volume_m3, 3)
    rows = [
        Row("drawdown", f"{_volume(plant, drawdown, 3)} between cut-out and cut-in, {share} % of the tank"),
        Row("air charge", _charge(plant, switch, tank, pa, drawdown)),
    ]
    flow = plant.pump.rated_flow_m3_s
    if not flow:
        return [
            *rows,
            Row("run time", "not known before the pump's rated_flow is, or its first runs are seen"),
        ]
    run_s = float(hydraulics.run_time_s(drawdown, flow))
    fastest_s = float(hydraulics.fastest_cycle_s(drawdown, flow))
    return [
        *rows,
        Row(
            "delivery",
            f"{_show(plant, flow, Dimension.FLOW, 3)} at cut-in; less at cut-out, to be learned",
        ),
        Row(
            "run time",
            f"{number(run_s, 2)} s or a little more with nothing drawing{_against_run(plant, run_s)}",
        ),
        Row(
            "fastest cycle",
            f"{shown(fastest_s, Dimension.TIME, plant.display_units, 2)} from start to start, when half the "
            "delivery is drawn: "
            f"{number(3600 / fastest_s, 2)} starts an hour{_against_starts(plant, 3600 / fastest_s)}",
        ),
    ]


def _against_run(plant: Plant, run_s: float) -> str:
    least = plant.pump.min_run_time_s
    if not least:
        return ""
    if run_s < least:
        return f". That is under the {number(least)} s that the motor wants: the tank is small for this pump"
    return f", above the {number(least)} s that the motor wants"


def _against_starts(plant: Plant, starts: float) -> str:
    most = plant.pump.max_starts_per_hour
    if not most:
        return ""
    if starts > most:
        return f". That is over the {number(most)} that the motor stands: the tank is small for this pump"
    return f", within the {number(most)} that the motor stands"


def _charge(plant: Plant, switch: Switch, tank: PressureTank, pa: float, drawdown: float) -> str:
    """What the charge would best be, and what it costs where it is not."""
    best = switch.cut_in_pa - _CHARGE_BELOW_CUT_IN_PA
    now, wanted = (_show(plant, level, Dimension.PRESSURE) for level in (tank.precharge_pa, best))
    if abs(tank.precharge_pa - best) <= _RIGHT_WITHIN_PA:
        return f"{now}, right for this cut-in"
    if tank.precharge_pa > switch.cut_in_pa:
        return f"{now} is above cut-in: the tank is empty before the pump starts. Set it to {wanted}"
    if tank.precharge_pa > best:
        return f"{now} is close under cut-in: taps may falter before a start. {wanted} is usual"
    full = float(hydraulics.drawdown_m3(switch.cut_in_pa, switch.cut_out_pa, tank.volume_m3, best, pa))
    more = number(100 * (full / drawdown - 1), 2)
    return (
        f"{now}; at {wanted} (2 psi, 0.14 bar, below cut-in) the tank would hold {more} % more between starts"
    )


def _storage_figures(plant: Plant, storage: Storage) -> list[Row]:
    full, outlet = storage.volume_at([storage.full_level_m, storage.outlet_level_m]).tolist()
    usable = full - outlet
    words = f"{_volume(plant, usable, 3)} above the outlet"
    if flow := plant.pump.rated_flow_m3_s:
        words += f", {shown(usable / flow, Dimension.TIME, plant.display_units, 2)} of pumping"
    rows = [Row(f"storage {storage.name}", words)]
    if (roof := plant.catchment) and len(plant.storages) == 1:
        depth, said = (0.0254, "1 in") if plant.display_units == "us" else (0.010, "10 mm")
        gain = float(caught_m3(depth, roof.area_m2, roof.runoff, roof.first_flush_m3))
        rows.append(
            Row(
                "rain",
                f"{said} adds {_volume(plant, gain, 3)}, {number(100 * gain / usable, 2)} % of what it holds",
            )
        )
    return rows


def shows(plant: Plant) -> list[tuple[bool, Row]]:
    """Fault by fault, whether the fitted sensors can show it, and in which way."""
    found = coverage(plant)
    return [(found[fault].can, Row(fault, found[fault].sentence)) for fault in FAULTS]


def foretells(plant: Plant) -> list[Row]:
    """Each forecast: by what it is told, or what it wants."""
    return [Row(*pair) for pair in promised(plant)]


def one_more_sensor(plant: Plant) -> list[Row]:
    """What each measure that is not fitted would add: faults shown at last, or told more surely."""
    now = coverage(plant)
    rows = []
    for measure in Measure:
        if plant.measuring(measure):
            continue
        then = coverage(_with(plant, measure))
        new = [fault for fault in FAULTS if then[fault].can and not now[fault].can]
        surer = [
            fault for fault in FAULTS if now[fault].can and then[fault].can and then[fault] != now[fault]
        ]
        said = [f"shows {', '.join(new)}"] if new else []
        said += [f"tells more of {', '.join(surer)}"] if surer else []
        if said:
            rows.append(Row(measure.value, "; ".join(said)))
    return rows


def _with(plant: Plant, measure: Measure) -> Plant:
    """The plant with one more signal."""
    of = plant.storages[0].name if plant.storages and measure is Measure.STORAGE_LEVEL else None
    signal = Signal("one more", measure, "-", SI_UNIT[measure], of=of)
    return replace(plant, signals=(*plant.signals, signal))


def _show(plant: Plant, si: float, dimension: Dimension, digits: int = 5) -> str:
    return shown(si, dimension, plant.display_units, digits)


def _volume(plant: Plant, m3: float, digits: int = 5) -> str:
    return _show(plant, m3, Dimension.VOLUME, digits)
