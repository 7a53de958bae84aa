"""Quantiles of a forecast are NumPy's, to the last digit."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.outlooks.forecast import _quantiles

SHARES = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 9, 10, 28, 251, 810])
def test_they_are_those_of_numpy(count: int) -> None:
    random = np.random.default_rng(count)
    for values in (random.exponential(30.0, count), np.minimum(random.exponential(900.0, count), 730.0)):
        table = values.reshape(-1, 2) if count % 2 == 0 else values
        assert _quantiles(table, SHARES) == np.quantile(values, SHARES).tolist()
