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

Parameters. An end has moved where the newest runs agree on it (`analytics.judging.moved_end`: what is told,
and how seldom by chance). Samples far apart see a stop within what pressure rises from one to the next, and
in the RESPONDS_S second that switch and motor take (common practice, no source), and a weaker pump's nearer
to the cut-out: that is put right by its half. Of a start that holds for what pressure falls in the rest
before it. A switch that now acts within AT_SETTING of the plant file's setting, whatever it did before, has
been set right, or its tank has. Where neither delivery nor a collapse that samples should have met tell it
from a charge above cut-in, PATIENT runs are waited for, one more than agree, and then both are named: of
samples 10 s apart a dozen more would bring odds of three to one (`charge_or_switch.LEAPS_S`). MORE_PATIENT it
is where the odds are for a charge, or starts stand no further up than COLLAPSED, where draws take them too.
None is told where pressure leaps to a run's first words, by COLLAPSED of the band and more than the pump
fills meanwhile, AT_FOOT 1.5 times what it brings amid the band (its curve). Where pressure's words are far
apart, rests in which little is drawn tell both ends (`analytics.judging.ends`), to half of ends.FALLS of the
band: no start where runs are less than HALF as long as the lesson's, nor where DIPS of those since went down
to the old cut-in: there a switch that has moved lets no pressure go, but for a draw above the delivery. An
end is back where the median of LAST runs is within BACK of the limit, IN_A_ROW; where from one sample to the
next the pump, or as large a draw, moves pressure by more than that, a garden's hours hide a start that is
still lower: then for HABITS a day.

