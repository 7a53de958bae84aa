"""The kinds of quantity in a plant file, and which of them each measure is."""

from __future__ import annotations

from enum import StrEnum

from analytics.plant.description import Measure


class Dimension(StrEnum):
    """A kind of quantity, in the words in which a mistake is explained."""

    PRESSURE = "pressure"
    CURRENT = "current"
    POWER = "power"
    FLOW = "volume per time"
    LENGTH = "length"
    TEMPERATURE = "temperature"
    CONDUCTIVITY = "conductivity"
    VOLUME = "volume"
    AREA = "area"
    TIME = "time"
    SPEED = "speed"
    RADIANT_EXPOSURE = "energy per area"


#: The unit in which each kind is handled inside, in pint's spelling.
SI: dict[Dimension, str] = {
    Dimension.PRESSURE: "Pa",
    Dimension.CURRENT: "A",
    Dimension.POWER: "W",
    Dimension.FLOW: "m^3/s",
    Dimension.LENGTH: "m",
    Dimension.TEMPERATURE: "degC",
    Dimension.CONDUCTIVITY: "S/m",
    Dimension.VOLUME: "m^3",
    Dimension.AREA: "m^2",
    Dimension.TIME: "s",
    Dimension.SPEED: "m/s",
    Dimension.RADIANT_EXPOSURE: "J/m^2",
}

#: What an owner might write, for messages.
EXAMPLE: dict[Dimension, str] = {
    Dimension.PRESSURE: '"30 psi" or "2.1 bar"',
    Dimension.CURRENT: '"1.0 A"',
    Dimension.POWER: '"0.75 hp" or "550 W"',
    Dimension.FLOW: '"9 gpm" or "34 L/min"',
    Dimension.LENGTH: '"7 ft" or "2.1 m"',
    Dimension.TEMPERATURE: '"32 degF" or "0 degC"',
    Dimension.CONDUCTIVITY: '"1.4 dS/m" or "1400 uS/cm"',
    Dimension.VOLUME: '"44 gal" or "167 L"',
    Dimension.AREA: '"1800 ft^2" or "167 m^2"',
    Dimension.TIME: '"60 s" or "3 days"',
    Dimension.SPEED: '"2.1 m/s" or "4.7 mph"',
    Dimension.RADIANT_EXPOSURE: '"22 MJ/m^2" or "6.1 kWh/m^2"',
}

#: None for `pump_running`, which is 0 or 1.
OF_MEASURE: dict[Measure, Dimension | None] = {
    Measure.LINE_PRESSURE: Dimension.PRESSURE,
    Measure.DISCHARGE_PRESSURE: Dimension.PRESSURE,
    Measure.SUCTION_PRESSURE: Dimension.PRESSURE,
    Measure.PUMP_CURRENT: Dimension.CURRENT,
    Measure.PUMP_POWER: Dimension.POWER,
    Measure.PUMP_RUNNING: None,
    Measure.SUPPLY_FLOW: Dimension.FLOW,
    Measure.STORAGE_LEVEL: Dimension.LENGTH,
    Measure.RAINFALL: Dimension.LENGTH,
    Measure.AIR_TEMPERATURE: Dimension.TEMPERATURE,
    Measure.SUPPLY_CONDUCTIVITY: Dimension.CONDUCTIVITY,
    Measure.WELL_CONDUCTIVITY: Dimension.CONDUCTIVITY,
    Measure.RAIN_CONDUCTIVITY: Dimension.CONDUCTIVITY,
    Measure.WATER_TEMPERATURE: Dimension.TEMPERATURE,
}
