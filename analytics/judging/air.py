"""How much of the pressure tank's air is left, by how fast the same water now moves its pressure.

A tank that has lost air answers to the same water with more pressure: tank water worked out with the plant
file's charge moves 1/f times too fast, where f is what is left of the compliance V (Pc + pa). The pump's
delivery is the same, so

    f = clean delivery / apparent delivery

and every flow that is told from pressure is f times what it seems. f above one is a pump that delivers
less, not more air: whoever uses it holds it to one.

Air goes where it has become less by ESCAPES 3 standard errors, of both ends together.

A median's standard error is 1.25 sigma / sqrt(n).

Source: Boyle's law; kinks as in the design's signatures.
"""

from __future__ import annotations

from math import hypot, log, sqrt
from statistics import median
from typing import TYPE_CHECKING

from msgspec import structs

from analytics.instants import DAY_US
from analytics.judging.signature import LATELY, RECENT, best_delivery

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait
    from analytics.judging.watch import Known
    from analytics.records import Finding
    from analytics.seeing.events import Look

#: In the evidence of a tank charged above cut-in: where its runs begin. Below it holds no water, and what
#: pressure does there is the line's.
CHARGE = "charge_pa"
OF_A_MEDIAN = 1.2533
ESCAPES = 3.0
#: What a look tells by the tank's pressure.
FLOWS = ("slope_m3_s", "slope_first_m3_s", "slope_before_m3_s", "slope_error_m3_s", "fall_m3_s")


def air_left(signature: Signature) -> tuple[float, float] | None:
    """Share of the tank's compliance that is left, and its standard error; None before it is known."""
    name = best_delivery(signature.clean)
    if name is None or signature.learned_us is None:
        return None
    now, count = signature.now(name), min(len(signature.recent), RECENT)
    if now is None or now.middle <= 0.0:
        return None
    share = signature.clean[name].middle / now.middle
    return share, share * hypot(median_error(now, count) / now.middle, clean_error(signature))


def left_of_the_tank(known: Known) -> float:
    """By how much flows that the tank tells are to be lessened: while it starts the pump too often for its
    air, for the air that is lost."""
    left = air_left(known.signature) if known.is_open("short_cycling") else None
    return min(left[0], 1.0) if left is not None else 1.0


def by_the_air(look: Look, left: float) -> Look:
    """The look of a tank that has so much of its air left."""
    if left == 1.0:
        return look
    flows = {name: getattr(look, name) for name in FLOWS}
    return structs.replace(look, **{name: left * was for name, was in flows.items() if was is not None})


def charged_pa(standing: Iterable[Finding]) -> float:
    """The charge above cut-in that is known of; 0 where none is."""
    told = (one.evidence.get(CHARGE, 0.0) for one in standing if one.cause == "overcharged_tank")
    return max(told, default=0.0)


def of_the_charge(look: Look, charge_pa: float) -> Look:
    """The look of a tank that is empty below such a charge: there pressure falls without any flow."""
    above = look.fall_m3_s is None or look.pressure_pa is None or look.pressure_pa > charge_pa
    return look if above else structs.replace(look, fall_m3_s=None)


def air_of_day(signature: Signature, from_us: int) -> tuple[float, float, float] | None:
    """Of a day that is over: middle of its runs [days since the epoch], share of the compliance left, and the
    standard error of that by these runs alone. LATELY of the newest runs tell it where the day had fewer;
    None where it had fewer than half of them, for then it says little that the day before did not."""
    name = best_delivery(signature.clean)
    today = sum(brief.at_us >= from_us for brief in signature.recent)
    if name is None or signature.learned_us is None or 2 * today < LATELY:
        return None
    runs = max(today, LATELY)
    now = signature.now(name, runs)
    if now is None or now.middle <= 0.0:
        return None
    share = signature.clean[name].middle / now.middle
    middle_us = median([brief.at_us for brief in signature.recent[-runs:]])
    return middle_us / DAY_US, share, share * median_error(now, runs) / now.middle


def escaping_1_s(shares: list[list[float]]) -> float:
    """How fast air is surely going: share of what is left, a second, from its oldest to its newest ([time in
    us, share left, standard error]). With no water drawn pressure then falls as n R T / V does."""
    if len(shares) < 2:
        return 0.0
    (from_us, was, was_error), (to_us, now, error) = shares[0], shares[-1]
    gone = log(was / now)
    surely = gone > ESCAPES * hypot(was_error / was, error / now)
    return gone / (to_us - from_us) * 1e6 if surely else 0.0


def clean_error(signature: Signature) -> float:
    """Relative standard error of the clean delivery."""
    name = best_delivery(signature.clean)
    if name is None:
        return 0.0
    clean = signature.clean[name]
    return median_error(clean, signature.learned_runs) / clean.middle


def median_error(trait: Trait, count: int) -> float:
    """Standard error of a median of so many runs."""
    return OF_A_MEDIAN * trait.sigma / sqrt(max(count, 1))
