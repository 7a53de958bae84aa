"""Filters that clog, made up: by four blocking laws, by what lies between them, and by a straight line.

Written from the laws themselves, apart from `analytics.outlooks.clogging`, and wider than what that takes
for possible: shares of the clean screen and laws off its grid, water that differs from day to day and
drifts, scatter that the days' own errors understate or overstate, a clean value that is a little wrong.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

LEVEL = 0.75
KINDS = ("cake", "intermediate", "standard", "complete", "between", "line")
_LAW = {"cake": 0.0, "intermediate": 1.0, "standard": 1.5, "complete": 2.0, "line": 1.5}


class Clog(NamedTuple):
    kind: str
    seen: list[float]  # delivery left over clean, a day
    said: float  # standard error that is said of a day
    common: float  # that of the clean value
    flush_day: float  # when delivery truly passed LEVEL


def resistance(law: float, share: float, passed: float) -> float:
    """Of the screen over its clean one, where `passed` of the volume from clean to LEVEL went through:
    the solution of dx/dV = c x^law."""
    end = 1.0 + (LEVEL**-2 - 1.0) / share
    if abs(law - 1.0) < 1e-6:
        return float(end**passed)
    return float((1.0 - passed * (1.0 - end ** (1.0 - law))) ** (1.0 / (1.0 - law)))


def made_up(seed: int) -> Clog:
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    law = _LAW.get(kind, float(rng.uniform(0.0, 2.0)))
    share = 1.0 if kind == "line" else float(np.exp(rng.uniform(np.log(0.03), np.log(0.5))))
    onset, lasts = int(rng.uniform(3, 25)), rng.uniform(10, 90)
    noise = rng.uniform(0.008, 0.03)
    said, common = noise * rng.uniform(0.7, 1.4), rng.uniform(0.005, 0.02)
    clean = 1.0 + common * rng.standard_normal()
    true = [1.0] * onset
    passed, drift = 0.0, 0.0
    while passed < 1.0:
        drift += 0.026 * rng.standard_normal()  # 7 % a week, as a season's
        passed += float(np.exp(drift + 0.25 * rng.standard_normal() - 0.03)) / lasts
        x = resistance(law, share, min(passed, 1.0))
        true.append(1.0 / np.sqrt(1.0 + share * (x - 1.0)))
    flush = len(true) - 2 + (true[-2] - LEVEL) / max(true[-2] - true[-1], 1e-9)
    seen = [clean * one * (1.0 + noise * rng.standard_normal()) for one in true]
    return Clog(kind, seen, said, common, flush)


def asked(clog: Clog, seed: int, times: int) -> list[int]:
    """Days on which a forecast is asked, of those before the flush."""
    last = int(np.ceil(clog.flush_day)) - 1
    days = np.random.default_rng(seed + 1_000_000).integers(6, max(last, 7), times)
    return sorted({int(day) for day in days if day < clog.flush_day})
