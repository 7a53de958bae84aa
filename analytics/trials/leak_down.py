"""Leak-down: does what stands under pressure keep it? First the pipe alone, then with the tank.

With the tank's valve shut a pipe has next to no give: the smallest drip shows in minutes as a fall
of pressure, but how much water that is cannot be told. With the tank in, the fall is slow, and
Boyle's law turns it into water (`holding`). Pipe holds and tank falls: the loss is at the tank.
Pipe falls: it is in the pipe, or goes back through the check valve (its own trial tells).

The pipe's limit is 20 kPa in an hour, what EN 805 (11.3.3.4, pressure loss method) allows a laid
pipe of ductile iron, steel or plastics, from memory; plastic pipe stretches on and on a little, so a
fall that fades is not a leak. Ours is a screening at working pressure, no acceptance test.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.physics import hydraulics
from analytics.trials.cautions import BREAKER, OPEN_AGAIN, SHUT_TANK
from analytics.trials.filled import full
from analytics.trials.holding import (
    HOLD_S,
    PIPE_S,
    SETTLE_PIPE_S,
    SETTLE_S,
    held,
    lost_water_m3_s,
)
from analytics.trials.shapes import Conclusion, Sighting, Step, Trial
from analytics.trials.spell import until

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

PIPE_LIMIT_PA_S = 20e3 / 3600.0
#: A fall this many times its own half band is a leak long before the hold is over.
CLEAR = 3.0
EARLIEST_S = 240.0

STEPS = (
    Step("Shut every tap, valve and drip line. Let the pump run to its stop.", name="full"),
    Step("Switch the pump off at its breaker.", BREAKER),
    Step(
        "Shut the valve between the pressure tank and the pipe.",
        SHUT_TANK,
        part="pipe",
        skip="There is no such valve",
    ),
    Step("The pipe alone: touch nothing for ten minutes.", name="pipe", part="pipe"),
    Step("Open the tank's valve again.", part="pipe"),
    Step(
        "With the tank: touch nothing for twenty-five minutes. The first ten let its air come to rest.",
        name="tank",
    ),
    Step("Open what was open before, then switch the breaker on.", OPEN_AGAIN),
)
SAYS = {
    "tight": "Nothing is lost that these readings could show.",
    "at_tank": "The pipe holds, and with the tank pressure is lost: look at the tank's own valve, its "
    "fittings and its air valve (soapy water).",
    "in_pipe": "The pipe loses pressure with the tank shut off: a leak in it, at a fitting, or back through "
    "the check valve. The check-valve test tells which way.",
    "somewhere": "Water is lost with every tap shut. Without a valve at the tank the place cannot be told: "
    "the check-valve test is next.",
}


def look(plant: Plant, step: Step, spell: Spell) -> Sighting:
    if step.name == "full":
        return full(plant, spell)
    if step.name == "pipe":
        return hold(plant, spell, SETTLE_PIPE_S, PIPE_S, air=False)
    return hold(plant, spell, SETTLE_S, HOLD_S, air=True)


def hold(plant: Plant, spell: Spell, settle_s: float, hold_s: float, *, air: bool) -> Sighting:
    """A stretch with everything shut: "settling", "watching", then "holds", "falls" or "pump_ran"."""
    spell = until(spell, settle_s + hold_s)  # what the owner does after it counts no more
    if spell.ran(5.0):
        return Sighting(True, "pump_ran")
    share = min(1.0, spell.end_s / (settle_s + hold_s))
    pa = float(hydraulics.atmosphere_pa_abs(plant.altitude_m))
    stretch = held(spell, settle_s, pa, air=air)
    if stretch is None:
        over = spell.end_s >= settle_s + hold_s
        return Sighting(over, "unheard" if over else "settling", share)
    fall = stretch.fall_pa_s
    figures = {"fall_pa_s": fall}
    limit = 0.0 if air else PIPE_LIMIT_PA_S
    water = lost_water_m3_s(plant, stretch, pa) if air else None
    if water is not None:
        figures["leak_m3_s"] = water
    clear = fall.value - limit > CLEAR * (fall.value - fall.low) and stretch.lasted_s >= EARLIEST_S
    if not clear and spell.end_s < settle_s + hold_s:
        return Sighting(False, "watching", share, figures)
    return Sighting(True, "falls" if fall.low > limit else "holds", 1.0, figures)


def conclude(plant: Plant, seen: Mapping[str, Sighting], left_out: frozenset[str]) -> Conclusion:
    pipe, tank = seen.get("pipe"), seen["tank"]
    figures = dict(tank.figures)
    if pipe is not None and "fall_pa_s" in pipe.figures:
        figures["pipe_fall_pa_s"] = pipe.figures["fall_pa_s"]
    for one in (tank, pipe):
        if one is not None and one.seen in ("pump_ran", "unheard"):
            return Conclusion("unclear", one.seen, figures)
    if pipe is not None and pipe.seen == "falls":
        return Conclusion("poor", "in_pipe", figures)
    if tank.seen == "holds":
        return Conclusion("good", "tight", figures)
    return Conclusion("poor", "at_tank" if pipe is not None else "somewhere", figures)


TRIAL = Trial(
    "leak_down",
    "Leak-down",
    "Does it keep its pressure with everything shut?",
    "40 minutes, nearly all of it waiting",
    STEPS,
    SAYS,
    look,
    conclude,
)
