"""Admission is idempotent and stored readings do not depend on disorder, repeats or the commits' cut."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.store import Batch, Writer
from tests.collector.store.plants import HOUR_US, START_US, plant, readings

#: Few different times over three hours and few values: repeats and conflicts are the rule.
reading = st.tuples(
    st.integers(0, 1),
    st.integers(0, 12).map(lambda k: START_US + k * (HOUR_US // 4) + k % 3),
    st.integers(0, 5).map(float),
)
commits = st.lists(st.tuples(st.lists(reading, max_size=8), st.booleans(), st.booleans()), max_size=12)


def expected(batches) -> dict[tuple[int, int], float]:
    """The first value of each (signal, time) in order of arrival."""
    held: dict[tuple[int, int], float] = {}
    for rows, _, _ in batches:
        for signal, time_us, value in rows:
            held.setdefault((signal, time_us), value)
    return held


@settings(max_examples=60, deadline=None)
@given(commits)
def test_each_signal_and_time_is_held_once_with_its_first_value(batches):
    with tempfile.TemporaryDirectory() as folder:
        history = Writer(Path(folder), plant())
        for rows, snapshot, reopen in batches:
            fresh = history.admit(readings(rows))
            assert len(history.admit(fresh)) == 0
            history.commit(Batch(fresh, snapshot=b"state" if snapshot else None))
            if reopen:
                history.close()
                history = Writer(Path(folder), plant())
        with history:
            held = expected(batches)
            for position, name in enumerate(("pressure", "motor")):
                series = history.readings(name, 0, 2**62)
                mine = sorted((t, v) for (signal, t), v in held.items() if signal == position)
                assert list(zip(series.time_us.tolist(), series.value.tolist(), strict=True)) == mine
                for step in ("minute", "hour"):
                    bands = history.rollup(name, 0, 2**62, step)
                    assert int(bands.count.sum()) == len(mine)
                    if mine:
                        assert bands.maximum.max() == max(v for _, v in mine)
            assert history.counts()["readings"] == len(held)
            repeats = sum(len(rows) for rows, _, _ in batches) - len(held)
            assert history.counts().get("repeated", 0) == repeats + len(held)  # `fresh` came twice
