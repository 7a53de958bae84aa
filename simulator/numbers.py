"""A number or an array of them: the physics takes either."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
#: Float in, float out; array in, array out. `Any` lets the type checker follow both at once.
Number: TypeAlias = Any
