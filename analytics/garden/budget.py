"""The storage through the season: rain in, garden and house out, overflow lost, as a band over years."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.physics.roof import caught_m3

Floats = NDArray[np.float64]
BAND = (10.0, 50.0, 90.0)


@dataclass(frozen=True, slots=True)
class Works:
    """What the balance is worked out for."""

    held_m3: float  # above the outlet, today
    room_m3: float  # above the outlet, full
    roof_m2: float
    runoff: float
    first_flush_m3: float = 0.0


@dataclass(frozen=True, slots=True)
class Course:
    """The storage at the end of each week: `held_m3` of shape (3, weeks), 10th, 50th and 90th
    percentile; `short_m3` what was wanted and not there, its mean over the years; `dry_share` the share
    of years in which it ran out at all; `spilled_m3` the mean overflow; `dry_week` the week, counted from
    0, in which the middle year runs out, None where it does not."""

    held_m3: Floats
    short_m3: float
    dry_share: float
    spilled_m3: float
    dry_week: int | None


def course(works: Works, rain_m: Floats, wet_days: Floats, wanted_m3: Floats) -> Course:
    """rain_m: (years, weeks); wet_days: (weeks,); wanted_m3 of the rain storage alone: either."""
    wanted = np.broadcast_to(wanted_m3, rain_m.shape)
    flushed = works.first_flush_m3 * wet_days
    into = caught_m3(rain_m, works.roof_m2, works.runoff, flushed * (rain_m > 0))
    held = np.full(len(rain_m), min(works.held_m3, works.room_m3))
    ends, short, spilled = [], np.zeros(len(rain_m)), np.zeros(len(rain_m))
    weeks = rain_m.shape[1]
    dry = np.full(len(rain_m), weeks)
    for week in range(weeks):
        # Rain and use go on side by side through a week: taken in turn the order would matter.
        balance = held + into[:, week] - wanted[:, week]
        short += np.maximum(-balance, 0.0)
        dry = np.where(balance < -1e-9, np.minimum(dry, week), dry)
        spilled += np.maximum(balance - works.room_m3, 0.0)
        held = np.clip(balance, 0.0, works.room_m3)
        ends.append(held)
    band = np.percentile(np.stack(ends, axis=1), BAND, axis=0)
    middle = int(np.percentile(dry, 50, method="higher"))
    return Course(
        band,
        float(short.mean()),
        float((dry < weeks).mean()),
        float(spilled.mean()),
        middle if middle < weeks else None,
    )


@dataclass(frozen=True, slots=True)
class Change:
    """What would be otherwise with more roof or another tank: `title` says with what."""

    title: str
    short_m3: float
    dry_share: float
    dry_week: int | None  # in the middle year


def changes(works: Works, rain_m: Floats, wet_days: Floats, wanted_m3: Floats) -> tuple[Change, ...]:
    """As it is, with half as much roof again, with as much storage again, and with both."""
    half = replace(works, roof_m2=1.5 * works.roof_m2)
    twice = replace(works, room_m3=2.0 * works.room_m3)
    both = replace(half, room_m3=twice.room_m3)
    asked = (
        ("As it is", works),
        ("Half as much roof again", half),
        ("As much storage again", twice),
        ("Both", both),
    )
    found = ((title, course(one, rain_m, wet_days, wanted_m3)) for title, one in asked)
    return tuple(Change(title, told.short_m3, told.dry_share, told.dry_week) for title, told in found)
