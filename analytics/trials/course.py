"""Where a trial stands: its taps and its readings give the step, what is seen, and the conclusion.

Nothing is remembered but when it was begun and when each step was over, so a phone that slept, a
server that was restarted and a second phone all see the same trial.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.trials import air_charge, check_valve, delivery, leak_down
from analytics.trials.shapes import Conclusion
from analytics.trials.spell import spell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.trials.shapes import Sighting, Step, Trial

#: The step that begins most trials; a trial may go on from a tank that is not quite full.
FILLED = "full"
TRIALS: dict[str, Trial] = {
    trial.key: trial for trial in (air_charge.TRIAL, leak_down.TRIAL, check_valve.TRIAL, delivery.TRIAL)
}


@dataclass(frozen=True, slots=True)
class Mark:
    """One step's end. `left_out`: the owner left this step's part of the trial out."""

    time_us: int
    left_out: bool = False


@dataclass(frozen=True, slots=True)
class Course:
    """A trial as of one moment.

    step        the one to do now; None when all are over
    position    its place among the trial's steps
    sighting    what a judged step sees now; None for a step of the hands
    seen        the last sighting of each judged step that is over
    conclusion  as soon as every judged step is over, though hands may still have to put things back
    """

    trial: Trial
    step: Step | None
    position: int
    begun_us: int
    sighting: Sighting | None
    seen: dict[str, Sighting]
    conclusion: Conclusion | None


def course(
    plant: Plant, trial: Trial, begun_us: int, marks: Sequence[Mark], readings: Readings, now_us: int
) -> Course:
    """`readings` SI, from `begun_us` on; a step that leaves its part out ends those that follow of it."""
    seen: dict[str, Sighting] = {}
    left_out: set[str] = set()
    since, left = begun_us, list(marks)
    for position, step in enumerate(trial.steps):  # noqa: B007 (told to the caller)
        if step.part and step.part in left_out:
            continue
        if not left:
            break
        mark = left.pop(0)
        if mark.left_out and step.skip:
            left_out.add(step.part)
        elif step.name:
            seen[step.name] = trial.look(plant, step, spell(plant, readings, since, mark.time_us))
        since = mark.time_us
    else:
        return Course(
            trial, None, len(trial.steps), since, None, seen, _concluded(plant, trial, seen, left_out)
        )
    sighting = trial.look(plant, step, spell(plant, readings, since, now_us)) if step.name else None
    return Course(trial, step, position, since, sighting, seen, _concluded(plant, trial, seen, left_out))


def _concluded(
    plant: Plant, trial: Trial, seen: dict[str, Sighting], left_out: set[str]
) -> Conclusion | None:
    wanted = {step.name for step in trial.steps if step.name and step.part not in left_out}
    if not wanted <= set(seen):
        return None
    if any(not seen[name].over for name in wanted - {FILLED}):
        return Conclusion("unclear", "too_early")
    return trial.conclude(plant, seen, frozenset(left_out))
