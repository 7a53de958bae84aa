"""What is really wrong: the labels that travel with simulated readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from simulator.truth.symptoms import LIMITED, symptomatic_s
from simulator.works import faults

if TYPE_CHECKING:
    from simulator.simulation import Simulation


@dataclass(frozen=True, slots=True)
class Truth:
    """One fault that a simulated plant really had.

    `symptomatic_us` is when it first shows (see `symptoms`); None while it has not. `until_us` is
    when it was repaired or went; None while it stands. A `follows` was planned by nobody: weather,
    life or another fault brought it about, so a finding of it is right and its absence no miss.
    """

    fault: str
    cause: str | None
    of: str | None
    severity: float
    from_us: int
    symptomatic_us: int | None
    until_us: int | None
    follows: bool = False

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
            "follows": self.follows,
        }


def stamp(time_us: int | None) -> str | None:
    """RFC 3339 in UTC; None stays None."""
    if time_us is None:
        return None
    moment = datetime.fromtimestamp(time_us / 1e6, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def truths(simulation: Simulation) -> list[Truth]:
    """The truths of a simulation as far as it has been advanced, by their beginning."""
    found = []
    left = followed(simulation)
    for truth in planned(simulation):
        same = [one for one in left if one.fault == truth.fault and _overlap(one, truth)]
        left = [one for one in left if one not in same]
        if truth.fault in LIMITED:  # it is there once its limit is passed, not when its cause began
            shows = min((max(one.from_us, truth.from_us) for one in same), default=None)
            truth = replace(truth, symptomatic_us=shows)
        found.append(truth)
    return sorted(found + left, key=lambda truth: (truth.from_us, truth.fault))


def _overlap(one: Truth, other: Truth) -> bool:
    ends = [truth.until_us if truth.until_us is not None else float("inf") for truth in (one, other)]
    return one.from_us < ends[1] and other.from_us < ends[0]


def planned(simulation: Simulation) -> list[Truth]:
    """The scenario's faults that have begun."""
    world, start_us, now_us = simulation.world, simulation.start_us, simulation.now_us
    found = []
    for plan in simulation.scenario.faults:
        from_us = start_us + round(max(plan.from_s, 0.0) * 1e6)
        if from_us >= now_us:
            continue
        end_s = (now_us - start_us) / 1e6 if plan.until_s is None else plan.until_s
        ended = plan.until_s is not None and start_us + plan.until_s * 1e6 <= now_us
        shows_s = (
            None
            if plan.fault in LIMITED
            else symptomatic_s(
                simulation.plant,
                simulation.scenario,
                simulation.seed,
                start_us,
                plan,
                min(end_s, (now_us - start_us) / 1e6),
            )
        )
        found.append(
            Truth(
                plan.fault,
                faults.mechanism(plan.fault, plan.cause).cause,
                plan.signal or world.place_of(plan.fault),
                plan.severity,
                from_us,
                None if shows_s is None else start_us + round(shows_s * 1e6),
                start_us + round(end_s * 1e6) if ended else None,
            )
        )
    return found


def followed(simulation: Simulation) -> list[Truth]:
    """What came about unplanned. The world runs on by the owner's warning horizon, to know whether
    the storage lasts; what it does there is what it will do."""
    world, start_us, now_us = simulation.world, simulation.start_us, simulation.now_us
    now_s = (now_us - start_us) / 1e6
    ahead_s = max((storage.warn_ahead_s for storage in simulation.plant.storages[:1]), default=0.0)
    world.run_until(now_s + ahead_s)
    spans = [
        (fault, began, ended)
        for fault in ("freeze_risk", "storage_overflow", "dry_supply")
        for began, ended in world.spans.get(fault, [])
    ]
    spans += [
        ("storage_depletion", max(began - ahead_s, 0.0), ended)
        for began, ended in world.spans.get("empty", [])
    ]
    return [
        Truth(
            fault,
            None,
            world.place_of(fault),
            1.0,
            start_us + round(began * 1e6),
            start_us + round(began * 1e6),
            start_us + round(ended * 1e6) if ended < now_s else None,
            follows=True,
        )
        for fault, began, ended in spans
        if began < now_s
    ]
