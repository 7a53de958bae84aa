"""What a promise of `coverage` comes to at this plant's sampling: how soon, and what is left out.

A detector that looks into a run wants some SAMPLES of it, so that what takes half a minute at a sample a
second takes six minutes at one a minute. How far apart readings come is what the plant file says (`every`).
Where it says nothing it is learned later, and both are told. A sensor that reports on change has its longest
silence for `every` (contract), and is as fine as it needs to be: the plant file does not show which, so that
from ON_CHANGE_S on the words allow for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.decline import BLIND_S
from analytics.judging.signature import COARSE_S
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.plant.description import Plant

#: Five samples tell what stands from what moves (`burst_line`), and the fault begins between two.
SAMPLES = 6
#: Who samples pressure or a motor a minute apart does so seldom; as a sign of life a minute is usual (common
#: practice, no source).
ON_CHANGE_S = 60.0


def interval_s(plant: Plant) -> float | None:
    """The slower of line pressure and motor, as far as the plant file says; None where it does not say."""
    motor = motor_signal(plant)
    asked = [*plant.measuring(Measure.LINE_PRESSURE), *([] if motor is None else [motor])]
    said = [plant.signals[at].every_s for at in asked]
    known = [every_s for every_s in said if every_s is not None]
    return max(known) if known and (len(known) == len(said) or max(known) >= COARSE_S) else None


def within(plant: Plant, at_best_s: float) -> str:
    """In how long something is told that takes `at_best_s` at a sample a second: "within half a minute"."""
    every_s = interval_s(plant)
    best = "half a minute" if at_best_s == 30.0 else words.duration(at_best_s)
    if every_s is None:
        return f"within {best} (six samples, where that is longer)"
    if SAMPLES * every_s <= at_best_s:
        return f"within {best}"
    sooner = "" if every_s < ON_CHANGE_S else " (on change: sooner)"
    return f"within {words.duration(SAMPLES * every_s)}{sooner}"


def late(plant: Plant) -> str:
    """What samples far apart make of a loss of delivery; nothing where they come often enough."""
    every_s = interval_s(plant)
    if every_s is None:
        return " Where readings come 15 s apart or more it shows days late, and not always."
    if every_s < COARSE_S:
        return ""
    how = "after two days or more, and not always" if every_s >= BLIND_S else "a day or two late"
    return f" At readings {apart(every_s)} apart{unless_on_change(every_s)}, it shows {how}."


def apart(every_s: float) -> str:
    """An interval as a person says it: "10 s", "5 min"."""
    return f"{every_s / 60.0:.3g} min" if every_s >= 120.0 else f"{every_s:.3g} s"


def unless_on_change(every_s: float) -> str:
    return "" if every_s < ON_CHANGE_S else ", unless on change"
