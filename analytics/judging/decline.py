"""Delivery that falls away: how far it has, and since how many runs that is beyond doubt.

Which figure. Delivery by the kinks at both ends of a run is free of demand; the mid-run one misses demand
that comes and goes within a run and can only read low by it, so that of it the upper quartile is compared,
not the median; where a flow meter is fitted, what it says and what the tank took together. Each is held
against its own clean value and they are put together by the inverse of their error squared.

How sure. A likelihood ratio over when the loss began, as far as WINDOWS go back (a GLR test, Lorden 1971):
over the newest n runs the loss beyond BORNE, divided by its standard error, is z, and the log-likelihood
ratio of a loss against none is z^2 / 2. ENOUGH 12 (z = 4.9) is a chance of 5e-7 a look; four windows and
10,000 runs make one false call in fifty plant-years. Clogs and wear that come slowly are found by the
long windows, which average, and sudden ones by the short, which need no more than four runs.

What scatter does not cover. Runs of one spell share what draws, and demand hidden in eight of them has
read up to a tenth low by their upper quartile (synthetic traces, sampled at 1 to 10 s), half as much in a
day's runs, and more in few: each window has a least loss of its own. Mains that sag by a tenth cost a
pump about as much (common practice, no source): none is below LEAST.

What is clean: the lesson, and besides it the lesson's first LATELY runs, so that what begins while the
plant is being learned is not learned.

A tank that has lost air tells no delivery, nor does one whose runs are short for another reason: while
such runs are told of, or flows read LARGER than any that was clean, the drop across the filter speaks alone.

Parameters: see the constants. SIGMA_LEAST 4 %: kinks at 1 s sampling.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US
from analytics.judging.agreed import left as agreed_left
from analytics.judging.blame import (
    CLOG_SURE,
    borne_out,
    filter_share,
    resistance,
    risen_drop_pa,
    tells_a_level,
    works_less,
)
from analytics.judging.counted import left as counted_left
from analytics.judging.empty_early import charged_1, out_before_cut_in
from analytics.judging.hidden import CHANCE, bests, by_chance
from analytics.judging.signature import (
    COARSE_S,
    LATELY,
    LESSON,
    OF_A_MEDIAN,
    SIGMA_LEAST,
    best_delivery,
    upper,
)
from analytics.judging.unmoved import unmoved
from analytics.judging.uphill import SHUT_OFF, shut_off, uphill
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.judging.signature import Brief, Signature, Trait
    from analytics.judging.watch import Known

LEAST, BORNE = 0.13, 0.04
#: Runs, and the least loss that their upper quartile must show.
WINDOWS = ((5, 0.35), (LATELY, 0.20), (16, 0.15), (LESSON, LEAST))
#: Of runs an hour apart that span most of a day hardly two are of one spell, and what is hidden in one is in
#: none of the others: for the upper quartile to read low it takes four of five.
SPREAD = ((5, 0.17), (LATELY, 0.15), (12, LEAST), (LESSON, LEAST))
SPREAD_HOURS = 20.0
#: Below this a loss may be the hour's (mains that sag of an evening, a storage drawn down, what a garden
#: draws). Runs an hour apart must show some of it too: of so many, a spell of six hours has no more than
#: half, and their upper quartile is of the other hours.
OF_AN_HOUR, HOURS, HOURS_Z = 0.20, 12, 2.0
ENOUGH = 12.0
#: Seen coarsely, kinks and mid-run figure are of the same few samples and err together, and a day has few
#: looks that are new: z = 3.9, one chance in 20,000, of some thousand a year.
ENOUGH_COARSE = 7.5
#: Two witnesses that err apart: what is drawn in runs lowers no motor's level, and mains that sag lower that
#: and hardly the delivery (as in `judging.agreed`). Each beyond ALONE (one chance in 160; of the level a
#: twentieth), and hypot(z, z) beyond AGREE: of two normal errors 4e-5 a look, of which some thousand a year
#: do not overlap, and then a loss of a fifth must be seen as well.
LEAST_AGREED, ALONE, AGREE = 0.20, 2.5, 4.5
#: Standard errors between two ways to tell the same: one chance in two thousand.
ENOUGH_APART = 3.5
FIGURES = ("kink_m3_s", "delivery_m3_s", "metered_m3_s")
#: A screen's drop doubles long before delivery moves (trial figures).
CLOG_SEEN = 0.97
#: A run of a few samples does not show what comes and goes within it: runs of household and of garden
#: differ by a fifth then, and a day has all of them.
LEAST_COARSE, COARSE_HOURS, FEW_INTERVALS = 0.25, 23.0, 5.0
#: Two samples that both lie within a run for sure are an interval from either edge and one from another.
SEEN_INTERVALS = 4.0
#: Asked each minute or so, a run of three samples has one sure interval: a slope wants more of them.
BLIND_S, BLIND_INTERVALS = 45.0, 5.0
#: Present from the first row: against the plant file's rating, in water that is counted by the tank's size.
#: A tank taken for the next one up in the trade's row (20, 32, 44, 62, 86 gal; common practice, no
#: source) shows 0.69 of the flow, and a rating is good to a tenth: below 0.62 neither explains it.
#: Quickly filled, air warms and flows look a tenth larger (exponent 1.1 to 1.2). Where a flow meter has told
#: the tank's size, the rating may still be the next pump's in the row (three quarters) and the air cold: the
#: same.
FROM_FIRST, FIRST_RUNS, WARMED = 0.62, 12, 1.10
#: Asked once of a plant, when it is learned: 2.5 errors is one in 160.
SURE_OF_FIRST = 2.5
#: And of runs whose edges, each seen an interval late or early, are a quarter of them at most: of shorter
#: ones only the slow have the samples to be measured. (Against a lesson that is alike then and now.)
FIRST_INTERVALS = 8.0
#: What is hidden within runs makes the mid-run figure read low, never the kinks: below these by more than two
#: standard errors (one chance in forty, of two figures that should agree) it is not the pump that it shows.
HIDES = 2.0
#: Of the least loss, that the best figure of each run must show: of three that scatter the largest loses less
#: than their mean where they scatter more now.
SHOWN = 0.67
#: Times that clean runs scatter, of five runs and more against a lesson's: of standard deviations by chance
#: once in a thousand (an F test, 4 and 23 degrees of freedom). The robust ones that are compared vary more:
#: by chance a loss is told some runs later.
SCATTERED = 2.6
ROUNDED_UP = 1.0 + 1e-9
#: Delivery that seems to be so much more than clean is a tank's that has lost air: of which a lesson's filter
#: that wanted flushing (three quarters left) makes no more.
LARGER = 1.33
#: The upper quartile of three, the fewest that tell a figure, is the largest of them.
FEWEST_LOW = 3


class Base(msgspec.Struct, frozen=True):
    """Traits that count as clean, of how many runs, and the best figure of each."""

    traits: dict[str, Trait]
    runs: int
    bests: list[float] = []


class Share(msgspec.Struct, frozen=True):
    """Delivery over the rating, as learned and by the newest runs, and the first one's relative error."""

    learned: float
    now: float
    error: float


