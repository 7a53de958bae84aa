"""The large draws that come back at their hours, and whether they have shrunk.

Physics. A zone of sprinklers is a fixed opening: it draws D = sqrt(P / (z + k)), z the zone, k what lies
before it. Where a filter there clogs, k grows by dk and each draw falls to

    D' / D = 1 / sqrt(1 + dk D^2 / P)

so that the largest shrink the most and a tap hardly at all; and the same dk must explain them all.

What is taken for a draw: what the tank gave over a rest, or a flow meter's word in the run after it, where
the next says the same: it lasted. (The whole rest, since air that warms again after a stop bends its
slope.) What it was when clean: the same hour's draw on the first CLEAN_DAYS that had one. That is kept, so
that a slow clog is not learned.

Mistaken for. Another programme (its largest draw is as large as ever, at whatever hour: LARGEST); one zone
changed (others have not shrunk: ALIKE); a tank that has got its air back, of which all flows seem less (the
shrinking is taken over what is left of the delivery). One zone alone, with smaller nozzles now, looks the
same: the finding says so.

Parameters:
    WITHIN_S    20 min  a timer's drift and the place of runs within a programme
    SHRUNK      0.80    and DAYS 2 days: pressure within a band of 20 psi about 40 moves a fixed opening's
                        draw by 12 % (square root), and runs sample that at the same places
    ENOUGH_Z    5       standard errors of the mean beyond BORNE 8 % (a kink's scatter is at least ROUGH
                        8 %): 3e-7 a day, one in 9,000 plant-years by noise alone
    LARGEST     0.90    of the largest clean draw that is due: what is as large still passes
    ALIKE       0.15    of what one dk foretells
    LARGE       0.20    of the delivery: less shows no clog that leaves half of the largest draw

Source: orifice flow, any hydraulics text; no source for the parameters but those given.
"""

from __future__ import annotations

from datetime import UTC, datetime
from math import sqrt
from statistics import median
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

if TYPE_CHECKING:
    from analytics.seeing.events import Run
    from analytics.seeing.water import Water

WITHIN_S = 1_200.0
DAY_S = 86_400.0
CLEAN_DAYS, LEAST_DAYS = 3, 2
LEAST_DRAWS = 2  # one a day may be a tap's
AGREE = 1.15  # clean days' draws of one hour, largest over smallest
SUSTAINED, SUSTAINED_S = 1.25, 2_700.0
SHRUNK, DAYS, LEAST_SEEN = 0.80, 2, 3
BORNE, ROUGH, ENOUGH_Z = 0.08, 0.08, 5.0
LARGEST, ALIKE, LARGE = 0.90, 0.15, 0.20
APART = 1.25  # two clean draws that differ by so much are two zones
LOOKED_BACK_S = 2.6 * DAY_S  # two programmes of each day, and of every second nearly
KEPT_CLEAN, KEPT_NEW = 480, 48


class Draws(msgspec.Struct):
    """Plain data. clean: [day, second of day, m3/s]; newest: [time s, day, clean m3/s, m3/s now]."""

    clean: list[list[float]] = []
    newest: list[list[float]] = []
    large: list[list[float]] = []  # all that lasted: [time s, m3/s]
    #: The last run: start [s], what was drawn before it [m3/s], stop [s], pressure there.
    before: list[float] = []


class Shrunk(NamedTuple):
    share: float  # of the largest draws left, by the newest days
    clean_m3_s: float
    now_m3_s: float
    zones: int  # clean draws that differ, which agree on it
    since_s: float
    sure: bool
    back: bool


def take_up(draws: Draws, run: Run, water: Water, zone: ZoneInfo, delivery_m3_s: float, learn: bool) -> bool:
    """Note the draw before a run; whether it is one that can be compared."""
    at_s, before = run.cycle.start_us / 1e6, draws.before
    flow, top = _drawn(run, before, water), run.cycle.pressure_stop_pa
    whole = run.entire and top is not None
    draws.before = [at_s, flow or 0.0, run.cycle.stop_us / 1e6, top or 0.0] if whole else []
    if not before or not flow or not before[1] or at_s - before[0] > SUSTAINED_S:
        return False
    if not (1.0 / SUSTAINED <= flow / before[1] <= SUSTAINED):
        return False
    day, second = _local(at_s, zone)
    draws.large = [one for one in [*draws.large, [at_s, flow]] if at_s - one[0] < LOOKED_BACK_S][-KEPT_NEW:]
    same = [
        one for one in draws.clean if abs((one[1] - second + 0.5 * DAY_S) % DAY_S - 0.5 * DAY_S) < WITHIN_S
    ]
    others = {one[0] for one in same if one[0] != day}
    if learn and len(others) < CLEAN_DAYS and len(draws.clean) < KEPT_CLEAN:
        draws.clean.append([day, second, flow])
    clean = _agreed(same, day)
    if clean is None or clean < LARGE * delivery_m3_s:
        return False
    draws.newest = [*draws.newest, [at_s, day, clean, flow]][-KEPT_NEW:]
    return True


