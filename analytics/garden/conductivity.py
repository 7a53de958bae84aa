"""Conductivity of water: brought to 25 degC, and as dissolved solids."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.plant.garden import PER_DEGREE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

import numpy as np

REFERENCE_C = 25.0
#: mg/L for each dS/m up to 5 dS/m and above. Source: UC ANR for the first, FAO 29 gives both.
_SOLIDS_BELOW, _SOLIDS_ABOVE, _SOLIDS_STEP_S_M = 640.0, 800.0, 0.5


def at_25(
    conductivity_s_m: ArrayLike, temperature_c: ArrayLike, per_degree: float = PER_DEGREE
) -> NDArray[np.float64]:
    """What a conductivity read at some temperature is at 25 degC [S/m]; arrays of one shape.

    Linear, referred to 25 degC. Source: Standard Methods 2510 B (0.0191 a degree, from memory);
    Hayashi (2004) found 0.0187, from 0.0175 to 0.0198; the common rule is 0.02.

    >>> round(float(at_25(0.035, 10.0, 0.0187)), 4)
    0.0486
    """
    share = 1.0 + per_degree * (np.asarray(temperature_c, np.float64) - REFERENCE_C)
    return np.asarray(np.asarray(conductivity_s_m, np.float64) / share)


def dissolved_solids_mg_l(conductivity_s_m: float) -> float:
    """Total dissolved solids that go with a conductivity at 25 degC: a rule for mixed natural salts.

    >>> dissolved_solids_mg_l(0.15)
    960.0
    """
    factor = _SOLIDS_BELOW if conductivity_s_m <= _SOLIDS_STEP_S_M else _SOLIDS_ABOVE
    return conductivity_s_m * 10.0 * factor
