"""What is to happen when: acts in order of their time."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


class Agenda:
    """Acts to come. Those of one instant happen in the order in which they were entered."""

    def __init__(self) -> None:
        self._acts: list[tuple[float, int, Callable[[], None]]] = []
        self._entered = 0

    def at(self, when_s: float, act: Callable[[], None]) -> None:
        """Enter an act."""
        self._entered += 1
        heapq.heappush(self._acts, (float(when_s), self._entered, act))

    def do_due(self, now_s: float) -> None:
        """Do everything whose time has come, and what that enters for now."""
        while self._acts and self._acts[0][0] <= now_s:
            heapq.heappop(self._acts)[2]()

    def next_s(self) -> float:
        """Time of the next act; never is infinity."""
        return self._acts[0][0] if self._acts else float("inf")