def _drawn(run: Run, before: list[float], water: Water) -> float | None:
    """What was drawn over the rest before a run [m3/s]: what the tank gave, or, better, a meter's word."""
    if run.flow_m3_s is not None:
        return run.flow_m3_s
    foot, rest_s = run.cycle.pressure_start_pa, run.cycle.rest_before_s
    if not before or not rest_s or foot is None or before[3] <= foot:
        return None
    if abs(run.cycle.start_us / 1e6 - rest_s - before[2]) > 1.0:
        return None
    return water.between_m3(foot, before[3]) / rest_s


def _local(at_s: float, zone: ZoneInfo) -> tuple[float, float]:
    local = datetime.fromtimestamp(at_s, UTC).astimezone(zone)
    second = local.hour * 3_600.0 + local.minute * 60.0 + local.second
    return float(local.toordinal()), second


def _agreed(same: list[list[float]], today: float) -> float | None:
    """The clean draw of an hour, if LEAST_DAYS other days had some and all that had agree on it: an hour at
    which other zones have other days has none."""
    days: dict[float, list[float]] = {}
    for day, _, flow in same:
        if day != today:
            days.setdefault(day, []).append(flow)
    middles = [median(flows) for flows in days.values() if len(flows) >= LEAST_DRAWS]
    if len(middles) < LEAST_DAYS or max(middles) > AGREE * min(middles):
        return None
    return median(middles)


def judged(draws: Draws, left: float) -> Shrunk | None:
    """What the newest two days that had large draws say of them. left: delivery over its clean value."""
    if not draws.newest:
        return None
    now_s = draws.newest[-1][0]
    looked = [one for one in draws.newest if now_s - one[0] < LOOKED_BACK_S]
    days = sorted({one[1] for one in looked})[-DAYS:]
    looked = [one for one in looked if one[1] in days]
    if len(days) < DAYS or len(looked) < LEAST_SEEN:
        return None
    most = max(one[2] for one in looked)
    largest = [one for one in looked if one[2] > most / APART]
    by_day = [[one[3] / one[2] for one in largest if one[1] == day] for day in days]
    if not all(by_day):
        return None
    true = min(max(left, 0.1), 1.0)
    shares = [median(some) / true for some in by_day]
    count = sum(len(some) for some in by_day)
    share = max(shares)
    z = (1.0 - BORNE - share) / (ROUGH / sqrt(count))
    seen = sorted(flow for at_s, flow in draws.large if at_s >= looked[0][0])
    still = seen[-2] if len(seen) > 1 else seen[-1]
    zones = _zones(looked, true, share, most)
    sure = share <= SHRUNK and z >= ENOUGH_Z and still / true < LARGEST * most and zones > 0
    now = median([one[3] for one in largest])
    back = min(shares) > 0.5 * (1.0 + SHRUNK)
    return Shrunk(share, most, now, zones, _since(draws, true), sure, back)


def _zones(looked: list[list[float]], true: float, share: float, most: float) -> int:
    """How many draws of different size agree on one growth of resistance; 0 where one speaks against it."""
    grown = (share**-2 - 1.0) / most**2
    found, rest = 0, sorted(looked, key=lambda one: -one[2])
    while rest:
        same = [one for one in rest if one[2] > rest[0][2] / APART]
        rest = rest[len(same) :]
        clean = median([one[2] for one in same])
        foretold = 1.0 / sqrt(1.0 + max(grown, 0.0) * clean**2)
        if len(same) >= 2 and abs(median([one[3] / one[2] for one in same]) / true - foretold) > ALIKE:
            return 0
        found += len(same) >= 2
    return max(found, 1)


def _since(draws: Draws, true: float) -> float:
    """Since when all draws that could be compared have been small."""
    since = draws.newest[-1][0]
    for one in reversed(draws.newest):
        if one[3] / one[2] / true > 0.5 * (1.0 + SHRUNK):
            break
        since = one[0]
    return since
