"""Short cycling: runs shorter, or starts more frequent, than the pump stands.

What fails. Each start heats the winding; the pump must then run long enough to carry the heat off. A
tank without its air, a charge above cut-in, a narrow switch band, a fluttering contact or a tank that
is too small all make the run short.

Physics. run time = D / (Q - q), D the drawdown between the switch's pressures. With the tank's true
compliance a fraction f of what the file says, tank water worked out from pressure moves 1/f times too
fast: apparent delivery rises by 1/f and runs shorten by f, at any demand. A charge Pc above cut-in
leaves the tank empty before the start: pressure falls from Pc to cut-in in a moment, and leaps back as
the pump starts. The fastest that a sound plant cycles is 4 D / Q, at a demand of half the delivery.

What the sensors show. Run times; start and stop pressures; apparent delivery; the leap at the start.

Mistaken for. Heavy use (cycles as fast as 4 D / Q, with runs of D / (Q - q) > D / Q: never shorter than
without any demand); a pump that was switched off by hand (stops far from cut-out).

Parameters. A run is short below min_run_time (60 s where the file gives none: common practice, motors to
1 hp) less how finely it was seen. Three of five runs: a household's run is short by chance (a power cut,
a hand on the switch) less than once in some hundred, so three of five once in 100,000 runs, longer than
a plant-year. GROWN 1.4: apparent delivery over its clean value, five runs' median (scatter 8 % a run,
4 % of the median: ten standard errors; ERRORS 5 of the plant's own scatter where that is more), that is
the drawdown down by 29 %; and, while no run is short yet, runs quicker than SHRUNK of the quicker quarter
of clean runs: delivery by the kink is blurred by a coarse gauge, run times are not. Starts an hour above
max_starts_per_hour (15 where the file gives none: pressure-tank standard's purpose clause, to 3/4 hp).

Source: drawdown by Boyle's law (see `analytics.physics.hydraulics`); cycle arithmetic, reference
values A14-A17.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.footing import LOW, SURE, Footing, Said, judged, note_beat, note_run
from analytics.judging.signature import best_delivery, kink
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.records import Priority
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Run

USUAL_MIN_RUN_S = 60.0
USUAL_STARTS_PER_HOUR = 15.0
KEPT = 5
ENOUGH = 3
GROWN = 1.4
ERRORS, MEDIAN_OF_FIVE = 5.0, 0.54  # standard errors; that of a median of five, of one run's scatter
SHRUNK = 0.85  # half of what lost air (1 / GROWN) takes off a run, against the quicker quarter of clean ones
GROWN_FROM_FILE = 1.5  # the rating itself may be wrong by a fifth, the tank's size by as much
BACK = 1.2
#: Share of the band: a gauge's noise and a tap's draw in a second, and far from a cycle.
UNMOVED = 0.1
#: A sound tank over a tenth of the usual band (2 psi) still takes some 8 s to fill.
FLUTTER_S = 6.0
FINE_S = 3.0  # runs so short are seen only by a motor signal at least so fine
FLUTTER_RUNS = 3
FLUTTER_WITHIN_US = 30_000_000
#: A charge that stands above cut-in by a fifth of the band shows beyond the line's own curve (2 %).
LEAP_SHARE = 0.22
LEAP_SURE = 0.5  # no tank that holds air leaps by half the band
NARROW = 0.70
HOUR_US = 3_600_000_000
STARTS_KEPT = 64
SPOILS = ("motor_overload", "lost_prime", "dry_supply", "burst_line", "blocked_discharge", "overpressure")
#: No pump of a holding turns more of its motor's power into flow against pressure: handbook, from memory.
BEST_EFFICIENCY, LARGEST_W = 0.5, 1100.0
#: Runs in a row without the cause's own signature until it is gone; where the cause has none but the
#: runs' length, and demand may lengthen any run, so many.
CURED, CURED_BY_LENGTH = 5, 20


@dataclass
class Seen:
    """What is kept of a run."""

    start_us: int
    stop_us: int
    run_s: float
    short: bool
    apparent: float | None  # apparent delivery over the usual
    band: float | None  # measured switch band over the usual
    leap: float | None  # of the band
    demand: float | None  # share of delivery
    coarse: bool  # samples too far apart to meet each leap
    up: float | None = None  # start pressure above the usual, of the band
    net: float | None = None  # how fast the run filled the tank, over the usual delivery


@dataclass
class CyclingMemory:
    runs: list[Seen] = field(default_factory=list)
    brief: list[list[float]] = field(default_factory=list)  # start, stop [us], run time of very short runs
    starts_us: list[int] = field(default_factory=list)
    onset_us: int | None = None
    flutter_us: int | None = None  # when the switch was last seen to flutter
    good: int = 0  # runs in a row without the cause's own signature
    last_stop_pa: float | None = None
    cause: str | None = None  # of the finding that stands
    sure: float = 0.0
    footing: Footing = field(default_factory=Footing)
    either: bool = False  # charge above cut-in, or cut-in moved up: samples too far apart to tell


class ShortCycling(Detector):
    FAULT = "short_cycling"
    Memory = CyclingMemory
    memory: CyclingMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        """Pressures far apart are kept for where they stand; the next run is judged by them."""
        if self._pressure is not None and self.memory.footing.runs:
            note_beat(self.memory.footing, beat.spans.get(self._pressure), beat.to_us, self.plant)
        return ()

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        if any(known.is_open(fault) for fault in SPOILS) and not known.is_open(self.FAULT):
            self.memory.runs = []  # what such runs are like says nothing of tank or switch
            self.memory.footing = Footing()
            return ()
        usual = known.usual
        self.memory.starts_us = [*self.memory.starts_us, run.cycle.start_us][-STARTS_KEPT:]
        if self._flutters(run):
            self.memory.cause, self.memory.sure = "switch_chatter", 0.95
            return [self._claim("switch_chatter", run, known, usual, 0.95)]
        if self._spike(run, usual):
            return ()
        seen = self._see(run, known, usual)
        if seen is None:
            return ()
        memory = self.memory
        memory.runs = [*memory.runs, seen][-KEPT:]
        note_run(memory.footing, run, self.plant)
        if memory.flutter_us is not None and run.cycle.start_us - memory.flutter_us < HOUR_US:
            memory.runs = []  # what a fluttering switch does between its bursts has no cause of its own
            return ()
        return self._judge(run, known, usual)

    def _flutters(self, run: Run) -> bool:
        """Bursts of runs that no tank could make."""
        memory = self.memory
        if not self._brief(run):
            return False
        memory.brief = [
            *memory.brief, [float(run.cycle.start_us), float(run.cycle.stop_us), run.cycle.run_time_s]
        ][-FLUTTER_RUNS:]  # fmt: skip
        full = len(memory.brief) == FLUTTER_RUNS
        if full and memory.brief[-1][0] - memory.brief[0][0] <= FLUTTER_WITHIN_US:
            memory.onset_us = int(memory.brief[0][0])
            memory.good, memory.flutter_us = 0, run.cycle.start_us
            return True
        return False

    def _spike(self, run: Run, usual: Reference) -> bool:
        """A second of motor that moved no pressure: a spike in its signal, for no tank is filled so."""
        cycle = run.cycle
        if cycle.run_time_s > FLUTTER_S or cycle.pressure_start_pa is None or cycle.pressure_stop_pa is None:
            return False
        return abs(cycle.pressure_stop_pa - cycle.pressure_start_pa) < UNMOVED * usual.band_pa

    def _brief(self, run: Run) -> bool:
        """Too short for any tank, and pressure did not get up."""
        brief = run.cycle.run_time_s <= FLUTTER_S  # a motor seen more coarsely shows none so short
        return brief and not self._shoots_up(run)

    def _shoots_up(self, run: Run) -> bool:
        """Pressure reaches cut-out in each of these runs: the tank has no air (or is shut off)."""
        switch = self.plant.switch
        high, cycle = run.pressure_high_pa, run.cycle
        if switch is None or high is None:
            return False
        ends = [
            p for p in (cycle.pressure_start_pa, cycle.pressure_stop_pa, run.pressure_low_pa) if p is not None
        ]
        if ends and max(*ends, high) - min(*ends, high) > 0.5 * (switch.cut_out_pa - switch.cut_in_pa):
            return True
        return high > switch.cut_out_pa - 0.35 * (switch.cut_out_pa - switch.cut_in_pa)

    def _see(self, run: Run, known: Known, usual: Reference) -> Seen | None:
        cycle = run.cycle
        if not run.entire or self._brief(run):
            return None
        low, high = cycle.pressure_start_pa, cycle.pressure_stop_pa
        if low is not None and high is not None:
            before, self.memory.last_stop_pa = self.memory.last_stop_pa, high
            by_switch = abs(high - usual.stop_pa) < 0.15 * usual.band_pa
            # a hand or a power cut does not stop two runs at one pressure
            by_switch |= before is not None and abs(high - before) < 0.08 * usual.band_pa
            leapt = run.leap_pa is not None and run.leap_pa > LEAP_SHARE * usual.band_pa
            # samples far apart meet the charge's pressure and not the moment in which it collapses
            leapt |= run.interval_s > FINE_S and by_switch
            above = low > usual.start_pa + 0.3 * usual.band_pa
            if above and not by_switch and not leapt and not self._narrow(low, high, usual):
                return None  # a start that is none: the motor signal lies
            if high < low + 0.15 * usual.band_pa and not by_switch and not known.is_open(self.FAULT):
                return None  # broken off: somebody's hand, a power cut
        shortest = self.plant.pump.min_run_time_s or USUAL_MIN_RUN_S
        slack = min(run.interval_s, 0.3 * shortest) if run.interval_s > 1.5 else 1.0
        apparent = band = leap = demand = None
        if cycle.delivery_mid_m3_s is not None and usual.delivery_m3_s > 0.0:
            apparent = (kink(run) or cycle.delivery_mid_m3_s) / self._sound_delivery_m3_s(usual)
            demand = (cycle.demand_m3_s or 0.0) / max(cycle.delivery_mid_m3_s, 1e-9)
        if low is not None and high is not None:
            band = (high - low) / usual.band_pa
            leap = None if run.leap_pa is None else run.leap_pa / usual.band_pa
        if run.interval_s > 1.5 and run.interval_s > 0.2 * cycle.run_time_s:
            apparent = None  # too few samples to see it
            moves_pa = run.interval_s * ((high or 0.0) - (low or 0.0)) / max(cycle.run_time_s, 1.0)
            seen = moves_pa < 0.15 * usual.band_pa and run.interval_s < 0.35 * cycle.run_time_s
            band = band if seen else None
        short = cycle.run_time_s < shortest - slack
        coarse = run.interval_s > FINE_S
        net, up = None, None if low is None else (low - usual.start_pa) / usual.band_pa
        if run.slope_run_m3_s is not None and run.interval_s < 0.35 * cycle.run_time_s:
            net = run.slope_run_m3_s / self._sound_delivery_m3_s(usual)
        return Seen(
            cycle.start_us, cycle.stop_us, cycle.run_time_s, short, apparent, band, leap, demand, coarse,
            up, net,
        )  # fmt: skip

    def _sound_delivery_m3_s(self, usual: Reference) -> float:
        """The usual, or where neither rating nor runs tell it the most that the motor could deliver."""
        if not usual.guessed:
            return usual.delivery_m3_s
        power_w = self.plant.pump.rated_power_w or LARGEST_W
        return BEST_EFFICIENCY * power_w / (0.5 * (usual.start_pa + usual.stop_pa))

    def _narrow(self, low: float, high: float, usual: Reference) -> bool:
        return high - low < NARROW * usual.band_pa and abs(high - usual.stop_pa) < 0.3 * usual.band_pa

    def _judge(self, run: Run, known: Known, usual: Reference) -> Sequence[Word]:
        memory = self.memory
        short = [seen for seen in memory.runs if seen.short]
        grown = _median_of([seen.apparent for seen in memory.runs])
        limit = self._grown_limit(known) if usual.learned else GROWN_FROM_FILE
        many = sum(seen.apparent is not None and seen.apparent > BACK for seen in memory.runs)
        has_grown = grown is not None and grown >= limit and many >= ENOUGH + 1
        foot = judged(memory.footing, self.plant, known.water)
        # a footing that few samples tell is asked for runs that are short besides: else it is no harm yet
        high_foot = foot.stands == "overcharged" and foot.chance <= SURE and self._near(run)
        odd = self._odd() or (len(memory.runs) == KEPT and high_foot)
        if usual.learned is False and not short:
            has_grown = False  # before anything is learned a long run is only a wrong nameplate
            odd = odd and self._near(run)
        # without any demand a sound run takes D / Q, with demand longer: never less
        stands = known.is_open(self.FAULT)
        if not stands and median([s.run_s for s in memory.runs]) > self._shortest_s(known, usual):
            has_grown = odd = False
        frequent = self._too_frequent(run)
        if len(short) >= ENOUGH or has_grown or odd or frequent:
            cause, sure = self._cause(usual, grown, has_grown, frequent and len(short) < ENOUGH, foot)
            if stands and (cause is None or sure <= memory.sure):
                cause, sure = memory.cause, memory.sure
            memory.cause, memory.sure = cause, sure
            if memory.onset_us is None:
                memory.onset_us = min((s.start_us for s in short), default=memory.runs[0].start_us)
            memory.good = 0
            return [self._claim(cause, run, known, usual, sure)]
        return self._maybe_clear(known, usual)

    def _grown_limit(self, known: Known) -> float:
        """GROWN, or where the plant's own runs scatter so much that a median of five could reach it, more."""
        best = best_delivery(known.signature.clean)
        trait = known.signature.clean[best] if best is not None else None
        share = trait.sigma / trait.middle if trait is not None and trait.middle > 0.0 else 0.0
        return max(GROWN, 1.0 + ERRORS * MEDIAN_OF_FIVE * share)

    def _shortest_s(self, known: Known, usual: Reference) -> float:
        """What runs stay above while the tank is sound: by drawdown and delivery, or, once they have been
        learned, surely by SHRUNK of that or of its own runs."""
        fills_s = usual.drawdown_m3 / usual.delivery_m3_s
        learned = known.signature.clean.get("run_time_s") if usual.learned else None
        return fills_s if learned is None else SHRUNK * max(fills_s, learned.lower)

    def _odd(self) -> bool:
        """Runs that leap at the start, or a band grown narrow: too short soon if not yet."""
        runs = self.memory.runs
        if len(runs) < KEPT:
            return False
        leaps = sum(seen.leap is not None and seen.leap > LEAP_SHARE for seen in runs)
        bands = [seen.band for seen in runs if seen.band is not None]
        return leaps == KEPT or (len(bands) == KEPT and max(bands) < 0.5)

    def _near(self, run: Run) -> bool:
        """Runs that are short, if not surely so: seen too coarsely to tell one by one."""
        shortest = self.plant.pump.min_run_time_s or USUAL_MIN_RUN_S
        return median([seen.run_s for seen in self.memory.runs]) < shortest

    def _too_frequent(self, run: Run) -> bool:
        limit = self.plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR
        now = run.cycle.start_us
        return sum(now - HOUR_US < start <= now for start in self.memory.starts_us) > limit + 1

    def _cause(
        self, usual: Reference, grown: float | None, has_grown: bool, only_frequent: bool, foot: Said
    ) -> tuple[str | None, float]:
        """The cause, in order of suspicion, and how sure it is."""
        runs = self.memory.runs
        leap = _median_of([seen.leap for seen in runs])
        if foot.stands == "overcharged":
            return "overcharged_tank", 0.95
        self.memory.either = foot.stands == "either"
        if foot.stands == "either":
            return None, 0.7
        band = _median_of([seen.band for seen in runs])
        nets = sorted(seen.net for seen in runs if seen.net is not None)
        fills = nets[-2] if len(nets) >= 2 else None
        if leap is not None and leap > LEAP_SHARE:
            # the collapse before the start lies in the kink's window and makes it look larger; the rise
            # within the run does not know of it
            rises = fills if fills is not None else grown
            if rises is None or rises < GROWN or leap > LEAP_SURE:
                return "overcharged_tank", 0.9
        # demand can only slow a fill: two runs that fill faster than the pump delivers have less air to press
        if fills is not None and fills >= (GROWN if usual.learned else GROWN_FROM_FILE):
            return "lost_air_charge", 0.95 if has_grown else 0.9
        if band is not None and band < NARROW and not (grown is not None and grown > 1.6):
            ups = _median_of([seen.up for seen in runs if seen.coarse and seen.leap is None])
            if ups is not None and ups > LEAP_SHARE and foot.stands != "raised":
                self.memory.either = True
                return None, 0.7  # too far apart to have met the collapse of an overcharged tank
            return "narrow_switch_band", 0.9
        expected = usual.drawdown_m3 / usual.delivery_m3_s
        shortest = self.plant.pump.min_run_time_s or USUAL_MIN_RUN_S
        small = not usual.learned and not usual.guessed and expected < shortest
        if has_grown or (grown is not None and grown > 1.25 and not small and not usual.guessed):
            return "lost_air_charge", 0.95 if has_grown else 0.8
        if usual.guessed and grown is None:
            fills_m3_s = usual.drawdown_m3 / max(median([s.run_s for s in runs]), 1.0)
            grown = fills_m3_s / self._sound_delivery_m3_s(usual)
        if usual.guessed and grown is not None and grown < GROWN_FROM_FILE:
            return "undersized_tank", 0.6  # the motor could deliver as much: the runs fit the tank
        brief = not only_frequent and grown is None and median([s.run_s for s in runs]) < 0.6 * expected
        if brief and self.plant.measuring(Measure.LINE_PRESSURE):
            return "lost_air_charge", 0.7
        if brief and expected >= shortest:
            return None, 0.7  # as brief by a narrow band, too much air, a motor that trips
        limit = self.plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR
        if expected < shortest or (only_frequent and 3600.0 / (4.0 * expected) > limit):
            return "undersized_tank", 0.85
        demands = [seen.demand for seen in runs if seen.demand is not None]
        if only_frequent and demands and min(demands) > 0.1:
            return "leak", 0.7
        return None, 0.7

    def _maybe_clear(self, known: Known, usual: Reference) -> Sequence[Word]:
        memory = self.memory
        if not known.is_open(self.FAULT):
            memory.onset_us, memory.cause, memory.sure, memory.good = None, None, 0.0, 0
            return ()
        last = memory.runs[-1]
        sound = self._sound(last, usual, known)
        if sound is None:
            return ()
        memory.good = memory.good + 1 if sound else 0
        by_length = memory.cause in (None, "leak", "undersized_tank")
        if memory.good < (CURED_BY_LENGTH if by_length else CURED):
            return ()
        memory.onset_us, memory.good, memory.runs, memory.brief = None, 0, memory.runs[-1:], []
        memory.cause, memory.sure = None, 0.0
        told = f"Runs take {words.duration(last.run_s)} again: the cure has worked."
        return [AllClear(self.FAULT, summary=told, evidence={"run_time_after_s": last.run_s})]

    def _sound(self, seen: Seen, usual: Reference, known: Known) -> bool | None:
        """Whether a run lacks what the cause does to each run, however long demand makes it; None: cannot
        be told."""
        cause = self.memory.cause
        if seen.short:
            return False
        if cause == "overcharged_tank":
            if seen.coarse and seen.leap is None:
                foot = judged(self.memory.footing, self.plant, known.water).stands
                from_cut_in = self.memory.footing.runs and self.memory.footing.runs[-1][3] < LOW
                return None if foot == "unknown" else bool(foot == "whole" and from_cut_in)
            return None if seen.leap is None else seen.leap < 0.5 * LEAP_SHARE
        if cause == "narrow_switch_band":
            return None if seen.band is None else seen.band > 0.5 * (1.0 + NARROW)
        if cause == "lost_air_charge":
            return None if seen.apparent is None else seen.apparent < BACK
        return True

    def _claim(self, cause: str | None, run: Run, known: Known, usual: Reference, confidence: float) -> Claim:
        memory = self.memory
        run_s = median([seen.run_s for seen in memory.runs]) if memory.runs else run.cycle.run_time_s
        if cause == "switch_chatter":
            run_s = run.cycle.run_time_s
        expected = usual.drawdown_m3 / usual.delivery_m3_s
        evidence = {
            "run_time_s": run_s,
            "expected_run_time_s": expected,
            "starts_in_hour_1": float(
                sum(run.cycle.start_us - HOUR_US < s <= run.cycle.start_us for s in memory.starts_us)
            ),
        }
        grown = _median_of([seen.apparent for seen in memory.runs])
        if grown is not None:
            evidence["apparent_delivery_share_1"] = grown
        start, stop = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
        if start is not None and stop is not None:
            evidence |= {"pressure_start_pa": start, "pressure_stop_pa": stop}
        shortest = self.plant.pump.min_run_time_s or USUAL_MIN_RUN_S
        priority: Priority = "high" if run_s < 0.5 * shortest else "medium"
        onset = memory.onset_us if memory.onset_us is not None else run.cycle.start_us
        return Claim(
            self.FAULT, onset, priority, confidence, self._words(cause, run_s, expected), cause,
            evidence=evidence,
        )  # fmt: skip

    def _words(self, cause: str | None, run_s: float, expected_s: float) -> str:
        expected = words.duration(expected_s)
        said = f"The pump runs only {words.duration(run_s)} at a time; {expected} is to be expected"
        why = {
            "lost_air_charge": "the pressure tank has lost its air charge.",
            "overcharged_tank": "the pressure tank's air charge is above the cut-in pressure.",
            "narrow_switch_band": "the pressure switch's cut-in and cut-out stand too close together.",
            "switch_chatter": "the pressure switch flutters (a worn contact or a blocked sensing tube).",
            "undersized_tank": "the pressure tank is too small for this pump.",
            "leak": "water is drawn all the time, as by a leak.",
        }
        if cause in why:
            return f"{said}: {why[cause]}"
        if self.memory.either:
            return (
                f"{said}; an air charge above the cut-in pressure and a cut-in that has moved up look alike "
                "at this sampling: check the air charge with the tank drained."
            )
        if not self.plant.measuring(Measure.LINE_PRESSURE):
            return (
                f"{said}; without a pressure signal lost air, a switch that has moved and a motor that trips "
                "look alike: check the air charge with the tank drained, then read a gauge at start and stop."
            )
        return (
            f"{said}; the sensors cannot tell lost air from a changed pump: check the air charge with the "
            "tank drained."
        )


def _median_of(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if len(known) >= 2 else None


def detector(plant: Plant) -> ShortCycling:
    return ShortCycling(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs a motor signal.")
    if not plant.measuring(Measure.LINE_PRESSURE):
        return Coverage(True, "Told from run times; line pressure would tell the cause.")
    if plant.pressure_tank is None or plant.switch is None:
        return Coverage(True, "Told from run times; the cause once the plant's own runs have been learned.")
    return Coverage(True, "Told within five runs, with the cause.")
