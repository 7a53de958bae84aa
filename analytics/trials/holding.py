"""How fast a closed system loses pressure, and how much water that is.

Every valve shut and the pump off, the only water that leaves is what leaks. The pressure tank's air
turns it into a fall of pressure: q = -C(P) dP/dt, with C from Boyle's law
(`hydraulics.tank_compliance_m3_pa`). Three things hide or feign a leak, and make the band:

- the scatter of the readings about a straight line (standard error of the slope, doubled);
- the gauge's own step: one that stands still may hide a fall of a whole step over the hold;
- the tank's air warming or cooling with the day: (P + pa)/T for each kelvin (`thermal_rise_pa_k`).
  Half a kelvin an hour is allowed for a tank indoors that has come to rest; one in the sun does more.

Source: Boyle and Gay-Lussac; half a kelvin an hour is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.physics import hydraulics
from analytics.physics.fits import fit_lines
from analytics.trials.shapes import Estimate

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

#: Air that a fill has warmed comes to the tank's own temperature within some two minutes (the time
#: constant; common practice, no source): after ten, less than one part in a hundred of it is left.
SETTLE_S = 600.0
#: A pipe has no air to settle; the knock of a valve that was shut has.
SETTLE_PIPE_S = 20.0
HOLD_S = 900.0
PIPE_S = 600.0
DRIFT_K_S = 0.5 / 3600.0
#: Where no gauge step was seen, it is taken for a two-hundredth of the pressure: a common 0.5 % gauge.
STEP_SHARE = 1.0 / 200.0
#: So many readings make a line with an error.
LEAST_READINGS = 12


@dataclass(frozen=True, slots=True)
class Hold:
    """A stretch with everything shut. `fall_pa_s` is above zero where pressure is lost."""

    lasted_s: float
    pressure_pa: float
    fall_pa_s: Estimate


def held(spell: Spell, settle_s: float, atmosphere_pa_abs: float, *, air: bool) -> Hold | None:
    """The hold after `settle_s` of rest; None while there are too few readings to fit.

    `air`: whether the tank's air is in it, and with it the day's warming and cooling.
    """
    first = int(np.searchsorted(spell.time_s, settle_s))
    time_s, pressure = spell.time_s[first:], spell.pressure_pa[first:]
    if len(time_s) < LEAST_READINGS or time_s[-1] <= time_s[0]:
        return None
    time_us = np.round(time_s * 1e6).astype(np.int64)
    line = fit_lines(time_us, pressure, np.array([0]), np.array([len(time_us)]))
    lasted, mean = float(time_s[-1] - time_s[0]), float(line.mean[0])
    step = spell.step_pa if np.isfinite(spell.step_pa) else STEP_SHARE * mean
    drift = float(hydraulics.thermal_rise_pa_k(mean, atmosphere_pa_abs)) * DRIFT_K_S if air else 0.0
    # one step over the hold, evenly likely anywhere within it: 0.95 of a rectangle's half width
    wide = float(np.hypot(np.hypot(2.0 * line.error[0], 0.95 * step / lasted), drift))
    fall = -float(line.slope[0])
    return Hold(lasted, mean, Estimate(fall, fall - wide, fall + wide))


def lost_water_m3_s(plant: Plant, hold: Hold, atmosphere_pa_abs: float) -> Estimate | None:
    """The leak that the hold's fall is, with the pressure tank in it; None without a tank in the plant file.

    The plant file's volume and charge are taken for within a twentieth (absolute), which is what a
    maker's nominal volume and a tyre gauge leave open (common practice, no source).
    """
    tank = plant.pressure_tank
    if tank is None:
        return None
    pressure = max(hold.pressure_pa, tank.precharge_pa)
    c = float(
        hydraulics.tank_compliance_m3_pa(pressure, tank.volume_m3, tank.precharge_pa, atmosphere_pa_abs)
    )
    ends = sorted(
        c * scale * edge for scale in (0.93, 1.07) for edge in (hold.fall_pa_s.low, hold.fall_pa_s.high)
    )
    return Estimate(c * hold.fall_pa_s.value, ends[0], ends[-1])
