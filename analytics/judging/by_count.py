"""Delivery by how long many runs last, where no slope within them can be told.

A day's runs (`counted`), or fewer with the motor's word on it (`agreed`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.judging.agreed import left as agreed_left
from analytics.judging.blame import clog_share, resistance, stands, tells_a_level
from analytics.judging.counted import left as counted_left
from analytics.judging.unmoved import unmoved
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from analytics.judging.watch import Known


def by_count(known: Known) -> Decline | None:
    """What the lengths of many runs say, where no slope within them can be told: a day's, or fewer with the
    motor's word on it."""
    signature = known.signature
    by_days = counted_left(signature.counted, known.usual.drawdown_m3) if signature.counted.clean else None
    by_two = None
    if signature.agreed.clean is not None:
        levelled = tells_a_level(known.plant)
        by_two = agreed_left(signature.agreed, signature.full_m3, known.usual.band_pa, levelled)
    said = [one for one in (by_days, by_two) if one is not None]
    if not said:
        return None
    sure = [one for one in said if one.sure]
    left, error, _, level, from_us = min(sure or said, key=lambda one: one.share)
    since = [brief for brief in signature.recent if brief.at_us >= from_us]
    if not stands(known) and unmoved(signature, left, since):
        left, sure = 1.0, []
    drop = resistance(known, left)
    return Decline(left, error, bool(sure), clog_share(known, bool(sure), left, drop, error, level), drop)
