"""What is truly wrong and since when, and by when it must have been told (issue of the times, item 3)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.examiner.physics import R_LEVEL_A, R_LINE, R_ON, R_PUMPED, Array, Mask

DAY_S = 86400.0
# Faults whose delay is given; all others are given a time here that an owner could live with.
CORE = (
    "lost_prime", "dry_supply", "burst_line", "short_cycling", "clogged_filter", "storage_depletion",
    "supply_leak", "storage_leak",
)  # fmt: skip
# What else a fault truly brings about, which would hang on it.
FOLLOWS = {
    "burst_line": ("supply_leak", "storage_depletion", "dry_supply", "short_cycling", "storage_leak"),
    "supply_leak": ("short_cycling", "storage_depletion"),
    "storage_leak": ("storage_depletion", "dry_supply"),
    "storage_depletion": ("dry_supply",),
    "dry_supply": ("storage_depletion", "storage_leak"),
    "short_cycling": ("switch_drift",),
    "switch_drift": ("short_cycling", "overpressure"),
    "overpressure": ("switch_drift", "supply_leak", "storage_depletion"),
    "motor_overload": ("lost_prime", "short_cycling"),
    "blocked_discharge": ("freeze_risk",),
    "clogged_filter": ("blocked_discharge",),
    "pump_wear": (),
}


@dataclass
class Truth:
    """One physical fault."""

    fault: str
    start_s: float
    end_s: float
    rule: str
    causes: tuple[str | None, ...] = ()  # those that are right; none given: not asked
    of: str | None = None
    also: tuple[str, ...] = ()  # other names that are as right with these sensors
    note: str = ""
    deadline_s: float = float("nan")
    symptom_s: float = float("nan")
    required: bool = True


@dataclass(frozen=True)
class Seen:
    """What the simulation came to: seconds from the start of the case."""

    runs: Array
    coarse: Array  # rows of the record, `coarse_s` apart
    coarse_s: float
    every_s: float  # slower of pressure and motor signal
    days: int
    midnight_s: float  # first local midnight
    min_run_s: float
    clean_run_s: float
    cut_in_pa: float
    cut_out_pa: float
    outlets_m: tuple[float, ...]
    warn_ahead_s: float
    blind_s: tuple[tuple[float, float], ...] = ()  # when pressure or motor signal was wrong or silent


def _first(seen: Seen, mask: Mask, start_s: float, end_s: float) -> float:
    a, b = int(start_s / seen.coarse_s), int(end_s / seen.coarse_s)
    hit = np.flatnonzero(mask[a:b])
    return float((a + hit[0]) * seen.coarse_s) if len(hit) else float("nan")


def _after(stops: Array, start_s: float, count: int) -> float:
    later = stops[stops > start_s]
    return float(later[count - 1]) if len(later) >= count else float("nan")


def empties(seen: Seen, storage: int, after_s: float) -> float:
    """When a storage reaches its outlet, carried on by its last three days where the case ends first."""
    level = seen.coarse[:, R_LEVEL_A + storage] - seen.outlets_m[storage]
    dry = _first(seen, level <= 1e-3, after_s, seen.days * DAY_S)
    if dry == dry:
        return dry
    back = int(min(3 * DAY_S, seen.days * DAY_S / 2) / seen.coarse_s)
    fall = float(level[-1 - back] - level[-1]) / (back * seen.coarse_s)
    return float(seen.days * DAY_S + level[-1] / fall) if fall > 0 else float("inf")


def resolve(truth: Truth, seen: Seen) -> None:
    """Set symptom and deadline from what truly happened; not required where nothing showed."""
    on, line = seen.coarse[:, R_ON] > 0.5, seen.coarse[:, R_LINE]
    stops = seen.runs[:, 1]
    a, b = truth.start_s, truth.end_s
    slow = max(1.0, seen.every_s)
    kind = truth.rule
    if kind in ("dry", "blocked"):
        truth.symptom_s = _first(seen, on & (seen.coarse[:, R_PUMPED] <= 0), a, b)
        allowed = 30 * slow if kind == "dry" else 120 * max(1.0, slow / 5)
        truth.deadline_s = truth.symptom_s + allowed
    elif kind == "burst":
        truth.symptom_s = _first(
            seen, on & (line < 0.95 * seen.cut_in_pa) & (seen.coarse[:, R_PUMPED] > 0), a, b
        )
        truth.deadline_s = truth.symptom_s + 120 * max(1.0, slow / 5)
    elif kind == "over":
        truth.symptom_s = _first(seen, line > 1.08 * seen.cut_out_pa, a, b)
        truth.deadline_s = truth.symptom_s + 120 * max(1.0, slow / 5)
    elif kind in ("short", "small", "chatter"):
        length = seen.runs[:, 1] - seen.runs[:, 0]
        most = {"chatter": 2.0, "small": seen.min_run_s}.get(
            kind, min(seen.min_run_s, 0.7 * seen.clean_run_s)
        )
        short = (length < most) & (seen.runs[:, 0] > a) & (stops < b)
        count = 5
        if kind == "chatter":
            # One flutter is many starts: five flutters are asked for.
            short &= np.diff(stops, prepend=-1e9) > 30.0
        if short.any():
            truth.symptom_s = float(stops[short][0])
            # A run of less than three samples is not seen whole: as many more are allowed.
            count = int(np.ceil(count * max(1.0, 3 * slow / max(float(np.median(length[short])), 1.0))))
        truth.deadline_s = _after(stops[short], a, count)
        if kind == "chatter" and slow > 2:
            truth.required = False
    elif kind == "runs":
        truth.symptom_s = _after(stops, a, 1)
        truth.deadline_s = _after(stops, a, 10) + max(0.0, 10 * (slow - 10))
    elif kind == "drift":
        truth.symptom_s = _after(stops, a, 1)
        truth.deadline_s = max(_after(stops, a, 20), truth.symptom_s + DAY_S / 2)
    elif kind == "days":
        truth.symptom_s = _after(stops, a, 1)
        truth.deadline_s = max(_after(stops, a, 20), truth.symptom_s + 2 * DAY_S)
    elif kind == "nights":
        # The second whole night (midnight to six) after the start.
        nights = np.arange(seen.days) * DAY_S + seen.midnight_s
        whole = nights[nights >= a - 1800]
        truth.symptom_s = a
        truth.deadline_s = float(whole[1]) + 6.5 * 3600 if len(whole) > 1 else float("nan")
    elif kind == "locked":
        truth.symptom_s = _first(seen, on, a, b)
        truth.deadline_s = truth.symptom_s + max(900.0, 180 * slow)
        truth.required = slow <= 10
    elif kind == "levels":
        truth.symptom_s = a
        truth.deadline_s = empties(seen, 0, a) - 0.8 * seen.warn_ahead_s
        truth.required = truth.deadline_s > a + DAY_S / 2
    elif kind.startswith("after:"):
        truth.symptom_s = a
        truth.deadline_s = a + float(kind.split(":")[1])
    if truth.fault in ("clogged_filter", "pump_wear"):
        # Seen by runs that move water: none, and nothing shows.
        late = a if kind == "runs" else 0.5 * (a + truth.deadline_s)
        wet = (stops > late) & (stops <= truth.deadline_s) & (seen.runs[:, 2] > 0)
        truth.required &= int(wet.sum()) >= 10
    window = truth.deadline_s - truth.symptom_s
    blind = sum(max(0.0, min(d, truth.deadline_s) - max(c, truth.symptom_s)) for c, d in seen.blind_s)
    if truth.fault != "sensor_fault" and blind > 0.25 * window:
        truth.required = False
    if not truth.deadline_s < min(b, seen.days * DAY_S):
        truth.required = False


def alone(truths: list[Truth]) -> None:
    """Of a filter and a pump that lose delivery at once, only the first is asked for: one hides the other."""
    losses = sorted(
        (t for t in truths if t.fault in ("clogged_filter", "pump_wear")), key=lambda t: t.start_s
    )
    for first, second in pairwise(losses):
        if second.start_s < first.end_s:
            second.required = False
