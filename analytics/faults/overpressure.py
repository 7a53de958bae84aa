"""Overpressure: pressure passes cut-out and keeps rising, or the relief valve lifts.

What fails. The switch's contacts weld or its sensing tube is blocked: the motor is not stopped, and
pressure climbs to the pump's shut-off head or to the relief valve.

Physics. dw/dt = Q(P) - q goes on past cut-out until Q(P) = q or the relief valve takes the rest.

What the sensors show. A run that lasts beyond cut-out, at the usual rate of rise, then level.

Mistaken for. A switch set higher than the plant file says (it stops, each time at one pressure: nothing is
said before the first runs have shown where), a cut-out that has moved up (the first such run looks the
same; then the pump is stopped twice at one pressure, while that still rises: neither a person at the
breaker nor a relief valve does that, so the switch works, and switch_drift says where), a blocked outlet
(pressure leaps, no water goes anywhere), a gauge that drifts, or goes wild (`flows.wild`).

Parameters. PAST: beyond the usual stop by a quarter of the band, or beyond the file's cut-out by 0.6 of it
while nothing is learned: switches and gauges are good to some tenth of the band each (common practice, no
source). Two looks in agreement, OTHERS 3 words apart: of a gauge gone wild two of three lie above now and
then. SAME: two stops within a tenth of the band, the switch's own scatter;
FINE_S: samples further apart miss the stop itself, and put the usual stop too low by up to what an interval
fills (a tenth of the band in some 8 s): the file's cut-out counts then as well. While a switch is known to
drift, so do the pressure at which it stopped the pump last and its setting, to which it is set back. A run
that began above the usual cut-in by more than SHIFTED of the band, the scatter of a switch, was begun by one
whose range has moved (its main spring holds both ends): its stop is as much higher. One whose contacts weld
has begun at its cut-in; where samples far apart do not tell that, it runs on for LONG times what fills the
tank, or the line stands: what gains no more than STANDS of the delivery, beyond two errors, is at the pump's
shut-off head or held by the relief valve, and comes to no cut-out.

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.ends import still_filled
from analytics.judging.flows import SURE, wild
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look, Run

PAST = 0.25
PAST_BY_FILE = 0.6
LEAST_PA = 20_000.0
FINE_S = 3.0
OTHERS = 3.0
SAME = 0.10
SHIFTED, MOST_SHIFTED, LONG, STANDS = 0.10, 0.60, 3.0, 0.15


class OverpressureMemory(msgspec.Struct):
    run_us: int = 0
    looks: int = 0
    since_us: int = 0
    last_stop_pa: float | None = None  # of the newest run that was stopped in time
    high_stop_pa: float | None = None  # at which the last run was stopped while pressure rose
    moved_to_pa: float | None = None  # where the switch stops now, by two such runs


class Overpressure(Detector):
    FAULT = "overpressure"
    Memory = OverpressureMemory
    memory: OverpressureMemory

    def _limit_pa(self, known: Known, interval_s: float) -> float:
        memory, switch = self.memory, known.plant.switch
        stop = max(known.usual.stop_pa, memory.moved_to_pa or 0.0)
        if interval_s > FINE_S and switch is not None:
            stop = max(stop, switch.cut_out_pa)
        if known.is_open("switch_drift"):
            set_pa = switch.cut_out_pa if switch is not None else 0.0  # where it is to be set back to
            stop = max(stop, memory.last_stop_pa or 0.0, set_pa)
        return self._limit_above(stop, known)

    def _limit_above(self, stop_pa: float, known: Known) -> float:
        share = PAST if known.signature.learned_runs >= 6 else PAST_BY_FILE
        return stop_pa + max(share * known.usual.band_pa, LEAST_PA)

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        memory, limit = self.memory, self._limit_pa(known, look.interval_s) + _shifted_pa(look, known)
        if look.pressure_pa is None or known.plant.switch is None:
            return ()
        if memory.run_us != look.start_us:
            memory.run_us, memory.looks = look.start_us, 0
        if look.pressure_pa <= limit or wild(look, known.usual):
            memory.looks = 0
            return ()
        if memory.looks == 0:
            memory.since_us = look.at_us
        memory.looks += 1
        if memory.looks < 2 or look.at_us - memory.since_us < OTHERS * look.interval_s * 1e6:
            return ()
        said = (
            f"Pressure stands at {words.pressure(self.plant, look.pressure_pa)} with the pump still running: "
            "the pressure switch does not stop it."
        )
        evidence = {"pressure_pa": look.pressure_pa, "usual_stop_pa": known.usual.stop_pa}
        return [Claim(self.FAULT, memory.since_us, "high", 0.95, said, "switch_stuck", evidence=evidence)]

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        stop = run.cycle.pressure_stop_pa
        if stop is None:
            return ()
        limit = self._limit_pa(known, run.interval_s)
        self._note_stop(stop, run, known)
        if stop <= limit:
            self.memory.last_stop_pa = stop
        if not known.is_open(self.FAULT) or stop > max(limit, self._limit_pa(known, run.interval_s)):
            return ()
        if stop < known.usual.start_pa + 0.3 * known.usual.band_pa:
            return ()
        return [AllClear(self.FAULT, summary="The switch stops the pump at its cut-out again.")]

    def _note_stop(self, stop_pa: float, run: Run, known: Known) -> None:
        """Learn where the switch stops, if that is higher than it was."""
        memory, usual = self.memory, known.usual
        if stop_pa <= self._limit_above(usual.stop_pa, known):
            memory.high_stop_pa = memory.moved_to_pa = None
            return
        if not run.entire or not still_filled(run, usual):
            return
        last, memory.high_stop_pa = memory.high_stop_pa, stop_pa
        if last is not None and abs(stop_pa - last) < SAME * usual.band_pa:
            memory.moved_to_pa = stop_pa


def _shifted_pa(look: Look, known: Known) -> float:
    """By how much a run that was seen to begin began above the usual cut-in, beyond what a start is told to;
    nothing above MOST_SHIFTED: no switch starts there, a hiccup of the motor's signal does."""
    start_pa, usual = look.pressure_start_pa, known.usual
    if look.age_s > LONG * usual.drawdown_m3 / usual.delivery_m3_s:
        return 0.0  # no switch that has only moved lets it run for so long
    slope, error = look.slope_m3_s, look.slope_error_m3_s
    if slope is not None and error is not None and slope + SURE * error < STANDS * usual.now_m3_s:
        return 0.0
    above_pa = start_pa - usual.start_pa if start_pa is not None and look.entire else 0.0
    return above_pa if SHIFTED < above_pa / usual.band_pa < MOST_SHIFTED else 0.0


def detector(plant: Plant) -> Overpressure:
    return Overpressure(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    if plant.switch is None:
        return Coverage(False, "The plant file gives no pressure switch to compare with.")
    return Coverage(True, "Told while the run lasts. Holdwater watches; the relief valve protects.")
