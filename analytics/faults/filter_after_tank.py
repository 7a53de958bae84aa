"""A filter between tank and taps that clogs: a kind of clogged_filter, with signs of its own.

What fails. As `clogged_filter`, but behind the tank the pump does not feel it.

Physics, and what the sensors show. Large draws, which come back at their hours, shrink; delivery into the
tank stays: `analytics.judging.draws`.

Mistaken for. See there. One zone alone, with smaller nozzles now, cannot be told from it.

Parameters. See there. Cleared when the draws are back within half of the least loss, two days in a row.

Source: orifice flow, any hydraulics text.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from analytics import words
from analytics.judging.decline import left_of_lesson
from analytics.judging.draws import Draws, Shrunk, judged, take_up
from analytics.judging.signature import LESSON
from analytics.judging.watch import AllClear, Claim, Detector

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.records import Priority
    from analytics.seeing.events import Run


class FilterAfterTank(Detector):
    FAULT = "clogged_filter"
    Memory = Draws
    memory: Draws

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._zone = ZoneInfo(plant.timezone)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        is_open = known.is_open(self.FAULT)
        usual = known.usual.delivery_m3_s
        if not take_up(self.memory, run, known.water, self._zone, usual, learn=not is_open):
            return ()
        metered = run.flow_m3_s is not None
        left = None if metered else left_of_lesson(known, LESSON // 2)
        found = judged(self.memory, left[0] if left is not None else 1.0)
        if found is None:
            return ()
        if is_open:
            if found.back:
                told = f"Large draws are back at {words.percent(found.share)} of their clean flow."
                return [AllClear(self.FAULT, summary=told, evidence={"draw_after_share_1": found.share})]
            return [self._claim(found)] if found.sure else ()
        return [self._claim(found)] if found.sure else ()

    def _claim(self, found: Shrunk) -> Claim:
        said = (
            f"Large draws pass {words.percent(found.share)} of the water that they did at the same hours "
            "when clean, while the pump delivers as ever: the filter after the tank is clogging."
        )
        if found.zones < 2:
            said += " If that zone's nozzles, valve or regulator were changed, it is they."
        evidence = {
            "draw_share_1": found.share,
            "draw_clean_m3_s": found.clean_m3_s,
            "draw_now_m3_s": found.now_m3_s,
            "zones_agreeing_1": float(found.zones),
        }
        priority: Priority = "high" if found.share < 0.5 else "medium"
        sure = 0.9 if found.zones > 1 else 0.75
        return Claim(self.FAULT, int(found.since_s * 1e6), priority, sure, said, evidence=evidence)
