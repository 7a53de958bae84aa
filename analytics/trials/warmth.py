"""Water in a pressure tank from its pressure over time, with its air warming and cooling as it goes.

Air that is squeezed warms, air that gives way cools, and the wall takes it back with one time constant:

    T' = kappa (T/p) p' + (T_wall - T)/(gamma tau)      w = V - (Pc + pa) V (T/T_wall) / p

The measured pressure gives both, sample by sample, from a moment at which the air was at the wall's
own temperature. Isothermal is tau = 0. In a fill of a minute or two that comes after a quick draw, w
taken isothermal grows up to a third too fast: the air was cold, and is warmed twice over.

TAUS_S: two minutes (common practice, no source), within a factor of three, and none at all.

Source: the first law for a closed ideal gas with one time constant for its heat.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import PressureTank

GAMMA = 1.4
KAPPA = (GAMMA - 1.0) / GAMMA
TAU_S = 120.0
TAUS_S = (0.0, TAU_S / 3.0, TAU_S, 3.0 * TAU_S)


def water_m3(
    time_s: NDArray[np.float64],
    pressure_pa: NDArray[np.float64],
    tank: PressureTank,
    atmosphere_pa_abs: float,
    tau_s: float,
) -> NDArray[np.float64]:
    """Water in the tank at each reading, (N,) m3; the first one finds the air at rest."""
    absolute = pressure_pa + atmosphere_pa_abs
    warm = _warm(time_s, absolute, tau_s) if tau_s > 0.0 else np.ones(len(absolute))
    air = (tank.precharge_pa + atmosphere_pa_abs) * tank.volume_m3 * warm / absolute
    return np.asarray(np.maximum(tank.volume_m3 - air, 0.0))


def _warm(time_s: NDArray[np.float64], absolute: NDArray[np.float64], tau_s: float) -> NDArray[np.float64]:
    """The air's temperature over the wall's."""
    squeezed = (absolute[1:] / absolute[:-1]) ** KAPPA
    left = np.exp(-np.diff(time_s) / (GAMMA * tau_s))
    warm, at = [1.0], 1.0
    for more, kept in zip(squeezed.tolist(), left.tolist(), strict=True):
        at = 1.0 + (at * more - 1.0) * kept
        warm.append(at)
    return np.array(warm)
