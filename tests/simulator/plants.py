"""Three plants of different size and units for the simulator's tests. Made up."""

from __future__ import annotations

from importlib.resources import files

from analytics.plant.description import Plant
from analytics.plant.parsing import parse_plant

_SIGNALS = """
[[signal]]
name = "pressure"
measures = "line_pressure"
topic = "t/pressure"
unit = "bar"

[[signal]]
name = "running"
measures = "pump_running"
topic = "t/running"
"""

COTTAGE = (
    """
version = 1
title = "A cottage"
display_units = "metric"
timezone = "Europe/Lisbon"

[pump]
rated_flow = "28 L/min"

[switch]
cut_in = "1.4 bar"
cut_out = "2.8 bar"

[pressure_tank]
volume = "60 L"
precharge = "1.2 bar"

[storage.cistern]
volume = "9 m^3"
full_level = "1.8 m"
outlet_level = "10 cm"
"""
    + _SIGNALS
)

RANCH = (
    """
version = 1
title = "A ranch"
display_units = "us"
timezone = "America/Denver"
altitude = "7000 ft"

[pump]
rated_power = "1.5 hp"
rated_flow = "22 gpm"

[switch]
cut_in = "40 psi"
cut_out = "60 psi"

[pressure_tank]
volume = "119 gal"
precharge = "38 psi"

[filter]
position = "after_tank"

[storage.hill]
volume = "10000 gal"
full_level = "9 ft"
outlet_level = "6 in"
strapping = [["0 ft", "0 gal"], ["3 ft", "2800 gal"], ["6 ft", "6400 gal"], ["9 ft", "10000 gal"]]
"""
    + _SIGNALS
)

BARE = (
    """
version = 1
title = "A well and a tank"
display_units = "metric"
timezone = "UTC"
[switch]
cut_in = "2 bar"
cut_out = "3 bar"
[pressure_tank]
volume = "80 L"
precharge = "1.8 bar"
[pump]
rated_flow = "30 L/min"
"""
    + _SIGNALS
)


def juniper() -> Plant:
    text = (files("simulator") / "plants" / "juniper-bench.toml").read_text(encoding="utf-8")
    return parse_plant(text, "juniper-bench")


def cottage() -> Plant:
    return parse_plant(COTTAGE, "cottage")


def ranch() -> Plant:
    return parse_plant(RANCH, "ranch")


def bare() -> Plant:
    """No storage, no filter."""
    return parse_plant(BARE, "bare")


THREE = {"juniper": juniper, "cottage": cottage, "ranch": ranch}
