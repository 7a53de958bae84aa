"""Switch drift: cut-in or cut-out has moved from its setting.

What fails. A spring ages, a nut works loose, the sensing tube silts up: the switch acts at another
pressure than it used to.

Physics. None but the switch's own; drawdown and run time follow by Boyle's law.

What the sensors show. Pressures at starts and stops, run after run, away from where they were.

Mistaken for. A setting that differs from the plant file from the first day (a nameplate, not a fault: the
plant's own first runs are the reference); a gauge that drifts (both ends move by the same amount: the
summary says so); a narrow band that short-cycles (that finding speaks, this one hangs on it); an air charge
above cut-in (`analytics.judging.charge_or_switch`).

Parameters. A move of MOVED (a tenth of the band: switches repeat to a few hundredths, common practice, no
source) and five standard errors of the median of six runs, three times in a row: with 50 runs a day
one-sided five sigma is wrong less than once in a hundred plant-years. Samples far apart see a stop within
what pressure rises from one to the next, and a weaker pump's nearer to the cut-out: that is put right by its
half, and a move smaller than it is none. A switch that now acts within AT_SETTING of the plant file's
setting, whatever it did before, has been set right, or its tank has. Where a charge above cut-in may be it,
PATIENT 12 runs are waited for, twice what the median is of, and then both are named. Where pressure's words
are far apart, rests in which little is drawn tell both ends (`analytics.judging.ends`), to half of ends.FALLS
of the band.

Source: common practice, no source.
"""

from __future__ import annotations

from math import hypot
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.air import median_error
from analytics.judging.charge_or_switch import MOST, TOLD, charge_odds
from analytics.judging.ends import LEAST, Ends, note_rest, note_start, too_narrow
from analytics.judging.footing import FINE_S, Footing, band_of, judged, note_beat, note_run, seen_below
from analytics.judging.signature import best_delivery
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Rest, Run

MOVED = AT_SETTING = 0.10
SIGMAS = 5.0
LAST = 6
IN_A_ROW = 3
PATIENT = 12
BACK = 0.5
#: A charge above cut-in shows as a cut-in that has moved up by more than the line's own curve.
COLLAPSED = 0.22
#: While one of these stands, a switch's ends are not learned.
UNSOUND = ("short_cycling", "burst_line", "lost_prime", "dry_supply", "blocked_discharge", "overpressure")


class DriftMemory(msgspec.Struct):
    row: int = 0
    back: int = 0
    lows_pa: list[float] = []  # of the newest runs: a switch that has moved up lets pressure go no lower
    charge: float = 0.0  # log of the odds of a charge above cut-in
    onset_us: int = 0
    cut_in: bool = False
    footing: Footing = msgspec.field(default_factory=Footing)
    ends: Ends = msgspec.field(default_factory=Ends)


