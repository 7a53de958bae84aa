"""Pump delivery: how long the pump takes to fill the tank with nothing drawn.

What enters the tank between two pressures is known from Boyle's law; the time it takes gives the
delivery, Q = (w(P2) - w(P1))/t. Judged from the part of the run between SHARES of the switch band:
the first seconds hold the start and the hand that shuts the tap, the last the switch.

Band: the tank's volume and charge within a twentieth each (as in `holding`); one reading's interval
at either end; and how quickly the tank's air gives its warmth away (`warmth`): the draw that starts
the pump cools it, the fill warms it, and both make the pressure rise faster than the water does. The
readings from the step's begin on follow it; the band spans a threefold slower and quicker air.

Held against the plant file's rated flow, the delivery at cut-in when new, within the 8 % that a
pump's delivery may miss its curve by when new: ISO 9906:2012 grade 2B, from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.physics import hydraulics
from analytics.trials.shapes import Conclusion, Estimate, Sighting, Step, Trial
from analytics.trials.warmth import TAU_S, TAUS_S, water_m3

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

SHARES = (0.15, 0.9)
NEAR_CUT_IN = 0.5  # the band's lower half tells the delivery at cut-in
TANK_KNOWN = 0.07  # volume and charge, a twentieth each, together
GRADE = 0.08
LEAST_READINGS = 4
#: A fill that takes this many times longer than rated is no fill: something draws, or nothing moves.
ENDLESS_S = 1800.0

STEPS = (
    Step("Shut every tap, valve and drip line but one.", name=""),
    Step(
        "Open that one until the pump starts, then shut it at once. It fills the tank; touch nothing until "
        "it stops.",
        name="fill",
    ),
)
SAYS = {
    "as_rated": "The pump gives what the plant file says, as near as this can tell.",
    "below": "The pump gives less than the plant file says. Flush the filter and test again; still low: look "
    "at the suction side, then at the pump.",
    "told": "What the pump gives is told below. The plant file names no rated flow to hold it against.",
    "endless": "The pump did not reach its stop in half an hour: something draws, or little water comes.",
    "no_tank": "The plant file names no pressure tank or switch, so what entered cannot be told.",
}


def look(plant: Plant, step: Step, spell: Spell) -> Sighting:
    """The first fill that began with the step and came to its end."""
    if plant.switch is None or plant.pressure_tank is None:
        return Sighting(True, "no_tank")
    low, high = plant.switch.cut_in_pa, plant.switch.cut_out_pa
    if not len(spell):
        return Sighting(False, "unheard")
    start = _start(spell, low, high)
    if start is None:
        return Sighting(False, "waiting")
    rising = spell.pressure_pa[start:]
    share = float(np.clip((rising[-1] - low) / (high - low), 0.0, 1.0))
    top = low + SHARES[1] * (high - low)
    reached = np.flatnonzero(rising >= top)
    if not len(reached):
        over = spell.end_s - spell.time_s[start] > ENDLESS_S
        return Sighting(over, "endless" if over else "filling", share)
    end = start + int(reached[0])
    figures = _figures(plant, spell.time_s[: end + 1], spell.pressure_pa[: end + 1], start)
    return Sighting(True, "filled" if figures else "unheard", 1.0, figures)


def _start(spell: Spell, low: float, high: float) -> int | None:
    """The lowest reading of the first visit below the band's beginning, from which it then rose."""
    bottom = low + SHARES[0] * (high - low)
    below = np.flatnonzero(spell.pressure_pa <= bottom)
    if not len(below):
        return None
    first = int(below[0])
    above = np.flatnonzero(spell.pressure_pa[first:] > bottom)
    return first + int(above[0]) - 1 if len(above) else None


def _figures(
    plant: Plant,
    time_s: np.ndarray[tuple[int], np.dtype[np.float64]],
    pressure: np.ndarray[tuple[int], np.dtype[np.float64]],
    start: int,
) -> dict[str, Estimate]:
    """From all readings of the step, of which those after `start` are the fill."""
    assert plant.switch is not None
    assert plant.pressure_tank is not None
    # the reading at `start` stands below the band's beginning: the pump had not caught up yet
    fill = slice(start + 1, None)
    if len(time_s[fill]) < LEAST_READINGS:
        return {}
    tank, pa = plant.pressure_tank, float(hydraulics.atmosphere_pa_abs(plant.altitude_m))
    waters = [water_m3(time_s, pressure, tank, pa, tau)[fill] for tau in TAUS_S]
    time_s, pressure = time_s[fill], pressure[fill]
    whole = _mean_flow(time_s, waters)
    middle = plant.switch.cut_in_pa + NEAR_CUT_IN * (plant.switch.cut_out_pa - plant.switch.cut_in_pa)
    lower = pressure <= middle
    figures = {"delivery_m3_s": whole}
    if lower.sum() >= LEAST_READINGS:
        figures["delivery_cut_in_m3_s"] = _mean_flow(time_s[lower], [water[lower] for water in waters])
    low, high = plant.switch.cut_in_pa, plant.switch.cut_out_pa
    drawdown = float(hydraulics.drawdown_m3(low, high, tank.volume_m3, tank.precharge_pa, pa))
    isothermal = float(waters[0][-1] - waters[0][0]) / float(time_s[-1] - time_s[0])
    takes = drawdown / isothermal  # by the clock, whatever the air's warmth: between the same pressures
    figures["fill_s"] = Estimate(takes, takes, takes)
    return figures


def _mean_flow(
    time_s: np.ndarray[tuple[int], np.dtype[np.float64]],
    waters: list[np.ndarray[tuple[int], np.dtype[np.float64]]],
) -> Estimate:
    """Water over time, with its band; `waters` are what each of TAUS_S makes of the pressure."""
    lasted = float(time_s[-1] - time_s[0])
    flows = [float(water[-1] - water[0]) / lasted for water in waters]
    late = float(np.max(np.diff(time_s))) / lasted / np.sqrt(3.0)  # either end falls anywhere in an interval
    wide = float(np.hypot(TANK_KNOWN, late))
    return Estimate(flows[TAUS_S.index(TAU_S)], min(flows) * (1.0 - wide), max(flows) * (1.0 + wide))


def conclude(plant: Plant, seen: Mapping[str, Sighting], left_out: frozenset[str]) -> Conclusion:
    fill = seen["fill"]
    told = fill.figures.get("delivery_cut_in_m3_s") or fill.figures.get("delivery_m3_s")
    if told is None:
        return Conclusion("poor" if fill.seen == "endless" else "unclear", fill.seen, fill.figures)
    rated = plant.pump.rated_flow_m3_s
    if rated is None:
        return Conclusion("good", "told", fill.figures)
    below = told.high < (1.0 - GRADE) * rated
    return Conclusion("poor" if below else "good", "below" if below else "as_rated", fill.figures)


TRIAL = Trial(
    "delivery",
    "Pump delivery",
    "Does the pump give what it should?",
    "5 minutes",
    STEPS,
    SAYS,
    look,
    conclude,
)
