"""Which faults the fitted sensors can show, in words, from the table of faults."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.faults import coverage

if TYPE_CHECKING:
    from analytics.plant.description import Plant

Rows = list[tuple[str, str]]


def seen_and_unseen(plant: Plant) -> tuple[Rows, Rows]:
    """(can, cannot): the fault's name in words and the sentence of its module."""
    seen: Rows = []
    unseen: Rows = []
    for fault, told in coverage(plant).items():
        (seen if told.can else unseen).append((fault.replace("_", " ").capitalize(), told.sentence))
    return seen, unseen
