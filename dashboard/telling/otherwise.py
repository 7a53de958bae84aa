"""What would follow from another switch setting or another tank: the plant file's physics, asked again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dashboard.telling import display
from dashboard.telling.expected import expected

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from dashboard.telling.expected import Expected

#: Cut-in and cut-out that switches are sold set to, in the owner's unit. Common practice, no source.
_PAIRS: dict[str, tuple[tuple[float, float], ...]] = {
    "us": ((20, 40), (30, 50), (40, 60)),
    "metric": ((1.4, 2.8), (2.0, 3.5), (2.8, 4.2)),
}
#: How far below cut-in the air charge is set, in the same unit. Common practice, no source.
_BELOW = {"us": 2.0, "metric": 0.15}
TANKS = {"now": ("As it is", 1.0), "half": ("Half as large", 0.5), "twice": ("Twice as large", 2.0)}


@dataclass(frozen=True, slots=True)
class Otherwise:
    """Names with the value now and the value then; and what to think of it, in sentences."""

    rows: list[tuple[str, str, str]]
    words: list[str]


def can(plant: Plant) -> bool:
    """Whether the plant file says enough to reckon with."""
    return plant.switch is not None and plant.pressure_tank is not None


def pressures(plant: Plant) -> dict[str, str]:
    """The settings to choose from, "now" first."""
    unit = display.unit_of("pressure", plant.display_units)[0]
    common = {f"{low:g}-{high:g}": f"{low:g} to {high:g} {unit}" for low, high in _PAIRS[plant.display_units]}
    return {"now": "As it is"} | common


def otherwise(plant: Plant, pressure: str, tank: str) -> Otherwise:
    """Figures at another setting (a key of `pressures`) and with another tank (a key of `TANKS`).

    KeyError for other keys; the plant must be one that `can`.
    """
    then = _changed(plant, pressure, tank)
    before, after = expected(plant), expected(then)
    units = plant.display_units
    assert then.switch is not None
    assert then.pressure_tank is not None
    assert plant.pressure_tank is not None

    def charge(one: float) -> str:
        return str(display.show(one, "pressure", units, 1 if units == "metric" else 0))

    rows = [
        (
            "Air charge",
            charge(plant.pressure_tank.precharge_pa),
            charge(then.pressure_tank.precharge_pa),
        ),
        (
            "Water it gives a cycle",
            str(display.volume(before.drawdown_m3, units)),
            str(display.volume(after.drawdown_m3, units)),
        ),
        (
            "Run with nothing drawn",
            display.duration(before.run_time_s),
            display.duration(after.run_time_s),
        ),
        (
            "Starts an hour, at most",
            _starts(before),
            _starts(after),
        ),
    ]
    return Otherwise(rows, _thoughts(then, after))


def _changed(plant: Plant, pressure: str, tank: str) -> Plant:
    assert plant.switch is not None
    assert plant.pressure_tank is not None
    switch, vessel = plant.switch, plant.pressure_tank
    if pressure != "now":
        units = plant.display_units
        pair = {f"{low:g}-{high:g}": (low, high) for low, high in _PAIRS[units]}[pressure]
        _, pa, _, _ = display.unit_of("pressure", units)
        switch = replace(switch, cut_in_pa=pair[0] * pa, cut_out_pa=pair[1] * pa)
        vessel = replace(vessel, precharge_pa=(pair[0] - _BELOW[units]) * pa)
    vessel = replace(vessel, volume_m3=vessel.volume_m3 * TANKS[tank][1])
    return replace(plant, switch=switch, pressure_tank=vessel)


def _starts(told: Expected) -> str:
    return f"{3600 / told.fastest_cycle_s:.0f}" if told.fastest_cycle_s else "unknown"


def _thoughts(plant: Plant, told: Expected) -> list[str]:
    words = []
    least, run = plant.pump.min_run_time_s, told.run_time_s
    if run is not None and least is not None:
        enough = "long enough" if run >= least else "too short"
        words.append(
            f"Runs of {display.duration(run)} are {enough} for this motor, "
            f"which wants {display.duration(least)} at least."
        )
    most = plant.pump.max_starts_per_hour
    if told.fastest_cycle_s and most is not None and 3600 / told.fastest_cycle_s > most:
        words.append(f"At worst it would start more often than the {most:g} times an hour that it may.")
    if run is not None:
        words.append("Reckoned with the pump's rated flow: at a higher pressure it brings less.")
    return words