def decline(known: Known, interval_s: float = 1.0) -> Decline | None:
    """None while there is nothing clean to compare with, or too few runs.

    interval_s: how finely the newest runs were seen.
    """
    signature = known.signature
    lasted_s = signature.middle("run_time_s", LATELY)
    if lasted_s is None or signature.learned_runs < FIRST_RUNS:
        return _by_count(known) if interval_s >= COARSE_S else None
    least = BLIND_INTERVALS if interval_s >= BLIND_S else SEEN_INTERVALS
    if interval_s >= COARSE_S and lasted_s < least * interval_s:
        return _by_drop_alone(known) or _by_count(known)
    fair = 2 * signature.learned_runs >= signature.lesson_seen
    share = share_of_rated(known) if fair and lasted_s >= FIRST_INTERVALS * interval_s else None
    limit = FROM_FIRST
    if interval_s >= COARSE_S:
        limit *= 1.0 - LEAST_COARSE
    if share is not None and share.learned < limit * (
        1.0 - SURE_OF_FIRST * share.error
    ):  # it never was clean
        sure = share.now < limit
        return Decline(share.now, share.error, sure, filter_share(known, 1.0, None), None)
    newest = shown = None
    for base in _bases(signature, coarse=interval_s >= COARSE_S):
        by_base = next(_sure(known, base, interval_s), None)
        lately = left_over(known, base, LATELY) if newest is None or by_base is not None else None
        if lately is not None:
            newest, shown = lately, by_base
        if shown is not None:
            break
    if newest is None:
        return _by_drop_alone(known) or (_by_count(known) if interval_s >= COARSE_S else None)
    left, error = newest
    if left > LARGER or known.is_open("short_cycling"):
        alone = _by_drop_alone(known)
        if alone is not None and (alone.sure or left > LARGER):
            return alone
    # a lesson in which it began has such runs itself: none of the two may show it
    sure = shown is not None and not any(
        out_before_cut_in(signature, base.traits) for base in _bases(signature)
    )
    if shown is not None and shown[0] < left:
        left, error = shown
    elif not sure and not _stands(known) and unmoved(signature, left, signature.recent[-LATELY:]):
        left = 1.0  # somebody draws beside the tank's filling
    drop = resistance(known, left)
    fitted = known.plant.filter  # with none before the tank a drop is a gauge's that lies
    if not sure and fitted and fitted.position == "before_tank" and drop is not None and drop > CLOG_SURE:
        # a delivery that reads low by chance makes a clean filter's drop look like a clogged one's
        by_drop = left_by_drop(known)
        times = resistance(known, by_drop)
        sure = times is not None and times > CLOG_SURE and min(left, by_drop) < CLOG_SEEN
    if not sure and interval_s >= COARSE_S and (count := _by_count(known)) is not None and count.sure:
        apart = (left - count.left) / hypot(error, count.error)
        if apart < ENOUGH_APART:  # where slopes within runs say that all is delivered, their lengths err
            return count
    return Decline(left, error, sure, _clog(known, sure, left, drop, error), drop)


