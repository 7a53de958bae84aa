"""What to do about a fault: in plain words, first thing first, for one handy person.

Pure data, one file a station of the water's way. Steps are common practice of the trade, no single
source; makers' instructions and local codes go before them. Where a step can hurt someone, its
caution stands in the step itself.
"""

from __future__ import annotations

from analytics.advice import filters, line, pump, sensors, storage, tank
from analytics.advice.shapes import Advice, Station, Step
from analytics.plant.description import Measure

#: (fault, cause) to advice; the cause None serves where no cause could be told.
ADVICE: dict[tuple[str, str | None], Advice] = {
    (one.fault, one.cause): one
    for one in (*storage.ADVICE, *pump.ADVICE, *filters.ADVICE, *tank.ADVICE, *line.ADVICE, *sensors.ADVICE)
}

#: Where a sensor sits, and so where its own fault is shown.
SENSOR_STATION: dict[Measure, Station] = {
    Measure.LINE_PRESSURE: "tank",
    Measure.DISCHARGE_PRESSURE: "pump",
    Measure.SUCTION_PRESSURE: "pump",
    Measure.PUMP_CURRENT: "pump",
    Measure.PUMP_POWER: "pump",
    Measure.PUMP_RUNNING: "pump",
    Measure.SUPPLY_FLOW: "line",
    Measure.STORAGE_LEVEL: "storage",
    Measure.RAINFALL: "storage",
    Measure.AIR_TEMPERATURE: "line",
    Measure.SUPPLY_CONDUCTIVITY: "line",
    Measure.WELL_CONDUCTIVITY: "line",
    Measure.RAIN_CONDUCTIVITY: "storage",
    Measure.WATER_TEMPERATURE: "line",
}


def advice(fault: str, cause: str | None = None) -> Advice:
    """The advice for a fault and its cause; for a cause not known here, that for the fault alone.

    KeyError for a fault that is none.
    """
    return ADVICE.get((fault, cause)) or ADVICE[fault, None]


def station(fault: str, cause: str | None = None, measure: Measure | None = None) -> Station:
    """Where on the water's way a finding belongs; `measure` is that of a faulty sensor's signal."""
    if fault == "sensor_fault" and measure is not None:
        return SENSOR_STATION[measure]
    return advice(fault, cause).station


__all__ = ["ADVICE", "SENSOR_STATION", "Advice", "Station", "Step", "advice", "station"]
