"""What a person at the plant does by hand: the breaker, a tap, the valves beside tank and garden.

Nothing here is a fault. A person's doing takes hold at the world's own moment, which is up to a few
minutes after the readings that were handed out: advance to it before you look for it in readings.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from simulator.demand.enduses import Use

if TYPE_CHECKING:
    from simulator.works.world import World


class Hands:
    """Somebody who stands beside one world's plant."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._tap: Use | None = None

    def breaker(self, *, on: bool) -> None:
        """Give the motor's circuit its supply, or take it away."""
        self._world.motor.supply(self._world.now_s, on=on)

    def open_tap(self, flow_m3_s: float) -> None:
        """A tap of the house, giving this much at the middle of the switch's band; one at a time."""
        self.shut_tap()
        self._tap = Use(self._world.now_s, inf, flow_m3_s, "house")
        self._world.outlets.open(self._tap)
        self._world.touched()

    def shut_tap(self) -> None:
        """Shut the tap that was opened; nothing where none is open."""
        if self._tap is not None:
            self._world.outlets.close(self._tap)
            self._tap = None
            self._world.touched()

    def tank_valve(self, *, is_open: bool) -> None:
        """The valve between pressure tank and pipe."""
        if is_open:
            self._world.totals.exchanged += self._world.vessel.join()
        else:
            self._world.vessel.part()
        self._world.touched()

    def garden_valve(self, *, is_open: bool) -> None:
        """The valve after the pressure tank, to house and garden; the buried line's leak lies beyond it."""
        self._world.line_open(is_open)
