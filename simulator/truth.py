"""What is really wrong: the labels that travel with simulated readings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simulator.simulation import Simulation


@dataclass(frozen=True, slots=True)
class Truth:
    """One fault that a simulated plant really had.

    `symptomatic_us` is when its effect first leaves what noise and limits hide; None while it has
    not. `until_us` is when it was repaired; None while it stands.
    """

    fault: str
    cause: str | None
    of: str | None
    severity: float
    from_us: int
    symptomatic_us: int | None
    until_us: int | None

    def as_json(self) -> dict[str, object]:
        """The truth as a readings file's companion has it."""
        return {
            "fault": self.fault,
            "cause": self.cause,
            "of": self.of,
            "severity": self.severity,
            "from": stamp(self.from_us),
            "symptomatic_from": stamp(self.symptomatic_us),
            "until": stamp(self.until_us),
        }


def stamp(time_us: int | None) -> str | None:
    if time_us is None:
        return None
    moment = datetime.fromtimestamp(time_us / 1e6, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def truths(simulation: Simulation) -> list[Truth]:
    """The truths of a simulation as far as it has been advanced, by their beginning."""
    start_us, now_us = simulation.start_us, simulation.now_us
    found = []
    for plan in simulation.scenario.faults:
        from_us = start_us + round(max(plan.from_s, 0.0) * 1e6)
        if from_us >= now_us:
            continue
        until_us = None if plan.until_s is None else start_us + round(plan.until_s * 1e6)
        if until_us is not None and until_us > now_us:
            until_us = None
        mechanism = simulation.world.mechanism_of(plan)
        found.append(
            Truth(
                plan.fault,
                mechanism.cause,
                plan.signal or simulation.world.place_of(plan),
                plan.severity,
                from_us,
                None,
                until_us,
            )
        )
    return sorted(found, key=lambda truth: truth.from_us)
