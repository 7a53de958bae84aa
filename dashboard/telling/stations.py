"""Rows to words, station by station: what each part of the plant says of itself right now.

Pure: the same facts give the same words. A station knows one figure, one sentence, how full its
vessel is drawn, one small trace, and what unfolds beneath it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from analytics.plant.description import MOTOR_MEASURES, Measure
from dashboard.drawing import traces
from dashboard.telling import display
from dashboard.telling.expected import tank_fill

if TYPE_CHECKING:
    from analytics.plant.description import Storage
    from dashboard.telling.facts import Facts, Reading

Symbol = Literal["storage", "pump", "filter", "tank", "line"]
DAY_US = 86_400_000_000
#: A motor that draws less than a tenth of its usual current is at rest: standby electronics.
REST_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Figure:
    text: str
    unit: str = ""
    note: str = ""
    stale: str = ""  # how old, where too old to be taken for now


@dataclass(frozen=True, slots=True)
class Station:
    """One band of the column. `of` tells storages apart; `fill` 0 to 1 is how full the vessel is drawn."""

    symbol: Symbol
    name: str
    figure: Figure
    sentence: str
    of: str | None = None
    fill: float | None = None
    seen: bool = True
    trace: traces.Small | None = None
    more: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        return f"{self.symbol}-{self.of}" if self.of else self.symbol


def stations(facts: Facts) -> tuple[Station, ...]:
    """The whole column, downhill."""
    plant = facts.plant
    stores = tuple(_storage(facts, storage) for storage in plant.storages) or (_no_storage(),)
    middle = (_filter(facts),) if plant.filter else ()
    before = plant.filter is None or plant.filter.position == "before_tank"
    tank = (_tank(facts),)
    return (*stores, _pump(facts), *((*middle, *tank) if before else (*tank, *middle)), _line(facts))


def running(facts: Facts) -> bool | None:
    """Whether the motor runs now; None where nothing fresh says so."""
    signal = facts.signal(*MOTOR_MEASURES)
    reading = facts.reading(signal)
    if signal is None or reading is None or not facts.fresh(signal):
        return None
    if signal.measures is Measure.PUMP_RUNNING:
        return reading.value > 0.5
    usual = facts.median("motor_level")
    level = facts.plant.pump.running_above or (REST_SHARE * usual if usual else None)
    return None if level is None else reading.value > level


def _stale(facts: Facts, reading: Reading | None, fresh: bool) -> str:
    return "" if fresh or reading is None else display.ago(facts.age_s(reading))


def _no_storage() -> Station:
    return Station("storage", "Storage", Figure("not seen"), "No storage in the plant file.", seen=False)


def _storage(facts: Facts, storage: Storage) -> Station:
    units = facts.plant.display_units
    name = "Storage" if len(facts.plant.storages) == 1 else f"Storage: {storage.name}"
    signal = facts.signal(Measure.STORAGE_LEVEL, of=storage.name)
    if signal is None:
        sentence = "No level sensor, so how long it lasts cannot be told."
        return Station("storage", name, Figure("not seen"), sentence, storage.name, seen=False)
    reading = facts.reading(signal)
    if reading is None or not np.isfinite(reading.value):
        return Station(
            "storage", name, Figure("unknown"), "The level sensor has not spoken yet.", storage.name
        )
    held = float(storage.volume_at(reading.value))
    quantity = display.volume(held, units)
    of_all = display.volume(storage.volume_m3, units)
    days = facts.outlook("days_to_empty", storage.name)
    outlet = float(storage.volume_at(storage.outlet_level_m))
    more = [
        ("Level", str(display.show(reading.value, "level", units))),
        ("Outlet draws air below", str(display.show(storage.outlet_level_m, "level", units))),
        ("Water above the outlet", str(display.volume(max(0.0, held - outlet), units))),
    ]
    rain = facts.signal(Measure.RAINFALL)
    if rain is None:
        more.append(("Rain", "no gauge fitted"))
    return Station(
        "storage",
        name,
        Figure(
            quantity.text, quantity.unit, f"of {of_all.text}", _stale(facts, reading, facts.fresh(signal))
        ),
        _lasts(days.p10, days.p50, days.p90) if days else "How long it lasts is not known yet.",
        storage.name,
        min(1.0, max(0.0, held / storage.volume_m3)),
        trace=facts.kept(f"storage {storage.name}", lambda: traces.storage(facts, storage, days)),
        more=tuple(more),
    )


def _lasts(p10: float | None, p50: float | None, p90: float | None) -> str:
    if p50 is None:
        return "How long it lasts is not known yet."
    if p50 <= 0:
        return "At its outlet: nothing left to pump."
    if p50 > 90:
        return "More than three months at the present use."
    count = "Less than a day" if p50 < 1 else f"About {p50:.0f} day{'s' if round(p50) != 1 else ''}"
    band = ""
    if p10 is not None and p90 is not None and round(p90) > round(p10):
        band = f", likely {p10:.0f} to {p90:.0f}"
    return f"{count} at the present use{band}."


def _pump(facts: Facts) -> Station:
    signal = facts.signal(*MOTOR_MEASURES)
    if signal is None:
        return Station(
            "pump", "Pump", Figure("not seen"), "Nothing fitted tells whether the motor runs.", seen=False
        )
    units = facts.plant.display_units
    runs = running(facts)
    reading = facts.reading(signal)
    kind = display.KIND[signal.measures]
    last = facts.cycles[-1] if facts.cycles else None
    if reading is None:
        figure = Figure("unknown")
    elif runs is None:
        figure = Figure("unknown", stale=_stale(facts, reading, facts.fresh(signal)))
    elif runs:
        drawing = "" if kind == "plain" else f"at {display.show(reading.value, kind, units)}"
        figure = Figure("running", note=drawing)
    else:
        rest = f"for {display.duration((facts.now_us - last.stop_us) / 1e6)}" if last else ""
        figure = Figure("at rest", note=rest)
    more = []
    if last:
        more.append(("Last start", display.moment(last.start_us, facts.now_us, facts.plant.timezone)))
        more.append(("Last run", display.duration(last.run_time_s)))
        starts = len(facts.cycles_since(facts.now_us - DAY_US))
        more.append(("Starts in 24 h", str(starts)))
    if (shortest := facts.plant.pump.min_run_time_s) is not None:
        more.append(("Shortest run it should make", display.duration(shortest)))
    if kind != "plain" and (level := facts.median("motor_level")) is not None:
        more.append(("Motor while running", str(display.show(level, kind, units))))
    return Station(
        "pump",
        "Pump",
        figure,
        _rhythm(facts),
        trace=facts.kept("runs", lambda: traces.runs(facts)),
        more=tuple(more),
    )


def _rhythm(facts: Facts) -> str:
    """ "Rests 14 min, runs 72 s": the medians of the last dozen cycles."""
    run = facts.median("run_time_s")
    if run is None:
        return "No run seen yet."
    rest = facts.median("rest_before_s")
    words = f"Runs {display.duration(run)}"
    if rest is not None:
        words = f"Rests {display.duration(rest)}, runs {display.duration(run)}"
    shortest = facts.plant.pump.min_run_time_s
    if shortest is not None and run < shortest:
        return f"{words}; it should run {display.duration(shortest)} or longer."
    should = facts.should.run_time_s
    if not facts.findings and should is not None and 0.75 * should <= run <= 2.5 * should:
        return f"{words}, as it should."
    return f"{words}."


#: Of the newest runs, when a finding says that delivery has fallen: what it is now, and not what it was.
_NEWEST_RUNS = 6


def _delivery(facts: Facts) -> tuple[float | None, str]:
    """What the pump brings over a run [m3/s], and what that is to be held against, in words."""
    units, rated = facts.plant.display_units, facts.plant.pump.rated_flow_m3_s
    for one in (finding for finding in facts.findings if not finding.gone_for_now):
        share = one.evidence.get("delivery_share_1")
        now = facts.median("delivery_mid_m3_s", _NEWEST_RUNS)
        if one.fault in ("clogged_filter", "pump_wear") and share and now:
            well = display.show(now / share, "flow", units)
            return now, f"of {well.text} when {'clean' if one.fault == 'clogged_filter' else 'unworn'}"
    flow = facts.median("delivery_mid_m3_s") or facts.median("delivery_start_m3_s")
    if flow is None and (told := facts.outlook("delivery_cut_in_m3_s")) is not None:
        flow = told.p50
    # the rating is at cut-in: over a whole run a sound pump brings a tenth less
    if flow is not None and rated is not None and flow < 0.9 * rated:
        return flow, f"of {display.show(rated, 'flow', units).text} when new"
    return flow, "through the filter"


def _filter(facts: Facts) -> Station:
    units = facts.plant.display_units
    flow, note = _delivery(facts)
    drop = facts.median("filter_drop_pa")
    days = facts.outlook("days_to_flush_filter")
    more = []
    if facts.plant.pump.rated_flow_m3_s is not None:
        more.append(
            (
                "Delivery at cut-in when new",
                str(display.show(facts.plant.pump.rated_flow_m3_s, "flow", units)),
            )
        )
    if drop is not None:
        more.append(("Pressure lost across it", str(display.show(drop, "pressure", units, 1))))
    else:
        more.append(("Pressure lost across it", "not measured (needs a gauge at the pump outlet)"))
    if flow is None:
        return Station(
            "filter",
            "Filter",
            Figure("unknown"),
            "Needs a few runs to tell what it passes.",
            trace=None,
            more=tuple(more),
        )
    quantity = display.show(flow, "flow", units)
    sentence = "Passes what the pump gives; nothing says it is clogging."
    if days is not None and days.p50 is not None:
        sentence = f"Wants flushing in about {display.duration(days.p50 * 86_400)}."
    rated = facts.plant.pump.rated_flow_m3_s
    share = None if rated is None else min(1.0, max(0.0, flow / rated))
    return Station(
        "filter",
        "Filter",
        Figure(quantity.text, quantity.unit, note),
        sentence,
        fill=share,
        trace=facts.kept("delivery", lambda: traces.delivery(facts)),
        more=tuple(more),
    )


def _tank(facts: Facts) -> Station:
    plant, units = facts.plant, facts.plant.display_units
    signal = facts.signal(Measure.LINE_PRESSURE)
    if signal is None:
        sentence = "No pressure sensor: most of what wears a pump out cannot be seen."
        return Station("tank", "Pressure tank", Figure("not seen"), sentence, seen=False)
    reading = facts.reading(signal)
    if reading is None or not np.isfinite(reading.value):
        return Station("tank", "Pressure tank", Figure("unknown"), "The pressure sensor has not spoken yet.")
    quantity = display.show(reading.value, "pressure", units)
    note = ""
    if plant.switch:
        low = display.show(plant.switch.cut_in_pa, "pressure", units).text
        high = display.show(plant.switch.cut_out_pa, "pressure", units).text
        note = f"between {low} and {high}"
    return Station(
        "tank",
        "Pressure tank",
        Figure(quantity.text, quantity.unit, note, _stale(facts, reading, facts.fresh(signal))),
        _gives(facts),
        fill=tank_fill(plant, reading.value),
        trace=traces.pressure(facts, signal),
        more=_tank_more(facts),
    )


def _measured_drawdown(facts: Facts) -> float | None:
    told = facts.outlook("drawdown_m3")
    return told.p50 if told is not None else facts.median("drawdown_m3")


def _gives(facts: Facts) -> str:
    units = facts.plant.display_units
    gives = _measured_drawdown(facts)
    charge = facts.outlook("air_charge_pa")
    words = f"Gives {display.volume(gives, units)} a cycle" if gives else "What it gives is not known yet"
    if charge is None or charge.p50 is None or facts.plant.pressure_tank is None:
        return f"{words}."
    # a twentieth of the absolute charge is about what a tyre gauge and the weather leave open
    low = charge.p50 < facts.plant.pressure_tank.precharge_pa - 0.05 * (
        facts.plant.pressure_tank.precharge_pa + 1e5
    )
    return f"{words}; its air charge {'is low' if low else 'holds'}."


def _tank_more(facts: Facts) -> tuple[tuple[str, str], ...]:
    plant, units = facts.plant, facts.plant.display_units
    should = facts.should
    more = []
    if should.drawdown_m3 is not None:
        more.append(("Should give", f"{display.volume(should.drawdown_m3, units)} a cycle"))
    if plant.pressure_tank is not None:
        more.append(
            (
                "Air charge by the plant file",
                str(display.show(plant.pressure_tank.precharge_pa, "pressure", units)),
            )
        )
    charge = facts.outlook("air_charge_pa")
    if charge is not None:
        more.append(("Air charge as it behaves", str(display.show(charge.p50, "pressure", units))))
    for name, label in (("pressure_start_pa", "Starts at"), ("pressure_stop_pa", "Stops at")):
        if (value := facts.median(name)) is not None:
            more.append((label, str(display.show(value, "pressure", units))))
    return tuple(more)


def _line(facts: Facts) -> Station:
    units = facts.plant.display_units
    signal = facts.signal(Measure.SUPPLY_FLOW)
    reading = facts.reading(signal)
    night = facts.outlook("night_flow_m3_s")
    today = traces.used_today(facts)
    if night is None or night.p50 is None:
        sentence = "What it loses overnight is not known yet."
    elif night.p50 < 0.05e-3 / 60:  # a twentieth of a litre a minute: below what a gauge resolves
        sentence = "Nothing lost overnight."
    else:
        sentence = f"{display.show(night.p50, 'flow', units, 1)} never stops, even at night."
    more: list[tuple[str, str]] = []
    day = facts.outlook("demand_m3_day")
    if day is not None:
        more.append(("Usual use", f"{display.volume(day.p50, units)} a day"))
    air = facts.signal(Measure.AIR_TEMPERATURE)
    if (cold := facts.reading(air)) is not None:
        more.append(("Air at the coldest pipe", str(display.show(cold.value, "temperature", units))))
    if today is not None:
        quantity = display.volume(today, units)
        figure = Figure(quantity.text, quantity.unit, "drawn today")
    else:
        figure = Figure("unknown")
    if signal is not None and reading is not None:
        more.insert(0, ("Drawn today", str(display.volume(today, units))))
        flow = display.show(reading.value, "flow", units)
        figure = Figure(flow.text, flow.unit, "being drawn", _stale(facts, reading, facts.fresh(signal)))
    return Station(
        "line",
        "Line and garden",
        figure,
        sentence,
        trace=facts.kept("use", lambda: traces.use(facts)),
        more=tuple(more),
    )
