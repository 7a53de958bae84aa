"""The pressure switch and the motor's thermal protector: who lets the motor have current."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.seeds import stream

if TYPE_CHECKING:
    from simulator.works.condition import Condition
    from simulator.works.hardware import Hardware

#: A small motor's protector opens after so long at locked-rotor current and closes again when it
#: has cooled (common practice, no source).
TRIPS_AFTER_S = 9.0
COOLS_IN_S = 95.0


class PressureSwitch:
    """Contacts that close at cut-in and open at cut-out, each with a little scatter of its own."""

    def __init__(self, hardware: Hardware, seed: int) -> None:
        self._hardware = hardware
        self._random = stream(seed, "switch")
        self._odd_pa = 0.0
        self.closed = False
        self._redraw()

    def _redraw(self) -> None:
        self._odd_pa = float(self._random.normal(0.0, self._hardware.sizes.scatter_pa))

    def threshold_pa(self, condition: Condition) -> float:
        """Where it operates next: cut-out when closed, cut-in when open."""
        if self.closed:
            return self._hardware.cut_out_pa + condition.cut_out_shift_pa + self._odd_pa
        return self._hardware.cut_in_pa + condition.cut_in_shift_pa + self._odd_pa

    def crossed(self, pressure_pa: float, condition: Condition) -> bool:
        """Whether this pressure operates it. A welded contact does not open."""
        if self.closed:
            return not condition.contact_stuck and pressure_pa >= self.threshold_pa(condition)
        return pressure_pa <= self.threshold_pa(condition)

    def operate(self) -> None:
        """Close if open, open if closed; the next operation scatters anew."""
        self.closed = not self.closed
        self._redraw()

    def bounces(self, condition: Condition) -> list[float]:
        """Instants [s] after a closure at which a worn contact opens and closes again, in turn.

        A pitted contact, or a sensing tube half shut with scale, lets go and takes hold again for some
        seconds, at about the pace of fast clapping down to one a second (common practice, no source).
        """
        if condition.chatter <= 0.0 or self._random.random() > condition.chatter:
            return []
        gaps = self._random.uniform(0.2, 1.5, 2 * int(self._random.integers(4, 12)))
        return [float(instant) for instant in gaps.cumsum()]
