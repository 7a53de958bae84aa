"""The step that many trials begin with: the tank filled, the pump at rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.trials.shapes import Sighting

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell


def full(plant: Plant, spell: Spell) -> Sighting:
    """Whether the pump rests and pressure stands in the band's upper half."""
    if len(spell) == 0:
        return Sighting(False, "unheard")
    if spell.motor_on[-1:].any():
        return Sighting(False, "running")
    switch = plant.switch
    enough = switch is None or spell.pressure_pa[-1] > (switch.cut_in_pa + switch.cut_out_pa) / 2
    return Sighting(bool(enough), "full" if enough else "low")