def _by_drop_alone(known: Known) -> Decline | None:
    """What an outlet gauge says where runs are too short to tell the delivery, or the tank that measures it
    is another: what it lost, or a switch that fills less of it, holds no water back in a filter."""
    fitted = known.plant.filter
    if fitted is None or fitted.position != "before_tank":
        return None
    left = left_by_drop(known)
    drop = resistance(known, left)
    if drop is None or not (drop > CLOG_SURE or known.is_open("clogged_filter")):
        return None
    sure = drop > CLOG_SURE and left < CLOG_SEEN
    return Decline(left, SIGMA_LEAST, sure, filter_share(known, left, drop), drop, by_drop=True)


def _by_count(known: Known) -> Decline | None:
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
    if not _stands(known) and unmoved(signature, left, since):
        left, sure = 1.0, []
    drop = resistance(known, left)
    return Decline(left, error, bool(sure), _clog(known, bool(sure), left, drop, error, level), drop)


def _stands(known: Known) -> bool:
    """Whether a loss was told: then delivery itself must be back."""
    return known.is_open("clogged_filter") or known.is_open("pump_wear")


def _clog(
    known: Known, sure: bool, left: float, drop: float | None, error: float, level: float | None = None
) -> float:
    """`filter_share` where a loss is sure or stands; else nobody asks which it is, and nothing speaks for
    either."""
    if sure or _stands(known):
        return filter_share(known, left, drop, error, level)
    return 0.5


def left_by_drop(known: Known) -> float:
    """Delivery over its clean value by what the filter holds back more than when clean; 1 where none tells.

    It is taken from the head that the pump has to spare, by its clean curve.
    """
    clean, now_pa = known.signature.clean, known.signature.middle("filter_drop_pa", LATELY)
    risen_pa = risen_drop_pa(known.signature)
    if risen_pa is not None:
        now_pa = max(risen_pa, now_pa or 0.0)
    drop, start, stop = (clean.get(name) for name in ("filter_drop_pa", "start_pa", "stop_pa"))
    if not (drop and start and stop) or now_pa is None:
        return 1.0
    spare = shut_off(clean, start.middle, stop.middle) - 0.5 * (start.middle + stop.middle)
    held = (now_pa - drop.middle) / (spare + max(drop.middle, 0.0))
    return sqrt(min(max(1.0 - held, 0.01), 1.0))


def _bases(signature: Signature, coarse: bool = False) -> list[Base]:
    """What is clean: the lesson, once it is over, and its first runs, before a fault that began within it.

    Seen coarsely, a lesson has a day's runs, as those that are held against it have, and its first are of one
    spell."""
    lesson = Base(signature.clean, signature.learned_runs, signature.bests)
    first = [] if coarse else [Base(signature.first, LATELY, signature.first_bests)]
    return [lesson, *first] if signature.learned_us is not None else first


