"""Switch drift: cut-in or cut-out has moved from its setting.

What fails. A spring ages, a nut works loose, the sensing tube silts up: the switch acts at another
pressure than it used to.

Physics. None but the switch's own; drawdown and run time follow by Boyle's law.

What the sensors show. Pressures at starts and stops, run after run, away from where they were.

Mistaken for. A setting in the plant file that is not the switch's (the plant's own first runs are the
reference, and the file only where no setting by hand and no gauge differ so much:
`analytics.judging.setting`); a gauge that drifts (both ends move by the same amount: the
summary says so); a narrow band that short-cycles (that finding speaks, this one hangs on it); an air charge
above cut-in (`analytics.judging.charge_or_switch`).

Parameters. A move of MOVED (a tenth of the band: switches repeat to a few hundredths, common practice, no
source) and five standard errors of the median of six runs, three times in a row: with 50 runs a day one-sided
five sigma is wrong less than once in a hundred plant-years. No draw takes an end outward: a stop up or a
start down is told by OUTWARD 4 runs in a row that all stand so far out (2.5 sigma of a run's: by chance once
in 10^9), no further apart than what is told, as those of a hand at the breaker would; while the switch seems
stuck those count that ended with the tank still filling. Samples far apart see a stop within what pressure
rises from one to the next, and a weaker pump's nearer to the cut-out: that is put right by its half, and a
move smaller than it is none. Of a start that holds for what pressure falls in the rest before it. A switch
that now acts within AT_SETTING of the plant file's setting, whatever it did before, has been set right, or
its tank has. Where a charge above cut-in may be it, PATIENT 12 runs are waited for, twice what the median is
of, and then both are named; none is told where pressure leaps to a run's first words, by COLLAPSED of the
band and more than the pump fills meanwhile, AT_FOOT 1.5 times what it brings amid the band (its curve). Where
pressure's words are far apart, rests in which little is drawn tell both ends (`analytics.judging.ends`), to
half of ends.FALLS of the band. An end is back within BACK of the limit, IN_A_ROW; where from one sample to
the next the pump, or as large a draw, moves pressure by more than that, a garden's hours hide a start that is
still lower: then for HABITS a day.

Source: common practice, no source.
"""

from __future__ import annotations

from math import hypot
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.air import median_error
from analytics.judging.charge_or_switch import MOST, TOLD, charge_odds, met_chance, unmet_odds
from analytics.judging.ends import EMPTY, HALF, LEAST, still_filled, too_narrow
from analytics.judging.footing import FINE_S, Footing, band_of, judged, note_beat, note_run, seen_below
from analytics.judging.setting import SINCE_FIRST, Moves, falls, off_setting, was_so
from analytics.judging.signature import best_delivery
from analytics.judging.trait import Trait, trait_of
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Run

MOVED = AT_SETTING = 0.10
SIGMAS = 5.0
LAST = 6
IN_A_ROW = 3
OUTWARD = 4
#: Of a run's scatter: so many standard errors of the median of LAST.
ERROR = SIGMAS * 1.25 / LAST**0.5
PATIENT = 12
BACK = 0.5
HABITS_US = 86_400_000_000
#: While one of these stands, runs show no switch.
HIDES = ("lost_prime", "dry_supply", "burst_line", "blocked_discharge")
#: A charge above cut-in shows as a cut-in that has moved up by more than the line's own curve.
COLLAPSED = 0.22
AT_FOOT = 1.5


class DriftMemory(msgspec.Struct):
    row: int = 0
    back: int = 0
    back_us: int = 0  # since when
    lows_pa: list[float] = []  # of the newest runs: a switch that has moved up lets pressure go no lower
    met: list[float] = []  # of the same, the chance that samples meet a collapse to cut-in
    rises_pa: list[float] = []  # of the same, from the start to the first words in the run
    newest: list[tuple[int, float, float]] = []  # runs: when they began, start and stop [Pa]
    off_setting: bool = False  # of the finding that stands: from the plant file's setting
    since_first: bool = False  # and it acted there from the first run on
    charge: float = 0.0  # log of the odds of a charge above cut-in
    onset_us: int = 0
    cut_in: bool = False
    footing: Footing = msgspec.field(default_factory=Footing)


