"""Check valve: with the garden side shut off and the pump off, water can only go back.

Tank and gauge stay in, so the fall is slow and tells how much water goes (`holding`). Mistaken for
it: a leak at the tank or between it and the valves (the leak-down test with the pipe alone tells).
Where level or suction is measured nothing more is asked of them: too coarse for a trickle.

Source: Boyle's law; isolating one side after the other is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.trials.cautions import BREAKER, JOINED, OPEN_AGAIN
from analytics.trials.filled import full
from analytics.trials.holding import HOLD_S, SETTLE_S
from analytics.trials.leak_down import hold
from analytics.trials.shapes import Conclusion, Sighting, Step, Trial

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

STEPS = (
    Step("Shut every tap and let the pump run to its stop.", name="full"),
    Step("Switch the pump off at its breaker.", BREAKER),
    Step(
        "Shut the valve after the pressure tank, to house and garden.",
        JOINED,
        part="valve",
        skip="There is no such valve",
    ),
    Step(
        "Touch nothing for twenty-five minutes. The first ten let the tank's air come to rest.",
        name="hold",
    ),
    Step("Open the valve again, then switch the breaker on.", OPEN_AGAIN),
)
SAYS = {
    "holds": "The check valve holds: nothing goes back that these readings could show.",
    "goes_back": "Water is lost with house and garden shut off: it goes back through the check valve (or out "
    "between it and the valve). Clean its seat or renew it, before the pump loses its prime.",
    "somewhere": "Water is lost, but without a valve to the garden it cannot be told whether it goes back or "
    "out. Look along the line first; then have such a valve fitted.",
}


def look(plant: Plant, step: Step, spell: Spell) -> Sighting:
    return full(plant, spell) if step.name == "full" else hold(plant, spell, SETTLE_S, HOLD_S, air=True)


def conclude(plant: Plant, seen: Mapping[str, Sighting], left_out: frozenset[str]) -> Conclusion:
    last = seen["hold"]
    if last.seen in ("pump_ran", "unheard"):
        return Conclusion("unclear", last.seen, last.figures)
    if last.seen == "holds":
        return Conclusion("good", "holds", last.figures)
    return Conclusion("poor", "somewhere" if "valve" in left_out else "goes_back", last.figures)


TRIAL = Trial(
    "check_valve",
    "Check valve",
    "Does water go back when the pump rests?",
    "30 minutes, nearly all of it waiting",
    STEPS,
    SAYS,
    look,
    conclude,
)
