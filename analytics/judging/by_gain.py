"""Delivery by what the tank gains in a run (`gains`), where nothing but less delivery explains it.

A tank that is another, or empty before the switch closes, shows other flows, but not one whose switch acts
in a narrow band; a drop across the filter that has stayed where it was says that somebody draws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.judging.blame import clog_share, resistance, stands, tells_a_level
from analytics.judging.empty_early import out_before_cut_in
from analytics.judging.gains import lost
from analytics.judging.left_over import Base, bases, sound_1
from analytics.judging.signature import LATELY
from analytics.judging.unmoved import unmoved
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from analytics.judging.watch import Known


def by_gain(known: Known) -> Decline | None:
    """A loss that all runs since it began tell; None where they do not."""
    signature = known.signature
    if known.is_open("short_cycling") and known.cause("short_cycling") != "narrow_switch_band":
        return None
    clean = Base(signature.clean, signature.learned_runs)
    told = lost(signature.gains, tells_a_level(known.plant), sound_1(known, clean, LATELY, hourly=False))
    if told is None or any(out_before_cut_in(signature, base.traits) for base in [clean, *bases(signature)]):
        return None
    since = [brief for brief in signature.recent if brief.at_us >= told.since_us]
    if not stands(known) and unmoved(signature, told.share, since):
        return None
    drop = resistance(known, told.share)
    clog = clog_share(known, True, told.share, drop, told.error)
    return Decline(told.share, told.error, True, clog, drop, since_us=told.since_us)