def _sure(known: Known, base: Base, interval_s: float) -> Iterator[tuple[float, float]]:
    """Delivery left and its error, of each window in which a loss is beyond doubt."""
    coarse = interval_s >= COARSE_S
    lasted_s = known.signature.middle("run_time_s", LATELY)
    few = lasted_s is not None and lasted_s < FEW_INTERVALS * interval_s
    for hourly, windows in ((False, WINDOWS), (True, SPREAD)):
        if not _some_are_low(known.signature, base, hourly):
            continue
        recent = known.signature.hourly if hourly else known.signature.recent
        for runs, least in windows:
            if len(recent) < runs:
                continue
            lasted_us = recent[-1].at_us - recent[-runs].at_us
            if lasted_us < (COARSE_HOURS if coarse else hourly * SPREAD_HOURS) * HOUR_US:
                continue
            least_loss = max(least, LEAST_COARSE) if coarse or few else least
            if not _may_have_lost(known.signature, base, runs, hourly, min(least_loss, LEAST_AGREED)):
                continue
            found = left_over(known, base, runs, hourly, alike=coarse)
            if found is None:
                continue
            loss = 1.0 - found[0]
            z = (loss - BORNE) / found[1]
            if z <= 0.0:
                continue
            newest = recent[-runs:]
            agreed = not coarse and loss >= LEAST_AGREED and _agreed(known, base, newest, z, hourly)
            if agreed and not unmoved(known.signature, found[0], newest):
                yield found
            if loss < least_loss:
                continue
            if not hourly and _scatters(known.signature, base, runs):
                continue
            evidence = 0.5 * z**2 + borne_out(known, *found, runs, hourly)
            if evidence < (ENOUGH_COARSE if coarse else ENOUGH):
                continue
            if _hidden(newest, base, least_loss) or unmoved(known.signature, found[0], newest):
                continue
            if (hourly and _borne_out(known, base, loss)) or (
                not hourly and (loss >= OF_AN_HOUR or _all_day(known, base))
            ):
                yield found