Source: common practice, no source.
"""

from __future__ import annotations

from math import inf
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.charge_or_switch import MOST, TOLD, Low, delivery_odds, met_each, unmet_odds
from analytics.judging.ends import EMPTY, HALF, LEAST, too_narrow
from analytics.judging.footing import (
    DIPS,
    FINE_S,
    Footing,
    band_of,
    judged,
    note_beat,
    note_run,
    seen_below,
)
from analytics.judging.moved_end import (
    AGREE,
    LAST,
    MOVED,
    SIGMAS,
    Acted,
    Agreed,
    acted,
    agreed,
    gauge_pa,
    limit_pa,
    rested,
    start_off,
    stops_off,
    take,
    with_gauge,
)
from analytics.judging.setting import SINCE_FIRST, Moves, falls, off_setting, was_so
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.trait import Trait
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Rest, Run

AT_SETTING = MOVED
IN_A_ROW = 3
#: Of a run's scatter: so many standard errors of the median of LAST.
ERROR = SIGMAS * 1.25 / LAST**0.5
PATIENT, MORE_PATIENT = AGREE + 1, 12
RESPONDS_S = 1.0
BACK = 0.5
HABITS_US = 86_400_000_000
#: While one of these stands, runs show no switch.
HIDES = ("lost_prime", "dry_supply", "burst_line", "blocked_discharge")
#: A charge above cut-in shows as a cut-in that has moved up by more than the line's own curve.
COLLAPSED = 0.22
AT_FOOT = 1.5

Sides = tuple[Agreed | None, Agreed | None]  # start and stop


class DriftMemory(msgspec.Struct):
    row: int = 0
    back: int = 0
    back_us: int = 0  # since when
    acted: list[Acted] = []  # of the newest runs
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
        memory, standing = self.memory, known.is_open(self.FAULT)
        if not run.entire:
            return ()
        # where the motor's words are far apart pressure's turning points tell start and stop
        interval_s = min(run.interval_s, run.pressure_s or run.interval_s)
        self._note_ends(run, known)
        sides = self._agreed(known, interval_s)
        told = [
            self._as_moves(sides),
            self._moves(known, interval_s) if standing else None,
            self._by_rests(known) if interval_s > FINE_S else None,
            off_setting(known, interval_s, LAST, ERROR, self._no_charge(known)),
        ]
        note_run(memory.footing, run, band_of(self.plant, known.usual))
        moves = max((one for one in told if one is not None), key=lambda one: one.over, default=None)
        if moves is None or (moves.over < 1.0 and not standing):
            memory.row = 0
            return ()
        if moves.stop < moves.limit_stop and self._collapses(moves.start, interval_s, known):
            return ()
        if standing:
            if self._is_back(run, moves, known, interval_s):
                return [self._clear(known)]
            return [self._claim(moves, sides)] if moves.over >= 1.0 else ()
        since = max((side.since for side in sides if side is not None), key=len, default=[])
        if memory.row == 0:
            lately = known.signature.recent[-LAST // 2 :]
            memory.onset_us = lately[0].at_us if lately else run.cycle.start_us
        memory.row += 1
        if since:
            memory.onset_us = since[0].start_us
            memory.row = max(memory.row, IN_A_ROW, len(since))
        memory.charge = self._charge(moves, since, known)
        far = moves.start >= COLLAPSED * known.usual.band_pa and memory.charge <= 0.0
        patient = memory.charge > -TOLD and memory.row < (PATIENT if far else MORE_PATIENT)
        if (
            memory.row < IN_A_ROW
            or memory.charge > TOLD
            or patient
            or too_narrow(known.ends, self.plant, known.usual, known.water)
        ):
            return ()  # a band too narrow is short cycling's
        memory.since_first = moves.off_setting and was_so(known, LAST, MOVED)
        return [self._claim(moves, sides)]

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

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        """Where pressure stands once the run is over says where it was stopped, if words missed that."""
        self.memory.acted = rested(self.memory.acted, rest)
        return ()

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
        foot_pa = known.usual.start_pa + 0.5 * start_pa
        if sum(one.low_pa < foot_pa for one in self._since(known)) >= DIPS:
            return True
        band = band_of(self.plant, known.usual)
        foot = judged(self.memory.footing, band, known.water)
        return foot.stands == "overcharged" or seen_below(
            self.memory.footing, start_pa + known.usual.start_pa, band
        )

    def _leaps(self, interval_s: float, known: Known) -> bool:
        """Whether pressure rises further until a run's first words than any pump fills a tank meanwhile."""
        usual = known.usual
        rises_pa = [one.low - one.start for one in self.memory.acted[-LAST:] if one.low is not None]
        if interval_s <= FINE_S or len(rises_pa) < IN_A_ROW:
            return False
        fills = AT_FOOT * interval_s * usual.delivery_m3_s / usual.drawdown_m3
        return median(rises_pa) > max(COLLAPSED, fills) * usual.band_pa

    def _no_charge(self, known: Known) -> bool:
        """Whether runs that begin so far above the setting would have been seen to collapse to cut-in, of a
        tank charged above it."""
        now, switch = known.signature.now("start_pa", LAST), self.plant.switch
        if now is None or switch is None:
            return False
        up_pa = now.middle - switch.cut_in_pa
        return unmet_odds(_lows(self.memory.acted[-LAST:]), now.middle - 0.5 * up_pa) > TOLD

    def _charge(self, moves: Moves, since: list[Acted], known: Known) -> float:
        """Log of the odds that runs begin further up for a charge above cut-in, by what the pump seems to
        deliver since and by the collapses that samples did not meet."""
        if moves.start <= 0.0 or moves.stop >= moves.limit_stop:
            return -MOST
        seen = _lows(since) or self._since(known) or _lows(self.memory.acted[-LAST:])
        clean = self._clean(known, FINE_S).get("start_pa")
        foot_pa = (clean.middle if clean is not None else known.usual.start_pa) + 0.5 * moves.start
        briefs = [one for one in known.signature.recent if seen and one.at_us >= seen[0].start_us]
        up = moves.start / known.usual.band_pa
        return delivery_odds(briefs, up, known) - unmet_odds(seen, foot_pa)

    def _since(self, known: Known) -> list[Low]:
        """The runs since rests tell that starts have moved up: those too that fill too little to be learned
        from. None where rests tell no such thing."""
        since_us = known.ends.start.inward_us(LEAST * known.usual.band_pa)
        if since_us is None:
            return []
        low_pa, wide_pa = band_of(self.plant, known.usual)
        return [
            Low(start_us, low_pa + share * wide_pa, met_each(every_s))
            for start_us, _, every_s, share in self.memory.footing.runs
            if start_us >= since_us
        ]

    def _by_rests(self, known: Known) -> Moves | None:
        """`_moves` by rests of which samples far apart show both ends."""
        ends, switch, band = known.ends, self.plant.switch, known.usual.band_pa
        least_pa = LEAST * band
        start, stop = ends.start.moved(least_pa), ends.stop.moved(least_pa)
        if start is None and stop is None:
            return None
        start, stop = -(start or 0.0), stop or 0.0
        if start > 0.0 and self._of_another_tank(known):
            start = 0.0
        if switch is not None:
            at_pa = self._at_setting(known) * (switch.cut_out_pa - switch.cut_in_pa)
            clean_pa = -(ends.start.clean_pa() or 0.0)
            start *= _away(clean_pa + start, clean_pa, switch.cut_in_pa, at_pa, False)
            clean_pa = ends.stop.clean_pa() or 0.0
            stop *= _away(clean_pa + stop, clean_pa, switch.cut_out_pa, at_pa, False)
        return Moves(start, stop, least_pa, least_pa)

    def _of_another_tank(self, known: Known) -> bool:
        """Whether runs are shorter than a cut-in makes them that has moved up and leaves HALF of the band:
        then a draw takes more of the band from one word to the next than the lesson's did."""
        ran = self._clean(known, FINE_S).get("run_time_s")
        lasted_s = [run_s for _, run_s, _, _ in self.memory.footing.runs]
        return ran is not None and bool(lasted_s) and median(lasted_s) < HALF * ran.lower

    def _at_setting(self, known: Known) -> float:
        """So near to its setting a switch counts as set right: nearer once it was said to have moved, or its
        own scatter about that limit would set it right and move it again."""
        return AT_SETTING * (BACK if known.is_open(self.FAULT) else 1.0)

    def _note_ends(self, run: Run, known: Known) -> None:
        """Where a run began and was stopped, if the switch did both."""
        one = acted(run, known.usual)
        if one is None or one.stop - one.start < HALF * known.usual.band_pa:
            return
        if any(known.is_open(fault) for fault in HIDES) or one.start < EMPTY * known.usual.start_pa:
            return
        self.memory.acted = take(self.memory.acted, one, run, known.usual)

    def _agreed(self, known: Known, interval_s: float) -> Sides:
        """How far start and stop have moved, by the newest runs that agree on it."""
        clean = self._clean(known, interval_s)
        low, high, runs = clean.get("start_pa"), clean.get("stop_pa"), self.memory.acted
        if low is None or high is None or not runs:
            return None, None
        band = high.middle - low.middle
        missed_start, missed_stop, nearer = self._missed(known, interval_s, band)
        high = msgspec.structs.replace(high, middle=high.middle + nearer)
        gauge = gauge_pa(runs, low, high)
        low, high = (msgspec.structs.replace(one, middle=one.middle + gauge) for one in (low, high))
        half_start, half_stop = (0.5 * limit_pa(one.sigma, band) for one in (low, high))
        start = stop = None  # a run that ended where they used to says so, and mostly it did
        if abs(runs[-1].start - low.middle) >= half_start:
            missed = [max(missed_start, _least(one.unseen) * band) for one in runs]
            starts = [start_off(one, low, half_start, some) for one, some in zip(runs, missed, strict=True)]
            start = agreed(runs, starts, low.sigma, band)
        if abs(runs[-1].stop - high.middle) >= half_stop:
            stop = agreed(runs, stops_off(runs, high, half_stop, missed_stop), high.sigma, band)
        switch = self.plant.switch
        if switch is not None:
            at_pa = self._at_setting(known) * (switch.cut_out_pa - switch.cut_in_pa)
            coarse = interval_s > FINE_S
            if start and not _away(low.middle + start.off, low.middle, switch.cut_in_pa, at_pa, coarse):
                start = None
            if stop and not _away(high.middle + stop.off, high.middle, switch.cut_out_pa, at_pa, coarse):
                stop = None
        return with_gauge(start, gauge), with_gauge(stop, gauge)

    def _as_moves(self, sides: Sides) -> Moves | None:
        start, stop = sides
        if start is None and stop is None:
            return None
        return Moves(
            start.off if start else 0.0,
            stop.off if stop else 0.0,
            start.limit if start else inf,
            stop.limit if stop else inf,
        )

    def _missed(self, known: Known, interval_s: float, band: float) -> tuple[float, float, float]:
        """Moves of start and stop that samples so far apart may show where there is none, and by how much
        nearer to the cut-out they meet stops than the lesson's did [Pa].

        Between two of them pressure moves unseen: by the mean half of it, all where runs keep step with the
        samples."""
        ran = self._clean(known, interval_s).get("run_time_s")
        runs_now = known.signature.now("run_time_s", LAST)
        before = now = fills = 0.0
        if ran is not None and runs_now is not None:
            lasts_s = [max(one.middle, 1.0) for one in (ran, runs_now)]
            before, now = (min((interval_s + RESPONDS_S) / one, 1.0) for one in lasts_s)
            fills = min(interval_s / min(lasts_s), 1.0)
        falling = falls(known, interval_s, LAST, fills)
        # what was seen of the band lacks as much
        return _least(falling) * band, _least(max(before, now)) * band, 0.5 * (before - now) * band

    def _moves(self, known: Known, interval_s: float) -> Moves | None:
        """How far from where clean runs had them the newest have start and stop, while a finding stands."""
        clean, now = self._clean(known, interval_s), known.signature.now
        low, high = clean.get("start_pa"), clean.get("stop_pa")
        low_now, high_now = now("start_pa", LAST), now("stop_pa", LAST)
        if low is None or high is None or low_now is None or high_now is None:
            return None
        if low_now.middle < EMPTY * low.middle:
            return None
        band = high.middle - low.middle
        least_start, least, nearer = self._missed(known, interval_s, band)
        start = low_now.middle - low.middle
        if start > 0.0:  # a draw just before makes rests end higher, and none makes them end lower
            went_pa = [one.low for one in self.memory.acted[-LAST:] if one.low is not None]
            lows_pa = [low_now.lower, *([median(went_pa)] if went_pa else ())]
            start = max(min(start, min(lows_pa) - low.middle), 0.0)
        stop = high_now.middle - high.middle - nearer
        switch = self.plant.switch
        if switch is not None:
            at_pa = self._at_setting(known) * (switch.cut_out_pa - switch.cut_in_pa)
            start *= _away(low_now.middle, low.middle, switch.cut_in_pa, at_pa, interval_s > FINE_S)
            stop *= _away(high_now.middle, high.middle, switch.cut_out_pa, at_pa, interval_s > FINE_S)
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
        usual = known.usual
        moves_m3 = interval_s * usual.delivery_m3_s  # of the tank, from one sample to the next
        if switch is None or low is None or high is None or moves_m3 > BACK * MOVED * usual.drawdown_m3:
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

    def _claim(self, moves: Moves, sides: Sides) -> Claim:
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
        works = sides[1] is not None and sides[1].off > 0.0  # it stops the pump, again and again
        apart = frozenset({"overpressure"}) if works else frozenset()
        onset_us = self.memory.onset_us
        return Claim(self.FAULT, onset_us, "low", 0.85, said, evidence=evidence, apart_from=apart)


def _lows(runs: Sequence[Acted]) -> list[Low]:
    return [Low(one.start_us, one.low, one.met) for one in runs if one.low is not None]


def _least(unseen: float) -> float:
    """The least move that can be told where so much of the band goes by unseen, as shares of it."""
    return max(MOVED, unseen / max(1.0 - unseen, 0.5))


def _moved(plant: Plant, pascal: float) -> str:
    return f"{'up' if pascal > 0 else 'down'} by {words.pressure(plant, abs(pascal))}"


def _off(plant: Plant, pascal: float) -> str:
    return f"{words.pressure(plant, abs(pascal))} {'above' if pascal > 0 else 'below'}"


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
