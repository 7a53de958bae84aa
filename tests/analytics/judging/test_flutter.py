"""A contact that bounces where it closes, and not where it opens."""

from __future__ import annotations

import pytest

from analytics.judging.flutter import bounced, burst, edged
from analytics.records import Cycle
from analytics.seeing.events import Run

S = 1_000_000


def run(start_s: int, run_s: int) -> Run:
    cycle = Cycle(start_s * S, (start_s + run_s) * S, float(run_s))
    return Run(cycle.stop_us, cycle, True, 1.0)


@pytest.mark.parametrize(
    ("bounces", "told"),
    [("bbb", True), ("b.bb", True), ("b..b.b", False), ("b..b.b.b", True), ("b....b....b", False)],
)
@pytest.mark.parametrize("closes", [True, False])
def test_bounces_at_the_starts_alone_are_told(bounces: str, told: bool, closes: bool) -> None:
    """A run of a minute each hour; at some of them the contact bounces once, as it closes or as it opens."""
    edges: list[list[float]] = []
    brief: list[list[float]] = []
    said = False
    for hour, bounce in enumerate(f"{bounces}b"):  # what lay beside a start is known with the next bounce
        begins_s = 3_600 * (hour + 1)
        bit = run(begins_s - 4 if closes else begins_s + 62, 1)
        if not closes:
            edges = edged(edges, brief, run(begins_s, 60))
        if bounce == "b":
            brief, _ = burst(brief, bit)
            edges, often = bounced(edges, bit)
            said |= often and (closes or hour < len(bounces))
        if closes:
            edges = edged(edges, brief, run(begins_s, 60))
    assert said is told
