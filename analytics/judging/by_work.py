"""Delivery by what the motor works, where the tank that measures it is not itself any more.

Physics. Between the same two pressures a pump's power goes with what it moves, whatever the tank takes of it:
a worn one loses power about as it loses flow, a throttled one about a quarter of that. A tank that has lost
its air or holds too much of it makes runs short and flows look several times larger; the motor's level stays
the sound one's.

What else lowers a level. Mains that sag by a tenth, by less than a tenth of it, for an evening; runs of which
more is spent near cut-out (a large draw, a tank whose air is gone), by some twentieth, since a pump gives a
fifth less there and a quarter of that is its power's, and of a steep curve by an eighth. A switch that has
moved up, as much more as the runs go higher: of those nothing is said.

Which part. With no filter before the tank it is the pump. With one, the drop across it tells; where no outlet
gauge does, only a level that no clog explains: a pump that moves nothing at all still takes SHUT of it.

Parameters:
    LEAST     0.15   of the level, more than the largest of these, as `in_each.NEAR_CUT_OUT`. Common practice,
                     no source
    RUNS             newest of those an hour apart, the fewest that span most of a day: no sag lasts so long.
                     Their upper quartile shows it, and that of the newest LATELY
    HIGHER    0.15   of the band: as `judging.agreed` has it

Source: as `judging.blame`.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from analytics.instants import HOUR_US
from analytics.judging.beyond_doubt import SPREAD_HOURS
from analytics.judging.blame import CLOG_DROP, POWER_WEAR, resistance, works_less
from analytics.judging.instruments import SHUT
from analytics.judging.signature import KEPT, LATELY, SIGMA_LEAST
from analytics.judging.worked_out import Decline

if TYPE_CHECKING:
    from analytics.judging.brief import Brief
    from analytics.judging.watch import Known

LEAST, HIGHER = 0.15, 0.15
RUNS = (5, LATELY, 12, KEPT)
#: Standard errors beyond what mains move: 3e-7 a look.
SURE = 5.0


def by_work_alone(known: Known) -> Decline | None:
    """A worn pump by its motor; None where it works as it did, or where a clog would explain it as well."""
    signature = known.signature
    clean, runs = signature.clean.get("motor_level"), _of_a_day(signature.hourly)
    if clean is None or clean.middle <= 0.0 or runs is None or _higher(known):
        return None
    said = (signature.upper("motor_level", runs, hourly=True), signature.upper("motor_level", LATELY))
    level = max((one for one in said if one is not None), default=inf) / clean.middle
    if None in said or level > 1.0 - LEAST or works_less(known, runs, hourly=True) < SURE:
        return None
    left = max(1.0 - (1.0 - level) / POWER_WEAR, 0.0)
    fitted = known.plant.filter
    if fitted is not None and fitted.position == "before_tank":
        drop = resistance(known, left)
        if (drop is None and level > SHUT) or (drop is not None and drop > CLOG_DROP):
            return None
        return Decline(left, SIGMA_LEAST, True, 0.02, drop, by_work=True)
    return Decline(left, SIGMA_LEAST, True, 0.0, None, by_work=True)


def works_again(known: Known) -> bool:
    """Whether the newest runs' motor level has regained half of the least that is told."""
    clean, now = known.signature.clean.get("motor_level"), known.signature.middle("motor_level", LATELY)
    return clean is None or now is None or now > (1.0 - 0.5 * LEAST) * clean.middle


def _of_a_day(hourly: list[Brief]) -> int | None:
    """How many of the newest span most of a day."""
    for runs in RUNS:
        if len(hourly) >= runs and hourly[-1].at_us - hourly[-runs].at_us >= SPREAD_HOURS * HOUR_US:
            return runs
    return None


def _higher(known: Known) -> bool:
    """Whether runs now go to higher pressures than the clean ones."""
    signature = known.signature
    start, stop = signature.clean.get("start_pa"), signature.clean.get("stop_pa")
    start_pa, stop_pa = (signature.middle(name, LATELY) for name in ("start_pa", "stop_pa"))
    if not (start and stop) or start_pa is None or stop_pa is None:
        return True
    return 0.5 * (start_pa + stop_pa - start.middle - stop.middle) > HIGHER * (stop.middle - start.middle)
