"""How often the day on which a filter wanted flushing fell inside the 80 % band, over made-up clogs.

Drawn from four blocking laws, from what lies between them and from a straight line
(`tests.analytics.outlooks.clogs`). A band with no latest day is one that reaches to infinity: it holds what
comes after its earliest day. `forecast` asks the same of simulated plants, from their readings.
"""

from __future__ import annotations

import numpy as np

from analytics.outlooks.clogging import days_to_flush
from tests.analytics.outlooks.clogs import KINDS, LEVEL, asked, made_up

SEEDS = range(5000, 5600)
TIMES = 3


def run() -> None:
    told: dict[str, list[tuple[float, float, float]]] = {kind: [] for kind in KINDS}
    silent = 0
    for seed in SEEDS:
        clog = made_up(seed)
        for day in asked(clog, seed, TIMES):
            points = [(float(k), clog.seen[k], clog.said) for k in range(day + 1)][-90:]
            early, _, late = days_to_flush(points, LEVEL, clog.common)
            if early is None:
                silent += 1
                continue
            told[clog.kind].append((early, late if late is not None else np.inf, clog.flush_day - day))
    for kind in KINDS:
        _row(kind, told[kind])
    _row("all", [one for some in told.values() for one in some])
    print(f"{silent} more were asked before a clog could be told")


def _row(name: str, told: list[tuple[float, float, float]]) -> None:
    early, late, truth = np.array(told).T
    inside = np.mean((truth >= early) & (truth <= late))
    print(
        f"{name:12} {len(told):4} forecasts, {inside:4.0%} inside the 80 % band "
        f"({np.mean(truth < early):.0%} sooner, {np.mean(truth > late):.0%} later), "
        f"width {np.median((late - early) / truth):.2f} of the truth"
    )