class SwitchDrift(Detector):
    FAULT = "switch_drift"
    Memory = DriftMemory
    memory: DriftMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        memory = self.memory
        if not run.entire:
            return ()
        if run.pressure_low_pa is not None:
            memory.lows_pa = [*memory.lows_pa, run.pressure_low_pa][-LAST:]
            memory.met = [*memory.met, met_chance(run)][-LAST:]
            start_pa = run.cycle.pressure_start_pa
            risen_pa = 0.0 if start_pa is None else run.pressure_low_pa - start_pa
            memory.rises_pa = [*memory.rises_pa, risen_pa][-LAST:]
        self._note_ends(run, known)
        # where the motor's words are far apart pressure's turning points tell start and stop
        interval_s = min(run.interval_s, run.pressure_s or run.interval_s)
        now = known.signature.now
        outward = self._outward(known, interval_s)
        told = [
            outward,
            self._moves(known, interval_s, now("start_pa", LAST), now("stop_pa", LAST)),
            self._by_rests(known) if interval_s > FINE_S else None,
            off_setting(known, interval_s, LAST, ERROR, self._no_charge(known)),
        ]
        moves = max((one for one in told if one is not None), key=lambda one: one.over, default=None)
        if moves is None:
            return ()
        note_run(memory.footing, run, band_of(self.plant, known.usual))
        if moves.stop < moves.limit_stop and self._collapses(moves.start, interval_s, known):
            return ()
        if known.is_open(self.FAULT):
            if self._is_back(run, moves, known, interval_s):
                return [self._clear(known)]
            return [self._claim(moves)] if moves.over >= 1.0 else ()
        if moves.over < 1.0:
            memory.row = 0
            return ()
        if memory.row == 0:
            lately = known.signature.recent[-LAST // 2 :]
            memory.onset_us = lately[0].at_us if lately else run.cycle.start_us
        memory.row += 1
        if outward is not None:
            memory.onset_us = memory.newest[0][0]
            memory.row = max(memory.row, IN_A_ROW)
        alone = moves.start > 0.0 and moves.stop < moves.limit_stop
        memory.charge = -MOST
        if alone and not self._no_charge(known, moves.start):
            memory.charge = _charge_odds(moves.start, known)
        patient = memory.charge > -TOLD and memory.row < PATIENT
        if (
            memory.row < IN_A_ROW
            or memory.charge > TOLD
            or patient
            or too_narrow(known.ends, self.plant, known.usual, known.water)
        ):
            return ()  # a band too narrow is short cycling's
        memory.since_first = moves.off_setting and was_so(known, LAST, MOVED)
        return [self._claim(moves)]

    def _is_back(self, run: Run, moves: Moves, known: Known, interval_s: float) -> bool:
        """Whether both ends are where they belong, IN_A_ROW; or, where samples do not meet start and stop so
        nearly, through the draws of a whole day."""
        memory = self.memory
        if moves.over >= BACK:
            memory.back = 0
            return False
        memory.back_us = memory.back_us if memory.back else run.cycle.start_us
        memory.back += 1
        met = interval_s * known.usual.delivery_m3_s <= BACK * MOVED * known.usual.drawdown_m3
        return memory.back >= IN_A_ROW and (met or run.cycle.start_us - memory.back_us >= HABITS_US)

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        """Pressures far apart are kept: one below a cut-in that has moved up says that it has not."""
        if self._pressure is not None and self.memory.footing.runs:
            band = band_of(self.plant, known.usual)
            note_beat(self.memory.footing, beat.spans.get(self._pressure), beat.to_us, band)
        return ()

    def _collapses(self, start_pa: float, interval_s: float, known: Known) -> bool:
        """Whether pressure was seen well below where the runs now seem to start, or leapt from there to their
        first words, which a moved cut-in would not let happen: a charge above cut-in does, in the moment in
        which the tank is empty."""
        if start_pa > 0.0 and self._leaps(interval_s, known):
            return True
        if interval_s <= FINE_S or start_pa < COLLAPSED * known.usual.band_pa:
            return False
        band = band_of(self.plant, known.usual)
        foot = judged(self.memory.footing, band, known.water)
        return foot.stands in ("overcharged", "either") or seen_below(
            self.memory.footing, start_pa + known.usual.start_pa, band
        )

    def _leaps(self, interval_s: float, known: Known) -> bool:
        """Whether pressure rises further until a run's first words than any pump fills a tank meanwhile."""
        usual, rises_pa = known.usual, self.memory.rises_pa
        if interval_s <= FINE_S or len(rises_pa) < IN_A_ROW:
            return False
        fills = AT_FOOT * interval_s * usual.delivery_m3_s / usual.drawdown_m3
        return median(rises_pa) > max(COLLAPSED, fills) * usual.band_pa

    def _no_charge(self, known: Known, up_pa: float | None = None) -> bool:
        """Whether runs that begin so much further up (than the setting, if not said) would have been seen to
        collapse to cut-in, of a tank charged above it."""
        now, switch = known.signature.now("start_pa", LAST), self.plant.switch
        if now is None or (up_pa is None and switch is None):
            return False
        if up_pa is None and switch is not None:
            up_pa = now.middle - switch.cut_in_pa
        foot_pa = now.middle - 0.5 * (up_pa or 0.0)
        return unmet_odds(self.memory.lows_pa, self.memory.met, foot_pa) > TOLD

    def _by_rests(self, known: Known) -> Moves | None:
        """`_moves` by rests of which samples far apart show both ends."""
        ends, switch, band = known.ends, self.plant.switch, known.usual.band_pa
        least_pa = LEAST * band
        start, stop = ends.start.moved(least_pa), ends.stop.moved(least_pa)
        if start is None and stop is None:
            return None
        start, stop = -(start or 0.0), stop or 0.0
        if switch is not None:
            at_pa = self._at_setting(known) * (switch.cut_out_pa - switch.cut_in_pa)
            clean_pa = -(ends.start.clean_pa() or 0.0)
            start *= _away(clean_pa + start, clean_pa, switch.cut_in_pa, at_pa, False)
            clean_pa = ends.stop.clean_pa() or 0.0
            stop *= _away(clean_pa + stop, clean_pa, switch.cut_out_pa, at_pa, False)
        return Moves(start, stop, least_pa, least_pa)

    def _at_setting(self, known: Known) -> float:
        """So near to its setting a switch counts as set right: nearer once it was said to have moved, or its
        own scatter about that limit would set it right and move it again."""
        return AT_SETTING * (BACK if known.is_open(self.FAULT) else 1.0)

    def _note_ends(self, run: Run, known: Known) -> None:
        """Where a run began and was stopped, if the switch did both."""
        low_pa, high_pa = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
        if low_pa is None or high_pa is None or high_pa - low_pa < HALF * known.usual.band_pa:
            return
        if any(known.is_open(fault) for fault in HIDES):
            return
        if known.is_open("overpressure") and not still_filled(run, known.usual):
            return
        self.memory.newest = [*self.memory.newest, (run.cycle.start_us, low_pa, high_pa)][-OUTWARD:]

    def _outward(self, known: Known, interval_s: float) -> Moves | None:
        """`_moves` by the least that each of the newest few runs stands further out, at one pressure; None
        where that is no move."""
        newest = self.memory.newest
        if len(newest) < OUTWARD:
            return None
        lows_pa, highs_pa = ([run[side] for run in newest] for side in (1, 2))
        moves = self._moves(known, interval_s, trait_of([max(lows_pa)]), trait_of([min(highs_pa)]))
        if moves is None:
            return None
        start = min(moves.start, 0.0) if _spread(lows_pa) <= moves.limit_start else 0.0
        stop = max(moves.stop, 0.0) if _spread(highs_pa) <= moves.limit_stop else 0.0
        found = Moves(start, stop, moves.limit_start, moves.limit_stop)
        return found if found.over >= 1.0 else None

    def _moves(
        self, known: Known, interval_s: float, low_now: Trait | None, high_now: Trait | None
    ) -> Moves | None:
        """From where clean runs had them to where they are now."""
        clean = self._clean(known, interval_s)
        low, high = clean.get("start_pa"), clean.get("stop_pa")
        if low is None or high is None or low_now is None or high_now is None:
            return None
        if low_now.middle < EMPTY * low.middle:
            return None
        band = high.middle - low.middle
        # between two samples far apart pressure moves unseen: by the mean half of it, all where runs keep
        # step with the samples
        ran, runs_now = clean.get("run_time_s"), known.signature.now("run_time_s", LAST)
        before = now = 0.0
        if ran is not None and runs_now is not None and interval_s > FINE_S:
            before, now = (min(interval_s / max(one.middle, 1.0), 1.0) for one in (ran, runs_now))
        unseen = max(before, now)  # and what was seen of the band lacks as much
        falling = falls(known, interval_s, LAST, unseen) if interval_s > FINE_S else 0.0
        least, least_start = (_least(one) * band for one in (unseen, falling))
        start = low_now.middle - low.middle
        if start > 0.0:  # a draw just before makes rests end higher, and none makes them end lower
            lows_pa = [low_now.lower, *([median(self.memory.lows_pa)] if self.memory.lows_pa else ())]
            start = max(min(start, min(lows_pa) - low.middle), 0.0)
        stop = high_now.middle - high.middle + 0.5 * (now - before) * band
        switch = self.plant.switch
        if switch is not None:
            at_pa = self._at_setting(known) * (switch.cut_out_pa - switch.cut_in_pa)
            start *= _away(low_now.middle, low.middle, switch.cut_in_pa, at_pa, unseen > 0.0)
            stop *= _away(high_now.middle, high.middle, switch.cut_out_pa, at_pa, unseen > 0.0)
        return Moves(
            start,
            stop,
            max(least_start, ERROR * max(low.sigma, low_now.sigma)),
            max(least, ERROR * max(high.sigma, high_now.sigma)),
        )

    def _clean(self, known: Known, interval_s: float) -> dict[str, Trait]:
        """Traits of the lesson; before it is over, of its first runs, where samples meet these and they stand
        at the setting: a plant of few runs a day is learned for a week."""
        signature, switch = known.signature, self.plant.switch
        if signature.learned_us is not None:
            return signature.clean
        low, high = signature.first.get("start_pa"), signature.first.get("stop_pa")
        if switch is None or low is None or high is None or interval_s > FINE_S:
            return {}
        off_pa = max(abs(low.middle - switch.cut_in_pa), abs(high.middle - switch.cut_out_pa))
        met = off_pa < AT_SETTING * (switch.cut_out_pa - switch.cut_in_pa)
        return signature.first if met else {}

    def _clear(self, known: Known) -> AllClear:
        """Where it stood off its setting from the first run on, the lesson was of those pressures."""
        memory = self.memory
        where = "at its setting" if memory.off_setting else "at its old pressures"
        anew = memory.since_first and not was_so(known, LAST, MOVED)
        memory.row = memory.back = 0
        memory.off_setting = memory.since_first = False
        return AllClear(self.FAULT, summary=f"The switch acts {where} again.", anew=anew)

    def _claim(self, moves: Moves) -> Claim:
        ends, start, stop = [], moves.start, moves.stop
        if abs(start) >= moves.limit_start:
            ends.append(("cut-in", start))
        if abs(stop) >= moves.limit_stop:
            ends.append(("cut-out", stop))
        self.memory.off_setting = moves.off_setting
        if moves.off_setting:
            away = " and ".join(f"{name} {_off(self.plant, pascal)}" for name, pascal in ends)
            said = f"The pressure switch does not act at the plant file's setting: {away} it."
        else:
            away = " and ".join(f"{name} {_moved(self.plant, pascal)}" for name, pascal in ends)
            said = f"The pressure switch has moved: {away}."
        if len(ends) == 2 and abs(start - stop) < 0.3 * max(abs(start), abs(stop)):
            said += (
                " Both by the same amount: a gauge that drifts looks the same, compare with another gauge."
            )
        elif self.memory.charge > -TOLD:
            said += " An air charge above cut-in looks much the same: check it with the tank drained."
        evidence = {"cut_in_moved_pa": start, "cut_out_moved_pa": stop}
        if self.memory.since_first:
            evidence[SINCE_FIRST] = 1.0
        return Claim(self.FAULT, self.memory.onset_us, "low", 0.85, said, evidence=evidence)


def _spread(ends_pa: list[float]) -> float:
    return max(ends_pa) - min(ends_pa)


def _least(unseen: float) -> float:
    """The least move that can be told where so much of the band goes by unseen, as shares of it."""
    return max(MOVED, unseen / max(1.0 - unseen, 0.5))


def _moved(plant: Plant, pascal: float) -> str:
    return f"{'up' if pascal > 0 else 'down'} by {words.pressure(plant, abs(pascal))}"


def _off(plant: Plant, pascal: float) -> str:
    return f"{words.pressure(plant, abs(pascal))} {'above' if pascal > 0 else 'below'}"


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