def _agreed(known: Known, base: Base, newest: list[Brief], z: float, hourly: bool) -> bool:
    """Whether the motor works less in the same runs, and their best figures have lost too: a large draw keeps
    the pump near its cut-out for longer, where a motor works less, but spares the kink at the start."""
    less = works_less(known, len(newest), hourly) if z >= ALONE else 0.0
    if less < ALONE or hypot(z, less) < AGREE:
        return False
    clean, now = base.bests, bests(newest, base.traits)
    return (
        bool(clean)
        and 2 * len(now) >= len(newest)
        and upper(now) <= (1.0 - LEAST) * clean[(len(clean) - 1) // 2]
    )


def _hidden(newest: list[Brief], base: Base, least: float) -> bool:
    """Whether what is drawn in them may be all that these runs have lost: by each run's best figure they have
    not, or runs of the lesson read so low too."""
    clean, now = base.bests, bests(newest, base.traits)
    if not clean or 2 * len(now) < len(newest):
        return False
    usual = clean[(len(clean) - 1) // 2]
    if now[-1] <= (1.0 - LEAST) * usual and by_chance(clean, now, len(now)) <= CHANCE:
        return False  # none of them delivered as it should
    low = 1.0 - least
    if len(newest) > LATELY:
        low, usual = 1.0 - SHOWN * least, upper(clean)
    # of few the upper quartile is a run or two's, and what reads more than clean is a tap's doing
    quartile = upper(now)
    return quartile > low * usual or by_chance(clean, now, sum(one <= quartile for one in now)) > CHANCE


def _scatters(signature: Signature, base: Base, runs: int) -> bool:
    """Whether the newest runs of a spell scatter as none of the clean ones did, by each figure: a filter or a
    pump takes the same share of all of them, what is drawn within them does not."""
    said = False
    for name in FIGURES:
        clean, now = base.traits.get(name), signature.now(name, runs)
        if clean is None or now is None or clean.middle <= 0.0 or now.middle <= 0.0:
            continue
        said = True
        if now.sigma / now.middle <= SCATTERED * max(clean.sigma / clean.middle, SIGMA_LEAST):
            return False
    return said


def _some_are_low(signature: Signature, base: Base, hourly: bool) -> bool:
    """Whether as many of the newest runs are below the least loss as move the upper quartile of the fewest:
    soonest asked of all."""
    for name in FIGURES:
        clean = base.traits.get(name)
        if clean is None or clean.middle <= 0.0:
            continue
        low = signature.lower_than((1.0 - LEAST) * clean.upper * ROUNDED_UP, name, hourly)
        if low is None or low >= FEWEST_LOW:
            return True
    return False


def _may_have_lost(signature: Signature, base: Base, runs: int, hourly: bool, least: float) -> bool:
    """Whether one figure's upper quartile has lost so much: all together cannot have lost more. Mostly none
    has, and this is soon asked."""
    for name in FIGURES:
        clean = base.traits.get(name)
        if clean is None or clean.middle <= 0.0:
            continue
        top = signature.upper(name, runs, hourly)
        if top is not None and top < (1.0 - least) * clean.upper * ROUNDED_UP:
            return True
    return False


def _borne_out(known: Known, base: Base, loss: float) -> bool:
    """Whether the newest runs, however near each other, have lost half of it at least: runs hours apart may
    all be of the household's short draws."""
    newest = left_over(known, base, LATELY)
    return newest is not None and 1.0 - newest[0] >= 0.5 * loss


def _all_day(known: Known, base: Base) -> bool:
    """Whether runs an hour apart have lost some too."""
    found = left_over(known, base, HOURS, hourly=True) if len(known.signature.hourly) >= HOURS else None
    return found is not None and 1.0 - found[0] - BORNE > HOURS_Z * found[1]


def left_over(
    known: Known, base: Base, runs: int, hourly: bool = False, fair: bool = False, alike: bool = False
) -> tuple[float, float] | None:
    """Delivery of the newest runs over its clean value, and the standard error of that.

    hourly: of runs an hour apart at least. fair: as often too low as too high, so by the kinks' median where
    there is one; else what reads high is preferred, so that no tap in a window is called a loss.
    """
    found: dict[str, tuple[float, float]] = {}
    for name in FIGURES:
        clean, top = base.traits.get(name), known.signature.upper(name, runs, hourly)
        middle_now = known.signature.middle(name, runs, hourly)
        if clean is None or top is None or middle_now is None or clean.middle <= 0.0:
            continue
        left = top / clean.upper
        if name == "kink_m3_s":
            middle = middle_now / clean.middle  # a tap in the kink's window spoils it either way
            left = middle if fair else max(left, middle)
        learned = known.signature.clean.get(name, clean)  # eight runs alone tell little of the scatter
        sigma = max(clean.sigma / clean.middle, learned.sigma / learned.middle, SIGMA_LEAST)
        now = known.signature.now(name, runs, hourly)
        lately = max(sigma, now.sigma / clean.middle) if now is not None else sigma
        error = OF_A_MEDIAN * hypot(sigma / sqrt(max(base.runs, 1)), lately / sqrt(runs))
        found[name] = left, error
    if not found:
        return None
    if "kink_m3_s" in found and "delivery_m3_s" in found:
        kink, doubt = found["kink_m3_s"]
        middle, error = found["delivery_m3_s"]
        found["delivery_m3_s"] = max(middle, kink - HIDES * doubt), error
    if fair and "kink_m3_s" in found:
        found.pop("delivery_m3_s", None)
    weights = sum(error**-2 for _, error in found.values())
    sums = sum(left * error**-2 for left, error in found.values())
    sound = uphill(known.signature, base.traits, runs, hourly) * charged_1(
        known.signature, known.water, base.traits, runs, hourly
    )
    error = min(one[1] for one in found.values()) if alike else 1.0 / sqrt(weights)
    return sums / weights / sound, error


def left_of_lesson(known: Known, runs: int) -> tuple[float, float, float] | None:
    """Delivery of the newest runs over the lesson's; standard errors by those runs, and of the lesson's."""
    signature = known.signature
    if signature.learned_us is None:
        return None
    found = left_over(known, Base(signature.clean, signature.learned_runs), runs, fair=True)
    if found is None:
        return None
    left, error = found
    ours = sqrt(signature.learned_runs / (signature.learned_runs + runs))
    return left, error * ours, error * sqrt(1.0 - ours**2)


def share_of_rated(known: Known) -> Share | None:
    """Delivery over what the plant file lets the slope of tank water show when new."""
    rated, switch, clean = known.plant.pump.rated_flow_m3_s, known.plant.switch, known.signature.clean
    name = best_delivery(clean)
    now = known.signature.upper(name, LATELY) if name is not None else None
    if rated is None or switch is None or name is None or now is None or not known.water.true:
        return None
    seen_pa = 0.5 * (switch.cut_in_pa + switch.cut_out_pa)
    if "start_pa" in clean and "stop_pa" in clean:
        seen_pa = 0.5 * (clean["start_pa"].middle + clean["stop_pa"].middle)
        if name == "delivery_start_m3_s":
            seen_pa = clean["start_pa"].middle
    head = SHUT_OFF * switch.cut_out_pa
    new = WARMED * rated * sqrt(max(head - seen_pa, 0.0) / (head - switch.cut_in_pa))
    if new <= 0.0:
        return None
    error = OF_A_MEDIAN * clean[name].sigma / clean[name].middle / sqrt(max(known.signature.learned_runs, 1))
    size = known.signature.tank_size
    if size is None:
        return Share(clean[name].middle / new, now / new, error)
    true, doubt = size
    new /= true
    return Share(clean[name].middle / new, now / new, hypot(error, doubt))
