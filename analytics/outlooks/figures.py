"""The plain figures of the plant as it is today, and how long the air will last.

Once a day, from the newest runs (`analytics.judging.signature`):

- delivery at cut-in and cut-out, by the kinks of the newest runs;
- demand: what the pump brought in each day (delivery times run time: over a day the tank keeps nothing);
- air: by f, what is left of the tank's compliance (`analytics.judging.air`),

      air charge  Pc = f (Pc_file + pa) - pa

  and the tank gives f times the file's drawdown. f above one is a pump that delivers less, not more
  air: it is held to one. So a slow clog hides a slow loss of air; both have findings of their own;
- weeks until the air wants topping up: until f is TOP_UP_AT, by what the days make likely (`clogging`): air
  goes by the same share or by the same amount each day, since some day or all along, whoever draws water; or
  some went at once and stays gone. Where the days scatter too much to tell any of it nothing is said. Each
  day's f stands at the middle of the runs that it is told from: where runs are few, some days back.

Bands are from the scatter of the runs: a median's standard error is 1.25 sigma / sqrt(n).

Parameters:
    TOP_UP_AT   0.75   of the drawdown left: runs are a quarter shorter; a yearly check finds less
                       gone in a sound tank (common practice, no source)
    WEEKS       6      of days that it is told from
    AIR_GOES           laws of `courses` with f = 1: a leak or a skin lets out a share of what there is
                       (n = 1) or, by the pressure that the switch keeps, an amount (n = 3/2); equally likely

Source: Boyle's law; kinks as in the design's signatures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.judging.air import air_left, air_of_day, clean_error, median_error
from analytics.judging.signature import RECENT
from analytics.judging.watch import Detector
from analytics.outlooks.clogging import days_by_any
from analytics.outlooks.courses import Reading
from analytics.records import Outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.seeing.events import Day, Run

TOP_UP_AT = 0.75
WEEKS = 6
AIR_GOES = {1.0: 1.0, 1.5: 1.0}
DAY_S = 86_400.0
#: Tenth and ninetieth percentile of a normal.
Z90 = 1.2816
DEMAND_DAYS = 28
DEMAND_LEAST = 3


class FigureMemory(msgspec.Struct):
    brought_m3: float = 0.0  # since midnight
    daily_m3: list[float] = []
    air: list[list[float]] = []  # day, share of compliance left, its standard error


class Figures(Detector):
    """Raises nothing; speaks at the end of each day."""

    FAULT = "figures"
    Memory = FigureMemory
    memory: FigureMemory

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        cycle = run.cycle
        if cycle.delivery_mid_m3_s is not None and cycle.delivery_mid_m3_s > 0.0:
            self.memory.brought_m3 += cycle.delivery_mid_m3_s * cycle.run_time_s
        return ()

    def outlooks(self, day: Day, known: Known) -> Sequence[Outlook]:
        if not known.water.true:
            return ()
        newest = known.signature.recent[-1].at_us if known.signature.recent else 0
        left = air_left(known.signature)
        true = min(left[0], 1.0) if left is not None else 1.0  # apparent flows are 1/f too large
        found = self._demand(day, true)
        if newest < day.from_us:
            return found
        for kind, name in (
            ("delivery_cut_in_m3_s", "delivery_start_m3_s"),
            ("delivery_cut_out_m3_s", "delivery_stop_m3_s"),
        ):
            trait = known.signature.now(name)
            if trait is not None:
                error = median_error(trait, min(len(known.signature.recent), RECENT))
                found.append(_outlook(kind, day, true * trait.middle, true * error))
        return found + (self._air(day, known, *left) if left is not None else [])

    def _demand(self, day: Day, true: float) -> list[Outlook]:
        memory, lasted_s = self.memory, (day.to_us - day.from_us) / 1e6
        if lasted_s > 0.8 * DAY_S:
            memory.daily_m3 = [*memory.daily_m3, true * memory.brought_m3 * DAY_S / lasted_s][-DEMAND_DAYS:]
        memory.brought_m3 = 0.0
        days = sorted(memory.daily_m3)
        if len(days) < DEMAND_LEAST:
            return []
        low, middle, high = (days[round(share * (len(days) - 1))] for share in (0.1, 0.5, 0.9))
        return [Outlook("demand_m3_day", None, day.at_us, low, middle, high)]

    def _air(self, day: Day, known: Known, share: float, error: float) -> list[Outlook]:
        """Charge, drawdown and weeks, against the learned signature, of which the charge is the file's."""
        start, stop = known.signature.now("start_pa"), known.signature.now("stop_pa")
        if start is None or stop is None:
            return []
        water = known.water
        drawn_m3 = water.between_m3(start.middle, stop.middle)
        absolute_pa = water.precharge_pa + water.atmosphere_pa_abs
        today = air_of_day(known.signature, day.from_us)
        if today is not None:
            self.memory.air = [*self.memory.air, list(today)][-7 * WEEKS :]
        going = Reading(self.memory.air, {1.0: 1.0}, AIR_GOES, by_use=False)
        until = days_by_any([going], TOP_UP_AT, clean_error(known.signature), day.to_us / 1e6 / DAY_S)
        weeks = [None if days is None else days / 7.0 for days in until]
        share = min(share, 1.0)
        charge_pa = max(share * absolute_pa - water.atmosphere_pa_abs, 0.0)  # less air is less volume
        return [
            _outlook("drawdown_m3", day, share * drawn_m3, error * drawn_m3),
            _outlook("air_charge_pa", day, charge_pa, error * absolute_pa),
            Outlook("weeks_to_top_up_air", None, day.at_us, *weeks),
        ]


def _outlook(kind: str, day: Day, middle: float, error: float) -> Outlook:
    return Outlook(kind, None, day.at_us, middle - Z90 * error, middle, middle + Z90 * error)
