"""A filter between tank and taps that clogs: a kind of clogged_filter, with signs of its own.

What fails. As `clogged_filter`, but behind the tank the pump does not feel it.

Physics, and what the sensors show. All draws shrink, the large ones most; delivery into the tank stays.
With a flow meter every draw that stands for a while counts: `analytics.judging.openings`. Without one there
are the large draws that come back at their hours, by what the tank gives: `analytics.judging.draws`.

Mistaken for. See there. One zone alone, with smaller nozzles now, may look the same: the finding says so.

Parameters. See there. LOOK_S 6 h between two looks at what a meter showed, SOON_S 2 h where the odds are
above SUSPECTED e^3: what it clogs by within hours is small, and a look costs some milliseconds. By a meter it
is cleared when the newest draws are the clean openings again; without, when the draws are back within half of
the least loss, two days in a row.

Source: orifice flow, any hydraulics text.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from analytics import words
from analytics.judging import openings, steady_draws
from analytics.judging.draws import Draws, Shrunk, judged, take_up
from analytics.judging.left_over import left_of_lesson
from analytics.judging.openings import Openings
from analytics.judging.signature import LESSON
from analytics.judging.steady_draws import Standing
from analytics.judging.watch import AllClear, Claim, Detector
from analytics.plant.description import Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.openings import Clogged
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.records import Priority
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Run

LOOK_S, SOON_S, SUSPECTED = 21_600.0, 7_200.0, 3.0
#: While one of these stands the meter sees no draws.
NO_DRAWS = ("burst_line", "blocked_discharge")


class FilterMemory(Draws):
    """The draws by the tank, and beside them what a meter showed."""

    standing: Standing = msgspec.field(default_factory=Standing)
    openings: Openings = msgspec.field(default_factory=Openings)
    looked_s: float = 0.0
    odds: float = 0.0  # by that look
    fresh: bool = False  # draws have ended since


class FilterAfterTank(Detector):
    FAULT = "clogged_filter"
    Memory = FilterMemory
    memory: FilterMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._zone = ZoneInfo(plant.timezone)
        self._flow = next(iter(plant.measuring(Measure.SUPPLY_FLOW)), None)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        """With a meter: take up the draws, and look at them now and then."""
        if self._flow is None:
            return ()
        memory, flow = self.memory, beat.spans.get(self._flow)
        if flow is None or not flow.count or not self._sees(known):
            return ()
        pressure = beat.spans.get(self._pressure) if self._pressure is not None else None
        for draw in steady_draws.take_up(memory.standing, flow, pressure, memory.openings.least):
            openings.add(memory.openings, draw)
            memory.fresh = True
        now_s = beat.to_us / 1e6
        if not memory.fresh or now_s - memory.looked_s < (SOON_S if memory.odds > SUSPECTED else LOOK_S):
            return ()
        memory.looked_s, memory.fresh = now_s, False
        return self._look(now_s, known)

    def _sees(self, known: Known) -> bool:
        """Whether meter and gauge can be believed, and what flows is drawn."""
        for position in (self._flow, self._pressure):
            if position is not None and known.is_open("sensor_fault", self.plant.signals[position].name):
                return False
        return not any(known.is_open(fault) for fault in NO_DRAWS)

    def _look(self, now_s: float, known: Known) -> Sequence[Word]:
        memory = self.memory
        if not memory.openings.since_s:
            memory.odds, found = openings.judged(memory.openings, now_s)
            return [self._by_meter(found, known)] if found is not None else ()
        back_s = openings.follow(memory.openings, now_s)
        if back_s is None:
            return [self._by_meter(openings.standing(memory.openings), known)]
        openings.repaired(memory.openings, back_s)
        memory.odds = 0.0
        return [AllClear(self.FAULT, summary="The draws are back at their clean flow.")]

    def _by_meter(self, found: Clogged, known: Known) -> Claim:
        said = (
            f"Large draws pass {words.percent(found.share)} of what they did when clean, at the same "
            "pressure in the tank: the filter after the tank is clogging."
        )
        head_pa = 0.5 * (known.usual.start_pa + known.usual.stop_pa)
        clean_m3_s = found.clean * sqrt(head_pa)
        return self._told(said, found.share, clean_m3_s, found.share * clean_m3_s, found.zones, found.since_s)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        """Without a meter: the draw before a run."""
        if self._flow is not None:
            return ()
        is_open = known.is_open(self.FAULT)
        usual = known.usual.delivery_m3_s
        if not take_up(self.memory, run, known.water, self._zone, usual, learn=not is_open):
            return ()
        left = left_of_lesson(known, LESSON // 2)
        found = judged(self.memory, left[0] if left is not None else 1.0)
        if found is None:
            return ()
        if is_open and found.back:
            told = f"Large draws are back at {words.percent(found.share)} of their clean flow."
            return [AllClear(self.FAULT, summary=told, evidence={"draw_after_share_1": found.share})]
        return [self._by_tank(found)] if found.sure else ()

    def _by_tank(self, found: Shrunk) -> Claim:
        said = (
            f"Large draws pass {words.percent(found.share)} of the water that they did at the same hours "
            "when clean, while the pump delivers as ever: the filter after the tank is clogging."
        )
        return self._told(said, found.share, found.clean_m3_s, found.now_m3_s, found.zones, found.since_s)

    def _told(
        self, said: str, share: float, clean_m3_s: float, now_m3_s: float, zones: int, since_s: float
    ) -> Claim:
        if zones < 2:
            said += " If that zone's nozzles, valve or regulator were changed, it is they."
        evidence = {
            "draw_share_1": share,
            "draw_clean_m3_s": clean_m3_s,
            "draw_now_m3_s": now_m3_s,
            "zones_agreeing_1": float(zones),
        }
        priority: Priority = "high" if share < 0.5 else "medium"
        sure = 0.9 if zones > 1 else 0.75
        return Claim(self.FAULT, int(since_s * 1e6), priority, sure, said, evidence=evidence)
