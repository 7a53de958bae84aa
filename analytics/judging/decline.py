"""Delivery that falls away: how far it has, whether that is beyond doubt, and what speaks for the filter.

Runs long enough to be measured tell it by their slopes (`left_over`, `beyond_doubt`), shorter ones by how
long they last (`by_count`), and where an outlet gauge is fitted the drop across the filter besides
(`by_drop`).

A tank that has lost air tells no delivery, nor does one whose runs are short for another reason: while
such runs are told of, or flows read LARGER than any that was clean, the drop across the filter speaks alone,
or the motor's level (`by_work`).

Parameters: see the constants.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING

from analytics.judging.beyond_doubt import LEAST_COARSE, certain
from analytics.judging.blame import CLOG_SURE, clog_share, filter_share, resistance, stands
from analytics.judging.by_count import by_count
from analytics.judging.by_drop import CLOG_SEEN, by_drop_alone, left_by_drop
from analytics.judging.by_gain import by_gain
from analytics.judging.by_work import by_work_alone
from analytics.judging.empty_early import out_before_cut_in
from analytics.judging.left_over import bases, left_over
from analytics.judging.rated import share_of_rated
from analytics.judging.signature import COARSE_S, LATELY
from analytics.judging.unmoved import unmoved
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from analytics.judging.watch import Known

#: Standard errors between two ways to tell the same: one chance in two thousand.
ENOUGH_APART = 3.5
#: Two samples that both lie within a run for sure are an interval from either edge and one from another.
SEEN_INTERVALS = 4.0
#: Asked each minute or so, a run of three samples has one sure interval: a slope wants more of them.
BLIND_S, BLIND_INTERVALS = 45.0, 5.0
#: Present from the first row: against the plant file's rating, in water that is counted by the tank's size.
#: A tank taken for the next one up in the trade's row (20, 32, 44, 62, 86 gal; common practice, no
#: source) shows 0.69 of the flow, and a rating is good to a tenth: below 0.62 neither explains it.
#: Where a flow meter has told the tank's size, the rating may still be the next pump's in the row (three
#: quarters) and the air cold: the same.
FROM_FIRST, FIRST_RUNS = 0.62, 12
#: Asked once of a plant, when it is learned: 2.5 errors is one in 160.
SURE_OF_FIRST = 2.5
#: And of runs whose edges, each seen an interval late or early, are a quarter of them at most: of shorter
#: ones only the slow have the samples to be measured. (Against a lesson that is alike then and now.)
FIRST_INTERVALS = 8.0
#: Delivery that seems to be so much more than clean is a tank's that has lost air: of which a lesson's filter
#: that wanted flushing (three quarters left) makes no more.
LARGER = 1.33


def decline(known: Known, interval_s: float = 1.0) -> Decline | None:
    """None while there is nothing clean to compare with, or too few runs.

    interval_s: how finely the newest runs were seen.
    """
    found = _by_figures(known, interval_s)
    if found is not None and (found.sure or found.left > LARGER):
        return found
    return by_gain(known) or found


def _by_figures(known: Known, interval_s: float) -> Decline | None:
    coarse, lasted_s = interval_s >= COARSE_S, known.signature.middle("run_time_s", LATELY)
    if lasted_s is None or known.signature.learned_runs < FIRST_RUNS:
        return by_count(known) if coarse else None
    least = BLIND_INTERVALS if interval_s >= BLIND_S else SEEN_INTERVALS
    if coarse and lasted_s < least * interval_s:
        return by_drop_alone(known) or by_count(known)
    if lasted_s >= FIRST_INTERVALS * interval_s and (worn := _never_clean(known, coarse)) is not None:
        return worn
    return _by_slopes(known, interval_s)


def _never_clean(known: Known, coarse: bool) -> Decline | None:
    """Delivery that was below the rating from the first row; None where it was not."""
    if known.signature.of_the_long_alone():
        return None
    share, limit = share_of_rated(known), FROM_FIRST * ((1.0 - LEAST_COARSE) if coarse else 1.0)
    if share is None or share.learned >= limit * (1.0 - SURE_OF_FIRST * share.error):
        return None
    return Decline(share.now, share.error, share.now < limit, filter_share(known, 1.0, None), None)


def _by_slopes(known: Known, interval_s: float) -> Decline | None:
    """By runs that are long enough to be measured, and by the drop across the filter."""
    signature, coarse = known.signature, interval_s >= COARSE_S
    newest = shown = None
    for base in bases(signature, coarse=coarse):
        by_base = certain(known, base, interval_s)
        lately = left_over(known, base, LATELY) if newest is None or by_base is not None else None
        if lately is not None:
            newest, shown = lately, by_base
        if shown is not None:
            break
    if newest is None:
        return by_drop_alone(known) or (by_count(known) if coarse else None)
    left, error = newest
    other_tank = left > LARGER or known.is_open("short_cycling")
    if other_tank and (alone := by_drop_alone(known)) is not None and (alone.sure or left > LARGER):
        return alone
    if other_tank and (worn := by_work_alone(known)) is not None:
        return worn
    # a lesson in which it began has such runs itself: none of the two may show it
    sure = shown is not None and not any(
        out_before_cut_in(signature, base.traits) for base in bases(signature)
    )
    if shown is not None and shown[0] < left:
        left, error = shown
    elif not sure and not stands(known) and unmoved(signature, left, signature.recent[-LATELY:]):
        left = 1.0  # somebody draws beside the tank's filling
    drop = resistance(known, left)
    sure = sure or _clogged_by_drop(known, left, drop)
    if not sure and coarse and (count := by_count(known)) is not None and count.sure:
        apart = (left - count.left) / hypot(error, count.error)
        if apart < ENOUGH_APART:  # where slopes within runs say that all is delivered, their lengths err
            return count
    return Decline(left, error, sure, clog_share(known, sure, left, drop, error), drop)


def _clogged_by_drop(known: Known, left: float, drop: float | None) -> bool:
    """Whether the drop across the filter convicts it, though delivery has hardly fallen."""
    fitted = known.plant.filter  # with none before the tank a drop is a gauge's that lies
    if not fitted or fitted.position != "before_tank" or drop is None or drop <= CLOG_SURE:
        return False
    # a delivery that reads low by chance makes a clean filter's drop look like a clogged one's
    by_drop = left_by_drop(known)
    times = resistance(known, by_drop)
    return times is not None and times > CLOG_SURE and min(left, by_drop) < CLOG_SEEN