class SwitchDrift(Detector):
    FAULT = "switch_drift"
    Memory = DriftMemory
    memory: DriftMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        note_rest(self.memory.ends, rest, band_of(self.plant, known.usual), known.water, self._sound(known))
        return ()

    def _sound(self, known: Known) -> bool:
        return not any(known.is_open(fault) for fault in (self.FAULT, *UNSOUND))

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        memory = self.memory
        if not run.entire:
            return ()
        note_start(memory.ends, run, band_of(self.plant, known.usual), known.water, self._sound(known))
        if run.pressure_low_pa is not None:
            memory.lows_pa = [*memory.lows_pa, run.pressure_low_pa][-LAST:]
        # where the motor's words are far apart pressure's turning points tell start and stop
        interval_s = min(run.interval_s, run.pressure_s or run.interval_s)
        told = [self._moves(known, interval_s), self._by_rests(known) if interval_s > FINE_S else None]
        moves = max((one for one in told if one is not None), key=_over, default=None)
        if moves is None:
            return ()
        start, stop, limit_start, limit_stop = moves
        note_run(memory.footing, run, band_of(self.plant, known.usual))
        if stop < limit_stop and self._collapses(start, interval_s, known):
            return ()
        over = _over(moves)
        if known.is_open(self.FAULT):
            memory.back = memory.back + 1 if over < BACK else 0
            if memory.back >= IN_A_ROW:
                memory.row = memory.back = 0
                return [AllClear(self.FAULT, summary="The switch acts at its old pressures again.")]
            return [self._claim(start, stop, limit_start, limit_stop)] if over >= 1.0 else ()
        if over < 1.0:
            memory.row = 0
            return ()
        if memory.row == 0:
            lately = known.signature.recent[-LAST // 2 :]
            memory.onset_us = lately[0].at_us if lately else run.cycle.start_us
        memory.row += 1
        memory.charge = _charge_odds(start, known) if start > 0.0 and stop < limit_stop else -MOST
        patient = memory.charge > -TOLD and memory.row < PATIENT
        if memory.row < IN_A_ROW or memory.charge > TOLD or patient or too_narrow(memory.ends, known):
            return ()  # a band too narrow is short cycling's
        return [self._claim(start, stop, limit_start, limit_stop)]

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        """Pressures far apart are kept: one below a cut-in that has moved up says that it has not."""
        if self._pressure is not None and self.memory.footing.runs:
            band = band_of(self.plant, known.usual)
            note_beat(self.memory.footing, beat.spans.get(self._pressure), beat.to_us, band)
        return ()

    def _collapses(self, start_pa: float, interval_s: float, known: Known) -> bool:
        """Whether pressure was seen well below where the runs now seem to start, which a moved cut-in would
        not let happen: a charge above cut-in does, in the moment in which the tank is empty."""
        if interval_s <= FINE_S or start_pa < COLLAPSED * known.usual.band_pa:
            return False
        band = band_of(self.plant, known.usual)
        foot = judged(self.memory.footing, band, known.water)
        return foot.stands in ("overcharged", "either") or seen_below(
            self.memory.footing, start_pa + known.usual.start_pa, band
        )

    def _by_rests(self, known: Known) -> tuple[float, float, float, float] | None:
        """`_moves` by rests of which samples far apart show both ends."""
        ends, switch, band = self.memory.ends, self.plant.switch, known.usual.band_pa
        least_pa = LEAST * band
        start, stop = ends.start.moved(least_pa), ends.stop.moved(least_pa)
        if start is None and stop is None:
            return None
        start, stop = -(start or 0.0), stop or 0.0
        if switch is not None:
            at_pa, usual = AT_SETTING * band, known.usual
            start *= _away(usual.start_pa + start, usual.start_pa, switch.cut_in_pa, at_pa, False)
            stop *= _away(usual.stop_pa + stop, usual.stop_pa, switch.cut_out_pa, at_pa, False)
        return start, stop, least_pa, least_pa

    def _moves(self, known: Known, interval_s: float) -> tuple[float, float, float, float] | None:
        """How far start and stop have moved, and how far they may [Pa]."""
        if known.signature.learned_us is None:
            return None
        clean = known.signature.clean
        low, high = clean.get("start_pa"), clean.get("stop_pa")
        low_now, high_now = known.signature.now("start_pa", LAST), known.signature.now("stop_pa", LAST)
        if low is None or high is None or low_now is None or high_now is None:
            return None
        band = high.middle - low.middle
        # between two samples far apart pressure moves unseen: by the mean half of it, all where runs keep
        # step with the samples
        ran, runs_now = clean.get("run_time_s"), known.signature.now("run_time_s", LAST)
        before = now = 0.0
        if ran is not None and runs_now is not None and interval_s > FINE_S:
            before, now = (min(interval_s / max(one.middle, 1.0), 1.0) for one in (ran, runs_now))
        unseen = max(before, now)  # and what was seen of the band lacks as much
        least = max(MOVED, unseen / max(1.0 - unseen, 0.5)) * band
        error = SIGMAS * 1.25 / LAST**0.5
        start = low_now.middle - low.middle
        if start > 0.0 and self.memory.lows_pa:  # a draw just before makes rests end higher
            start = max(min(start, median(self.memory.lows_pa) - low.middle), 0.0)
        stop = high_now.middle - high.middle + 0.5 * (now - before) * band
        switch = self.plant.switch
        if switch is not None:
            start *= _away(low_now.middle, low.middle, switch.cut_in_pa, AT_SETTING * band, unseen > 0.0)
            stop *= _away(high_now.middle, high.middle, switch.cut_out_pa, AT_SETTING * band, unseen > 0.0)
        return (
            start,
            stop,
            max(least, error * max(low.sigma, low_now.sigma)),
            max(least, error * max(high.sigma, high_now.sigma)),
        )

    def _claim(self, start: float, stop: float, limit_start: float, limit_stop: float) -> Claim:
        moved = []
        if abs(start) >= limit_start:
            moved.append(f"cut-in {_moved(self.plant, start)}")
        if abs(stop) >= limit_stop:
            moved.append(f"cut-out {_moved(self.plant, stop)}")
        said = f"The pressure switch has moved: {' and '.join(moved)}."
        if len(moved) == 2 and abs(start - stop) < 0.3 * max(abs(start), abs(stop)):
            said += (
                " Both by the same amount: a gauge that drifts looks the same, compare with another gauge."
            )
        elif self.memory.charge > -TOLD:
            said += " An air charge above cut-in looks much the same: check it with the tank drained."
        evidence = {"cut_in_moved_pa": start, "cut_out_moved_pa": stop}
        return Claim(self.FAULT, self.memory.onset_us, "low", 0.85, said, evidence=evidence)


def _over(moves: tuple[float, float, float, float]) -> float:
    """How far beyond its limit an end has moved; below 1: none has."""
    start, stop, limit_start, limit_stop = moves
    return max(abs(start) / limit_start, abs(stop) / limit_stop)


def _moved(plant: Plant, pascal: float) -> str:
    return f"{'up' if pascal > 0 else 'down'} by {words.pressure(plant, abs(pascal))}"


def _charge_odds(start_pa: float, known: Known) -> float:
    """By delivery, of runs that begin `start_pa` above the usual."""
    clean, lately = known.signature.clean, known.signature.now
    name = "delivery_m3_s" if "delivery_m3_s" in clean else best_delivery(clean)
    now = lately(name, LAST) if name is not None else None
    if name is None or now is None or not known.water.true:
        return 0.0
    base, count = clean[name], known.signature.learned_runs
    share = now.middle / base.middle
    error = hypot(median_error(now, LAST), share * median_error(base, count)) / base.middle
    return charge_odds(share, error, start_pa / known.usual.band_pa, known.usual, known.water)


def _away(now_pa: float, clean_pa: float, setting_pa: float, at_pa: float, far_apart: bool) -> bool:
    """Whether the switch does not act at its setting, nor, by samples far apart, nearer to it than before."""
    off_pa = abs(now_pa - setting_pa)
    return off_pa >= at_pa and not (far_apart and off_pa < abs(clean_pa - setting_pa))


def detector(plant: Plant) -> SwitchDrift:
    return SwitchDrift(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    return Coverage(
        True,
        "Told against the plant's own first day or two; a pressure sensor that has drifted looks the same: "
        "read a gauge at a start and a stop.",
    )
