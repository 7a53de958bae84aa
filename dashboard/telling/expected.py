"""What the plant file alone says a healthy plant does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.physics import hydraulics

if TYPE_CHECKING:
    from analytics.plant.description import Plant


@dataclass(frozen=True, slots=True)
class Expected:
    """None where the plant file does not say enough."""

    drawdown_m3: float | None = None
    run_time_s: float | None = None  # with nothing drawing
    fastest_cycle_s: float | None = None  # half the delivery drawn
    delivery_m3_s: float | None = None


def expected(plant: Plant) -> Expected:
    """Figures that follow from switch, tank and rated flow (Boyle's law, `analytics.physics.hydraulics`)."""
    delivery = plant.pump.rated_flow_m3_s
    if plant.switch is None or plant.pressure_tank is None:
        return Expected(delivery_m3_s=delivery)
    atmosphere = hydraulics.atmosphere_pa_abs(plant.altitude_m)
    tank, switch = plant.pressure_tank, plant.switch
    drawdown = float(
        hydraulics.drawdown_m3(
            switch.cut_in_pa, switch.cut_out_pa, tank.volume_m3, tank.precharge_pa, atmosphere
        )
    )
    if delivery is None:
        return Expected(drawdown)
    return Expected(
        drawdown,
        float(hydraulics.run_time_s(drawdown, delivery)),
        float(hydraulics.fastest_cycle_s(drawdown, delivery)),
        delivery,
    )


def tank_fill(plant: Plant, pressure_pa: float) -> float | None:
    """Share of the pressure tank that is water at a pressure, 0 to 1."""
    if plant.pressure_tank is None:
        return None
    tank = plant.pressure_tank
    water = hydraulics.tank_water_m3(
        pressure_pa, tank.volume_m3, tank.precharge_pa, hydraulics.atmosphere_pa_abs(plant.altitude_m)
    )
    return float(water) / tank.volume_m3
