"""What is said of short cycling: the sentence of a finding, and of what samples far apart can show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.cycling_run import FINE_S, shortest_s
from analytics.judging.pace_words import apart, interval_s, unless_on_change
from analytics.judging.watch import Coverage

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

#: What is to be expected is said where it is a tenth longer: less explains nothing.
WORTH_SAYING = 1.1


def sentence(
    run_s: float,
    expected_s: float | None,
    starts: tuple[int, float | None],
    cause: str | None,
    between: Sequence[str],
) -> str:
    """`starts`: in the last hour, and how many the pump stands where they are the reason."""
    said = f"The pump runs only {_lasts(run_s)} at a time"
    if expected_s is not None and expected_s > WORTH_SAYING * run_s:
        said += f"; {_lasts(expected_s)} is to be expected"
    count, limit = starts
    if limit is not None:
        said = f"The pump starts {count} times an hour, and stands {limit:.0f}"
    return f"{said}: {WHY[cause]}." if cause is not None else f"{said}; {OPEN[tuple(between)]}"


def _lasts(run_s: float) -> str:
    """In seconds as long as two runs that differ would be rounded to the same minutes."""
    return words.duration(run_s) if run_s >= 600.0 or run_s < 90.0 else f"{run_s:.0f} seconds"


def by_sampling(plant: Plant) -> Coverage:
    """What samples as far apart as the plant file says can tell of short runs."""
    every_s = interval_s(plant)
    if every_s is not None and every_s <= FINE_S:
        return Coverage(True, "Told within five runs, with the cause.")
    if every_s is None:
        return Coverage(
            True,
            "Told within five runs, with the cause where samples are 3 s apart or less. Farther apart they "
            "leave it open for hours, or for good, between an air charge that is lost and one above the "
            "cut-in pressure, and no run shows that is shorter.",
        )
    if every_s < 0.5 * shortest_s(plant):
        return Coverage(
            True,
            f"Told within five runs; samples {apart(every_s)} apart leave the cause open for hours, or for "
            "good, between an air charge above the cut-in pressure and a cut-in that has moved up; samples "
            "3 s apart would tell.",
        )
    return Coverage(
        True,
        f"Only runs longer than the samples are apart show ({apart(every_s)}{unless_on_change(every_s)}); "
        "the cause often stays open between a lost air charge and one above the cut-in pressure, which "
        "samples 3 s apart would tell.",
    )
