"""What is said of short cycling: the sentence of a finding, and of what samples far apart can show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.cycling_run import FINE_S, shortest_s
from analytics.judging.watch import Coverage
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.plant.description import Plant

WHY = {
    "lost_air_charge": "the pressure tank has lost its air charge",
    "overcharged_tank": "the pressure tank's air charge is above the cut-in pressure",
    "narrow_switch_band": "the pressure switch's cut-in and cut-out stand too close together",
    "switch_chatter": "the pressure switch flutters (a worn contact or a blocked sensing tube)",
    "undersized_tank": "the pressure tank is too small for this pump",
    "leak": "water is drawn all the time, as by a leak",
}
#: What is said where the cause is open between these.
OPEN = {
    ("overcharged_tank", "narrow_switch_band"): (
        "an air charge above the cut-in pressure and a cut-in that has moved up look alike at this sampling: "
        "check the air charge with the tank drained."
    ),
    ("overcharged_tank", "lost_air_charge"): (
        "a lost air charge and one above the cut-in pressure look alike at this sampling: check the air "
        "charge with the tank drained."
    ),
    ("lost_air_charge",): (
        "the sensors cannot tell lost air from a changed pump: check the air charge with the tank drained."
    ),
    (): (
        "without a pressure signal lost air, a switch that has moved and a motor that trips look alike: "
        "check the air charge with the tank drained, then read a gauge at start and stop."
    ),
}


def sentence(
    run_s: float,
    expected_s: float | None,
    starts: tuple[int, float | None],
    cause: str | None,
    between: Sequence[str],
) -> str:
    """`starts`: in the last hour, and how many the pump stands where they are the reason."""
    said = f"The pump runs only {words.duration(run_s)} at a time"
    if expected_s is not None and expected_s > run_s:
        said += f"; {words.duration(expected_s)} is to be expected"
    count, limit = starts
    if limit is not None:
        said = f"The pump starts {count} times an hour, and stands {limit:.0f}"
    return f"{said}: {WHY[cause]}." if cause is not None else f"{said}; {OPEN[tuple(between)]}"


def by_sampling(plant: Plant) -> Coverage:
    """What samples as far apart as the plant file says can tell of short runs."""
    positions = (*plant.measuring(Measure.LINE_PRESSURE), *plant.measuring(*MOTOR_MEASURES)[:1])
    every_s = max((plant.signals[at].every_s or 0.0 for at in positions), default=0.0)
    if every_s <= FINE_S:
        return Coverage(True, "Told within five runs, with the cause.")
    if every_s < 0.5 * shortest_s(plant):
        return Coverage(
            True,
            "Told within five runs; samples more than 3 s apart leave the cause open for hours, or for good, "
            "between an air charge above the cut-in pressure and a cut-in that has moved up.",
        )
    return Coverage(
        True,
        "Told only of runs longer than the samples are apart; the cause often stays open between a lost air "
        "charge and one above the cut-in pressure, which samples 3 s apart would tell.",
    )
