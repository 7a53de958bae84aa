"""Cases are their seed's and nothing else's, and are written in the contract's formats."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from tests.examiner import plants
from tests.examiner.drawing import afflict, drawn
from tests.examiner.faults import TABLE


def written(seed: int, kind: str) -> tuple[str, bytes, list[str]]:
    rng = np.random.default_rng(seed)
    case = drawn(rng, [kind], 20, changing=True)
    afflict(case, rng, [kind], relapse=False)
    text = plants.text(case.plant, [s.lines(case.plant) for s in case.sensors])
    return text, case.controls.tobytes() + repr(case.demand.draws).encode(), [t.fault for t in case.truths]


def test_same_seed_same_case() -> None:
    assert written(5, "clog_slow") == written(5, "clog_slow")
    assert written(5, "clog_slow") != written(6, "clog_slow")


@pytest.mark.parametrize("kind", TABLE)
def test_every_fault_can_be_drawn_and_is_told(kind: str) -> None:
    text, _, faults = written(11, kind)
    file = tomllib.loads(text)
    assert file["version"] == 1
    assert {"line_pressure"} < {s["measures"] for s in file["signal"]}
    assert len(faults) == 1
