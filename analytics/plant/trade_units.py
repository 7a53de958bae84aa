"""Units the trade uses daily, with their SI factors, so that most plants need no unit library.

Loading pint and building its registry takes longer than reading a month of recordings. Every row
here is pint's own answer (a test compares them all); whatever is not here is asked of pint.
"""

from __future__ import annotations

from analytics.plant.dimensions import Dimension

_PSI = 6894.757293168361  # lbf/in^2: 0.45359237 kg * 9.80665 m/s^2 / (0.0254 m)^2
_GALLON = 3.785411784e-3  # US gallon: 231 in^3
_FOOT = 0.3048
_INCH = 0.0254
_WATER = 9806.65  # Pa a metre of water of 1000 kg/m^3 under standard gravity ("conventional")

#: Spelling -> factor to the dimension's SI unit. Temperature is apart: it has an offset.
FACTORS: dict[Dimension, dict[str, float]] = {
    Dimension.PRESSURE: {
        "psi": _PSI,
        "psig": _PSI,
        "bar": 1e5,
        "barg": 1e5,
        "mbar": 100.0,
        "hPa": 100.0,
        "kPa": 1e3,
        "MPa": 1e6,
        "Pa": 1.0,
        "inHg": 3386.388640341,
        "mmHg": 133.322387415,
        "ft_H2O": _WATER * _FOOT,
        "ft of water": _WATER * _FOOT,
        "in_H2O": _WATER * _INCH,
        "inches of water": _WATER * _INCH,
        "m_H2O": _WATER,
        "mH2O": _WATER,
        "ftH2O": _WATER * _FOOT,
        "inH2O": _WATER * _INCH,
        "m of water": _WATER,
    },
    Dimension.CURRENT: {"A": 1.0, "mA": 1e-3, "amps": 1.0},
    Dimension.POWER: {"W": 1.0, "kW": 1e3, "hp": 745.6998715822702},
    Dimension.FLOW: {
        "gpm": _GALLON / 60,
        "gph": _GALLON / 3600,
        "gal/min": _GALLON / 60,
        "gal/h": _GALLON / 3600,
        "gal/day": _GALLON / 86_400,
        "lpm": 1e-3 / 60,
        "L/min": 1e-3 / 60,
        "l/min": 1e-3 / 60,
        "L/h": 1e-3 / 3600,
        "l/h": 1e-3 / 3600,
        "L/s": 1e-3,
        "l/s": 1e-3,
        "m^3/h": 1 / 3600,
        "m3/h": 1 / 3600,
        "m^3/s": 1.0,
    },
    Dimension.LENGTH: {
        "m": 1.0,
        "cm": 1e-2,
        "mm": 1e-3,
        "ft": _FOOT,
        "foot": _FOOT,
        "feet": _FOOT,
        "in": _INCH,
        "inch": _INCH,
        "inches": _INCH,
    },
    Dimension.CONDUCTIVITY: {
        "S/m": 1.0,
        "dS/m": 0.1,
        "mS/m": 1e-3,
        "mS/cm": 0.1,
        "uS/cm": 1e-4,
        "µS/cm": 1e-4,
    },
    Dimension.VOLUME: {
        "gal": _GALLON,
        "gallon": _GALLON,
        "gallons": _GALLON,
        "L": 1e-3,
        "l": 1e-3,
        "liter": 1e-3,
        "liters": 1e-3,
        "litre": 1e-3,
        "litres": 1e-3,
        "m^3": 1.0,
        "m3": 1.0,
        "ft^3": _FOOT**3,
        "ft3": _FOOT**3,
    },
    Dimension.AREA: {
        "m^2": 1.0,
        "m2": 1.0,
        "ft^2": _FOOT**2,
        "ft2": _FOOT**2,
        "sqft": _FOOT**2,
        "sq ft": _FOOT**2,
    },
    Dimension.TIME: {
        "ms": 1e-3,
        "s": 1.0,
        "sec": 1.0,
        "second": 1.0,
        "seconds": 1.0,
        "min": 60.0,
        "minute": 60.0,
        "minutes": 60.0,
        "h": 3600.0,
        "hr": 3600.0,
        "hour": 3600.0,
        "hours": 3600.0,
        "d": 86_400.0,
        "day": 86_400.0,
        "days": 86_400.0,
        "week": 604_800.0,
        "weeks": 604_800.0,
    },
    Dimension.SPEED: {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704},
    Dimension.RADIANT_EXPOSURE: {"J/m^2": 1.0, "MJ/m^2": 1e6, "MJ/m2": 1e6, "kWh/m^2": 3.6e6},
}

#: Spelling -> (factor, offset) to degrees Celsius, as absolute temperatures.
TEMPERATURES: dict[str, tuple[float, float]] = {
    "degC": (1.0, 0.0),
    "°C": (1.0, 0.0),
    "degF": (5 / 9, -160 / 9),
    "°F": (5 / 9, -160 / 9),
    "K": (1.0, -273.15),
}

#: Trade spellings that pint does not know, or takes for something else ("amps" for attometres a
#: second), in pint's language. Gallons are US gallons; the imperial one is `imperial_gallon`.
FOR_PINT: dict[str, str] = {
    "psig": "psi",
    "barg": "bar",
    "ft of water": "ft_H2O",
    "feet of water": "ft_H2O",
    "in of water": "in_H2O",
    "inches of water": "in_H2O",
    "m of water": "m_H2O",
    "mm of water": "mm_H2O",
    "cm of water": "cm_H2O",
    "ft water": "ft_H2O",
    "feet of head": "ft_H2O",
    "m water": "m_H2O",
    "m of head": "m_H2O",
    "mH2O": "m_H2O",
    "in Hg": "inch_Hg",
    "inches of mercury": "inch_Hg",
    "kPag": "kilopascal",
    "imp gal": "imperial_gallon",
    "imperial gal": "imperial_gallon",
    "imperial gallons": "imperial_gallon",
    "US gal": "gallon",
    "US gallons": "gallon",
    "lps": "liter/second",
    "cfs": "foot^3/second",
    "amps": "ampere",
    "gpm": "gallon/minute",
    "gph": "gallon/hour",
    "gpd": "gallon/day",
    "lpm": "liter/minute",
    "cfm": "foot^3/minute",
    "sqft": "foot^2",
    "sq ft": "foot^2",
    "ft2": "foot^2",
    "ft3": "foot^3",
    "m2": "meter^2",
    "m3": "meter^3",
    "m3/h": "meter^3/hour",
    "m3/s": "meter^3/second",
    "PSI": "psi",
    "GPM": "gallon/minute",
    "HP": "horsepower",
    "KPA": "kilopascal",
    "kpa": "kilopascal",
    "C": "degC",
    "F": "degF",
    "MJ/m2": "megajoule/meter^2",
}

#: Units of absolute pressure are refused: every pressure in a plant file is gauge.
ABSOLUTE = ("psia", "bara", "kPaa", "mbara")
