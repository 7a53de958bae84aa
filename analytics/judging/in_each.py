"""Whether each of the newest runs has lost, and not only some of them.

A filter or a pump takes the same share of every run; what is drawn takes it of those beside which it is
drawn, and demand comes in spells. So the runs are asked one by one: by the best figure of each (`hidden`), by
how much they scatter, and by a motor that works less in them.

Parameters: see the constants.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING

from analytics.judging.blame import tells_a_level, works_less
from analytics.judging.hidden import CHANCE, bests, by_chance
from analytics.judging.left_over import FIGURES
from analytics.judging.signature import LATELY, SIGMA_LEAST
from analytics.judging.trait import upper

if TYPE_CHECKING:
    from analytics.judging.brief import Brief
    from analytics.judging.left_over import Base
    from analytics.judging.signature import Signature
    from analytics.judging.watch import Known

#: Mains that sag by a tenth cost a pump about as much (common practice, no source): no loss below is told.
LEAST = 0.13
#: Two witnesses that err apart: what is drawn in runs lowers no motor's level, and mains that sag lower that
#: and hardly the delivery (as in `judging.agreed`). Each beyond ALONE (one chance in 160; of the level a
#: twentieth), and hypot(z, z) beyond AGREE: of two normal errors 4e-5 a look, of which some thousand a year
#: do not overlap, and then a loss of a fifth must be seen as well.
LEAST_AGREED, ALONE, AGREE = 0.20, 2.5, 4.5
#: Of the level: a draw that keeps a pump near cut-out, where it gives some fifth less than over the band,
#: costs a quarter of that in power, and of a steep curve up to an eighth (seen in traces). Beyond it nothing
#: is hidden.
NEAR_CUT_OUT = 0.15
#: One chance in forty, of the delivery beside such a level.
BORNE_OUT = 2.0
#: Of the least loss, that the best figure of each run must show: of three that scatter the largest loses less
#: than their mean where they scatter more now.
SHOWN = 0.67
#: Times that clean runs scatter, of five runs and more against a lesson's: of standard deviations by chance
#: once in a thousand (an F test, 4 and 23 degrees of freedom). The robust ones that are compared vary more:
#: by chance a loss is told some runs later.
SCATTERED = 2.6


def motor_agrees(known: Known, base: Base, newest: list[Brief], z: float, hourly: bool) -> bool:
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


def idle_runs(known: Known) -> int:
    """In how many of the newest runs the motor has worked less, where it does so by so much that nothing but
    less water explains it: its level alone agrees then, and whole runs need only bear it out. 0: it does not.
    """
    clean, recent = known.signature.clean.get("motor_level"), known.signature.recent
    if not tells_a_level(known.plant) or clean is None:
        return 0
    works = (1.0 - 0.5 * NEAR_CUT_OUT) * clean.middle
    levels = [brief.motor_level for brief in reversed(recent)]
    runs = next((at for at, level in enumerate(levels) if level is None or level > works), len(levels))
    upper_now = known.signature.upper("motor_level", min(runs, LATELY)) if runs else None
    if upper_now is None or upper_now > (1.0 - NEAR_CUT_OUT) * clean.middle:
        return 0
    return runs if works_less(known, min(runs, LATELY), hourly=False) >= AGREE else 0


def hidden_by_draws(newest: list[Brief], base: Base, least: float) -> bool:
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


def scatters(signature: Signature, base: Base, runs: int) -> bool:
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
