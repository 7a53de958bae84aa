"""Whether the motor has current: switch, worn contacts, thermal protector."""

from __future__ import annotations

from functools import partial
from math import isnan, nan
from typing import TYPE_CHECKING

from simulator.works.switch import COOLS_IN_S, TRIPS_AFTER_S, PressureSwitch

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.agenda import Agenda
    from simulator.works.condition import Condition
    from simulator.works.hardware import Hardware


class MotorControl:
    """The circuit from the pressure switch to the windings.

    changed: called whenever the motor may have gained or lost current.
    """

    def __init__(self, hardware: Hardware, seed: int, agenda: Agenda, changed: Callable[[], None]) -> None:
        self.switch = PressureSwitch(hardware, seed)
        self.run_since = nan  # [s]; NaN at rest
        self._agenda, self._changed = agenda, changed
        self._tripped = self._bounced_open = False
        self._supplied = True

    @property
    def energised(self) -> bool:
        return self._supplied and self.switch.closed and not self._tripped and not self._bounced_open

    def supply(self, now_s: float, *, on: bool) -> None:
        """The breaker is switched."""
        self._supplied = on
        self._update(now_s)

    def operate(self, now_s: float, condition: Condition) -> None:
        """The pressure has reached the switch's point."""
        self.switch.operate()
        if self.switch.closed:
            for i, after_s in enumerate(self.switch.bounces(condition)):
                self._agenda.at(now_s + after_s, partial(self._bounce, now_s + after_s, i % 2 == 0))
        self._update(now_s)

    def _bounce(self, now_s: float, opens: bool) -> None:
        self._bounced_open = opens and self.switch.closed
        self._update(now_s)

    def _update(self, now_s: float) -> None:
        if not self.energised:
            self.run_since = nan
        elif isnan(self.run_since):
            self.run_since = now_s
        self._changed()

    def watch(self, now_s: float, rotor_locked: bool) -> None:
        """The protector: opens after some seconds of locked-rotor current, closes when it has cooled."""
        if rotor_locked and self.energised and now_s - self.run_since >= TRIPS_AFTER_S:
            self._tripped = True
            self._update(now_s)
            self._agenda.at(now_s + COOLS_IN_S, partial(self._let_go, now_s + COOLS_IN_S))

    def _let_go(self, now_s: float) -> None:
        self._tripped = False
        self._update(now_s)
