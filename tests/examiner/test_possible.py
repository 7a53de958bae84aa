"""What may rightly be told though nobody put it in."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from tests.examiner import physics as ph
from tests.examiner.plants import Storage
from tests.examiner.recording import COARSE_S, DAY_S, possible


@pytest.mark.parametrize(
    ("level_fitted", "second_m", "told"), [(False, 0.1, 1), (True, 0.1, 0), (False, 1.0, 0)]
)
def test_a_pump_whose_storages_ran_out_may_be_said_to_have_lost_its_prime_where_no_level_says_why(
    level_fitted: bool, second_m: float, told: int
) -> None:
    """Of two storages both must have run out: from either the pump still draws."""
    coarse = np.zeros((int(3 * DAY_S / COARSE_S), ph.RECORDED))
    coarse[:, ph.R_LEVEL_A], coarse[:, ph.R_LEVEL_B] = 1.0, 1.0
    empty = slice(int(2 * DAY_S / COARSE_S), int(2.5 * DAY_S / COARSE_S))
    coarse[empty, ph.R_LEVEL_A], coarse[empty, ph.R_LEVEL_B] = 0.1, second_m
    case = SimpleNamespace(
        plant=SimpleNamespace(storages=(Storage("a", 1.0, 2.0, 0.1, 0.5), Storage("b", 1.0, 2.0, 0.1, 0.5))),
        has=lambda measures: level_fitted and measures == "storage_level", sensors=[], daily_m3=lambda: 0.1,
    )  # fmt: skip
    may = [one for one in possible(case, SimpleNamespace(coarse=coarse)) if one["fault"] == "lost_prime"]  # type: ignore[arg-type]
    assert len(may) == told
    assert all(one["start_s"] <= 2 * DAY_S <= one["end_s"] for one in may)  # type: ignore[operator]
