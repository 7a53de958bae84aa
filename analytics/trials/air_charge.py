"""Air charge from a slow draw, pump off: the pressure at which the tank has given its last water.

While the tank holds water, its air follows Boyle's law and a tap left as it is draws as the root of
the pressure, so dP/dt = -a sqrt(P) (P + pa)^2 with one `a` all the way down:

    a = k / (V (Pc + pa))        k the tap, V the tank, Pc the air charge

When the last water has left, the diaphragm lies on its seat, only the pipe is left to give, and the
pressure falls at once. The pressure at that knee is the air charge: no volume need be known.

What the sensors show: `a` steady, then many times as large. Mistaken for it: a tap opened further
(then the fall does not go to nothing), a pump that starts (the motor is watched). A tank that has
lost its air falls to nothing from the start, or without a knee.

Band: below, what the tank's own slow fall could still have come down by before the next reading;
above, what the air, cooled by its own expansion, reads low: at most (n - 1) tau ln(Va2/Va1)/t of the absolute
pressure, n = 1.4 and tau = 2 min for the air to warm again (common practice, no source). A draw too
quick for that allowance to stay within KNOWN_PA is to be done again, slower.

Source: Boyle's law, ideal gas; that a slow drain shows the charge at the knee is common practice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.physics import hydraulics
from analytics.trials.cautions import BREAKER, DRAIN, OPEN_AGAIN
from analytics.trials.filled import full
from analytics.trials.shapes import Conclusion, Estimate, Sighting, Step, Trial
from analytics.trials.spell import until

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

#: Draining: the pressure has fallen by this much from where it stood (some 1.5 psi).
BEGUN_PA = 10e3
#: Nothing left to give: below this (1.5 psi) the line is empty for our purpose.
EMPTY_PA = 10e3
#: A tap above the gauge leaves its own height of water standing: below three metres of it, and still
#: for a minute, the line is empty too. An air charge is far above that (common practice, no source).
STILL_BELOW_PA = 30e3
STILL_S = 60.0
STILL_PA = 2e3
#: `a` beyond so many times its median is the knee: a pipe gives a hundredth of what a tank gives, so
#: the true ratio is far above; a tap touched by hand changes its flow by less.
KNEE_RATIO = 6.0
#: From knee to empty within this share of the time before it: else a tap was opened further.
FAST_SHARE = 0.25
TAU_S = 120.0
EXPONENT = 1.4
#: A charge is set to within some 2 psi, and the tank may by now be so much warmer or colder than then: its
#: charge goes with its air's temperature (common practice, no source).
KNOWN_PA, WARMER_K = 14e3, 10.0
#: A switch comes on within some 1 psi of its setting (common practice, no source).
SWITCH_PA = 7e3
LEAST_READINGS = 8

STEPS = (
    Step("Let the pump run to its stop with every tap shut, and wait until it rests.", name="full"),
    Step("Switch the pump off at its breaker.", BREAKER),
    Step(
        "Open the lowest tap a little, so that a bucket takes a minute or two to fill, and leave it so. Tap "
        "here when it runs.",
        DRAIN,
    ),
    Step("Wait until no more water comes. Ten minutes or more make it sure.", name="draw"),
    Step("Shut the tap, then switch the breaker on again and see the pump fill the tank.", OPEN_AGAIN),
)
SAYS = {
    "as_set": "The tank has its air: what it is filled with agrees with the plant file.",
    "low": "The tank is low on air. With the water side drained, top it up to 2 psi (0.15 bar) below cut-in.",
    "high": "The tank has more air than the plant file says. Correct the file, or let air out with the water "
    "side drained, to 2 psi (0.15 bar) below cut-in.",
    "above_cut_in": "The air charge is above cut-in: the tank is empty before the pump starts, and the "
    "pressure drops to nothing for a moment. Let air out, with the water side drained.",
    "lost": "The pressure fell away without the tank giving water: it has lost its air, or its diaphragm.",
    "too_quick": "Drawn too quickly to tell, the air could not warm again. Once more, the tap nearly shut.",
    "tap_moved": "The tap seems to have been opened further on the way. Once more, and leave it as it is.",
}


def look(plant: Plant, step: Step, spell: Spell) -> Sighting:
    """`full`: at rest near cut-out. `draw`: the fall down to nothing."""
    if step.name == "full":
        return full(plant, spell)
    pa = _atmosphere(plant)
    if len(spell) < 2:
        return Sighting(False, "unheard")
    empty_s = _empty_s(spell)
    spell = until(spell, spell.end_s if empty_s is None else empty_s)
    if spell.ran(5.0):
        return Sighting(True, "pump_ran")
    top, last = float(spell.pressure_pa[0]), float(spell.pressure_pa[-1])
    if empty_s is None:
        return Sighting(False, "falling" if top - last > BEGUN_PA else "standing", 1.0 - last / max(top, 1.0))
    return _judged(spell, pa)


def conclude(plant: Plant, seen: Mapping[str, Sighting], left_out: frozenset[str]) -> Conclusion:
    draw = seen["draw"]
    charge = draw.figures.get("air_charge_pa")
    if charge is None:
        return Conclusion("poor" if draw.seen == "lost" else "unclear", draw.seen, draw.figures)
    if plant.switch is not None and charge.low > plant.switch.cut_in_pa + SWITCH_PA:
        return Conclusion("poor", "above_cut_in", draw.figures)
    if plant.pressure_tank is not None:
        should = plant.pressure_tank.precharge_pa
        within = KNOWN_PA + WARMER_K * hydraulics.thermal_rise_pa_k(should, _atmosphere(plant))
        if charge.high < should - within:
            return Conclusion("poor", "low", draw.figures)
        if charge.low > should + within:
            return Conclusion("poor", "high", draw.figures)
    return Conclusion("good", "as_set", draw.figures)


def _empty_s(spell: Spell) -> float | None:
    """When the line had given its last water; None while it still gives."""
    pressure, time_s = spell.pressure_pa, spell.time_s
    empty = np.flatnonzero(pressure <= EMPTY_PA)
    if len(empty):
        return float(time_s[empty[0]])
    for first in np.flatnonzero(pressure <= STILL_BELOW_PA).tolist():
        if time_s[-1] < time_s[first] + STILL_S:
            return None
        half = time_s <= time_s[first] + STILL_S / 2
        whole = time_s <= time_s[first] + STILL_S
        early, late = pressure[first:][half[first:]], pressure[first:][whole[first:] & ~half[first:]]
        # medians: a gauge's noise alone spans more in a minute than a line that stands may fall
        if len(late) and abs(float(np.median(early) - np.median(late))) <= STILL_PA:
            return float(time_s[first])
    return None


def _atmosphere(plant: Plant) -> float:
    return float(hydraulics.atmosphere_pa_abs(plant.altitude_m))


def _judged(spell: Spell, pa: float) -> Sighting:
    """The knee of a draw that has come down to nothing."""
    time_s, pressure = _drawn(spell)
    if len(time_s) < LEAST_READINGS:
        return Sighting(True, "lost" if len(time_s) >= 2 else "unheard")
    rate = _tap(time_s, pressure, pa)
    knee = _knee(time_s, rate, pressure)
    if knee is None:
        return Sighting(True, "lost")
    if time_s[-1] - time_s[knee] > FAST_SHARE * (time_s[knee] - time_s[0]):
        return Sighting(True, "tap_moved")
    before = float(pressure[knee])
    lasted = float(time_s[knee] - time_s[0])
    grown = np.log((float(pressure[0]) + pa) / (before + pa))
    cool = (EXPONENT - 1.0) * TAU_S * float(grown) / lasted * (before + pa)
    step = spell.step_pa if np.isfinite(spell.step_pa) else 0.0
    slow = (float(pressure[0]) - before) / lasted * float(time_s[knee + 1] - time_s[knee])
    charge = Estimate(before, before - slow - step, before + step + cool)
    figures = {"air_charge_pa": charge, "draw_s": Estimate(lasted, lasted, lasted)}
    if cool > KNOWN_PA:
        return Sighting(True, "too_quick", 1.0, {"draw_s": figures["draw_s"]})
    return Sighting(True, "knee", 1.0, figures)


def _drawn(spell: Spell) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """From the last reading before the fall on."""
    pressure = spell.pressure_pa
    begun = np.flatnonzero(pressure < pressure[0] - BEGUN_PA)
    first = max(int(begun[0]) - 1, 0) if len(begun) else 0
    return spell.time_s[first:], pressure[first:]


def _tap(time_s: NDArray[np.float64], pressure: NDArray[np.float64], pa: float) -> NDArray[np.float64]:
    """`a` between each two readings, from the mean pressure of the two."""
    middle = np.maximum((pressure[1:] + pressure[:-1]) / 2.0, 1.0)
    return np.asarray(-np.diff(pressure) / np.diff(time_s) / (np.sqrt(middle) * (middle + pa) ** 2))


def _knee(
    time_s: NDArray[np.float64], rate: NDArray[np.float64], pressure: NDArray[np.float64]
) -> int | None:
    """The last reading that still lies on the tank's own fall; None where there was no such fall.

    The usual `a` is its mean over the fall's first tenth, in which a tank that has air still gives
    water: a coarse gauge stands still and then jumps, and only the mean is steady.
    """
    tenth = max(int(np.searchsorted(-pressure, -0.9 * pressure[0])), 2)
    gone = np.concatenate([[0.0], np.cumsum(rate * np.diff(time_s))])
    usual = float(gone[tenth] / (time_s[tenth] - time_s[0]))
    for at in np.flatnonzero(rate > KNEE_RATIO * usual).tolist():
        # from here on the whole way down is fast: a coarse gauge that jumps once stands still again
        since = (gone[at + 1 :] - gone[at]) / (time_s[at + 1 :] - time_s[at])
        if at >= max(tenth - 1, 2) and bool(np.all(since > KNEE_RATIO * usual)):
            return int(at)
    return None


TRIAL = Trial(
    "air_charge",
    "Air charge",
    "Has the pressure tank still its air?",
    "15 minutes, most of it waiting",
    STEPS,
    SAYS,
    look,
    conclude,
)
