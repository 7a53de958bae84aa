"""A year of readings must not grow what the engine keeps (bounded memory, the contract's promise)."""

from __future__ import annotations

import numpy as np

from analytics.engine import Engine
from analytics.readings import Readings
from tests.analytics.test_engine import DAY_US, plant, readings

DAYS, TURNS = 7, 52  # the same week again and again: a year


def thinned(scenario: str) -> Readings:
    """Fast signals at a word a minute, slow ones as they are."""
    everything = readings(scenario, DAYS)
    mine = [np.flatnonzero(everything.signal == at) for at in range(len(plant().signals))]
    parts = [everything[where[:: 60 if len(where) > 80_000 * DAYS else 1]] for where in mine]
    return Readings.concatenate(parts).in_time_order()


def test_a_year_grows_no_state() -> None:
    some, engine, sizes = thinned("healthy"), Engine(plant()), []
    for turn in range(TURNS):
        engine.feed(Readings(some.signal, some.time_us + turn * DAYS * DAY_US, some.value))
        sizes.append(len(engine.snapshot()))
    learned, year = sizes[9:17], sizes[-10:]  # in two months everything has filled its window
    assert max(year) <= 1.02 * max(learned), sizes
