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

Cause: `analytics.judging.cycling_cause`, from up to EVIDENCE 24 runs since the fault began; a switch that
flutters: `analytics.judging.flutter`. Samples so far apart that no run shows its band are told it by rests
(`analytics.judging.ends`): it is narrow where the usual delivery fills it in less than the pump stands. A
cause that was told is changed only for one that KEPT runs in a row have told, and for which all runs together
speak more (the sum of their log odds): one fault has one cause, whatever some of its runs look like. A band
that is narrow enough makes bursts under a large draw, of runs that begin and end like the one before.

Parameters. A run is short below min_run_time (60 s where the file gives none: common practice, motors to
1 hp) less how finely it was seen. Three of five runs: a household's run is short by chance (a power cut,
a hand on the switch) less than once in some hundred, so three of five once in 100,000 runs, longer than
a plant-year. GROWN 1.4: apparent delivery over its clean value, five runs' median (scatter 8 % a run,
4 % of the median: ten standard errors; ERRORS 5 of the plant's own scatter where that is more), that is
the drawdown down by 29 %; and, while no run is short yet, runs quicker than SHRUNK of the quicker quarter
of clean runs, and by the times of rest and run not less than BACK: delivery by the kink is blurred by a
coarse gauge and by draws within the run, times are not; and not for SPELL_US alone, an hour: whoever washes
down opens and shuts taps with the pump for half of one (common practice, no source). Starts an hour above
max_starts_per_hour (15 where the file gives none: pressure-tank standard's purpose clause, to 3/4 hp).

Source: drawdown by Boyle's law (see `analytics.physics.hydraulics`); cycle arithmetic, reference
values A14-A17.
"""

from __future__ import annotations

from math import hypot, log, sqrt
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.instants import HOUR_US
from analytics.judging.air import CHARGE
from analytics.judging.attempts import lifts
from analytics.judging.charge_or_switch import OF_A_MEDIAN, TOLD, UP, stand_on_charge
from analytics.judging.cycling_cause import (
    GROWN,
    GROWN_FROM_FILE,
    KNEE,
    OWN_KNEE,
    USUAL_STARTS_PER_HOUR,
    Grounds,
    Kinks,
    Verdict,
    cause_of,
    middle,
)
from analytics.judging.cycling_run import (
    LEAP_SHARE,
    NARROW,
    Seen,
    counts,
    from_switch_to_switch,
    is_guessed,
    is_like,
    see,
    shortest_s,
    sound_delivery_m3_s,
    timed,
)
from analytics.judging.cycling_series import KEPT, near, odd, short_on_the_mean
from analytics.judging.cycling_words import by_sampling, sentence
from analytics.judging.ends import narrow, too_narrow
from analytics.judging.flutter import (
    barely_on,
    bounced,
    bounces_back,
    burst,
    edged,
    goes_on,
    is_brief,
    is_cycle,
    is_spike,
)
from analytics.judging.footing import LOW, SURE, Footing, band_of, judged, note_beat, note_run
from analytics.judging.signature import best_delivery
from analytics.judging.splits import DOUBTED
from analytics.judging.unseen_runs import MOST, UnseenRuns
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.seeing.motor import motor_signal, running_level

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.records import Priority
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Run

ENOUGH = 3
EVIDENCE = 24
ERRORS, MEDIAN_OF_FIVE = 5.0, 0.54  # standard errors; that of a median of five, of one run's scatter
SHRUNK = 0.85  # half of what lost air (1 / GROWN) takes off a run, against the quicker quarter of clean ones
BACK = 1.2
SPELL_US = HOUR_US
STARTS_KEPT = 64
#: A motor that drags pumps all the same, and one whose protector trips does not try again within seconds: a
#: contact that flutters shows beside it, and what else makes runs short, by those that the switch has ended.
DRAGS = "motor_overload"
SPOILS = (DRAGS, "lost_prime", "dry_supply", "burst_line", "blocked_discharge", "overpressure")
#: Runs in a row without the cause's own signature until it is gone; where the cause has none but the
#: runs' length, and demand may lengthen any run, so many, and a week: a zone's hours come round by then.
CURED, CURED_BY_LENGTH, CURED_WITHIN_US = 5, 20, 7 * 86_400_000_000
BY_LENGTH = (None, "leak", "undersized_tank")
UNSEEN = (
    "Pressure rises through runs that are over between two of the motor's words, as none was before: the "
    "pressure tank has most likely lost its air charge. Check it with the tank drained."
)


class CyclingMemory(msgspec.Struct):
    runs: list[Seen] = []
    evidence: list[Seen] = []  # of the finding that stands
    brief: list[list[float]] = []  # start, stop [us], run time of very short runs
    edges: list[list[float]] = []  # of whole runs: when, whether beside a brief one
    starts_us: list[int] = []
    onset_us: int | None = None
    flutter_us: int | None = None  # when the switch was last seen to flutter
    good: int = 0  # runs in a row without the cause's own signature
    bad_us: int = 0  # when the fault was last seen
    often: bool = False  # starts too many, runs long enough
    last_stop_pa: float | None = None
    cause: str | None = None  # of the finding that stands
    between: list[str] = []  # what it is open between
    sure: float = 0.0
    rival: str | None = None  # another cause, and how many runs in a row have told it
    rival_runs: int = 0
    votes: dict[str, float] = {}  # log of odds for each cause by the runs that told it, since the fault began
    footing: Footing = msgspec.field(default_factory=Footing)
    unseen: UnseenRuns = msgspec.field(default_factory=UnseenRuns)
    by_unseen: bool = False  # of the finding that stands: by them alone
    grown_us: int = 0  # since when flows have read larger, while no run was short; 0: they do not

    def take(self, verdict: Verdict) -> None:
        """A cause, or in place of one told that which KEPT in a row have told, and all runs more surely."""
        cause = verdict.cause
        self.rival_runs = self.rival_runs + 1 if cause == self.rival else 1
        self.rival = cause
        if cause is not None:
            self.votes[cause] = self.votes.get(cause, 0.0) + log(verdict.sure / (1.0 - verdict.sure))
        if self.cause is not None:
            if cause is None or (cause != self.cause and self.rival_runs < KEPT):
                return
            if cause != self.cause and self.votes[cause] < self.votes.get(self.cause, 0.0):
                return
        self.cause, self.sure, self.between = cause, verdict.sure, list(verdict.between)


class ShortCycling(Detector):
    FAULT = "short_cycling"
    Memory = CyclingMemory
    memory: CyclingMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        self._motor = motor_signal(plant)
        self._level = running_level(plant, self._motor) if self._motor is not None else 0.0

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        """Pressures far apart are kept for where they stand; the next run is judged by them."""
        span = beat.spans.get(self._pressure) if self._pressure is not None else None
        if self._pressure is not None and self.memory.footing.runs:
            note_beat(self.memory.footing, span, beat.to_us, band_of(self.plant, known.usual))
        motor = beat.spans.get(self._motor) if self._motor is not None else None
        if motor is not None and motor.count <= MOST and not known.is_open("sensor_fault"):
            self.memory.unseen.hear(span, motor, self._level, band_of(self.plant, known.usual))
        return ()

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        memory, stands = self.memory, known.is_open(self.FAULT)
        spoilt = () if stands else [fault for fault in SPOILS if known.is_open(fault)]
        if spoilt and spoilt != [DRAGS]:
            memory.runs = []  # what such runs are like says nothing of tank or switch
            memory.footing = Footing()
            return ()
        usual = known.usual
        whole_s = memory.runs[-1].run_s if memory.runs else 0.0
        brief = is_brief(run, self.plant, usual) or bounces_back(memory.edges, whole_s, run, usual)
        brief = brief and not (memory.runs and is_like(run, memory.runs[-1], usual))
        if barely_on(run, self.plant) or (is_spike(run, usual) and not brief):
            return ()
        if not spoilt or lifts(run, usual):  # else it was a protector that tries again
            memory.starts_us = [*memory.starts_us, run.cycle.start_us][-STARTS_KEPT:]
        if brief:
            memory.brief, flutters = burst(memory.brief, run)
            memory.edges, bounces = bounced(memory.edges, run)
            memory.good = 0
            if (flutters or bounces) and known.splits.lately(run.cycle.start_us) < DOUBTED:
                return self._flutters(run, known)
        elif run.entire:
            memory.edges = edged(memory.edges, memory.brief, run)
        if (brief and not is_cycle(run, usual)) or not run.entire:
            return ()
        before_pa = memory.last_stop_pa
        if run.cycle.pressure_start_pa is not None and run.cycle.pressure_stop_pa is not None:
            memory.last_stop_pa = run.cycle.pressure_stop_pa
        if spoilt and not from_switch_to_switch(run, usual, before_pa):
            return ()
        if goes_on(run, before_pa, usual):
            memory.runs, memory.starts_us = memory.runs[:-1], memory.starts_us[:-1]
            return ()  # both are parts of one, between which the motor's signal dropped out
        if not counts(run, usual, before_pa, stands):
            return ()
        memory.unseen.meet(run.cycle.stop_us, not stands)
        seen = see(run, self.plant, usual, known.water)
        memory.runs = [*memory.runs, seen][-KEPT:]
        if stands:
            memory.evidence = [*memory.evidence, seen][-EVIDENCE:]
        note_run(memory.footing, run, band_of(self.plant, usual))
        if memory.flutter_us is not None and run.cycle.start_us - memory.flutter_us < HOUR_US:
            memory.runs = []  # what a fluttering switch does between its bursts has no cause of its own
            return ()
        return self._judge(run, known, usual)

    def _flutters(self, run: Run, known: Known) -> Sequence[Word]:
        memory = self.memory
        memory.onset_us = int(memory.brief[0][0])
        memory.good, memory.flutter_us = 0, run.cycle.start_us
        memory.take(Verdict("switch_chatter" if self._pressure is not None else None, 0.95))
        return [self._claim(run, known)]

    def _judge(self, run: Run, known: Known, usual: Reference) -> Sequence[Word]:
        memory = self.memory
        short = (
            [seen for seen in memory.runs if seen.short] if short_on_the_mean(memory.runs, self.plant) else []
        )
        grown = middle([seen.apparent for seen in memory.runs])
        limit = self._grown_limit(known) if usual.learned else GROWN_FROM_FILE
        many = sum(seen.apparent is not None and seen.apparent > BACK for seen in memory.runs)
        has_grown = grown is not None and grown >= limit and many >= ENOUGH + 1
        oddly = odd(memory.runs) or self._stands_high(known, usual)
        if usual.learned is False and not short:
            has_grown = False  # before anything is learned a long run is only a wrong nameplate
            oddly = oddly and near(memory.runs, self.plant)
        # without any demand a sound run takes D / Q, with demand longer: never less
        stands = known.is_open(self.FAULT)
        if not stands and median([s.run_s for s in memory.runs]) > self._shortest_s(known, usual):
            has_grown = oddly = False
        if has_grown and not stands and not short:  # slopes that draws within the run have bent do not count
            memory.grown_us = memory.grown_us or memory.runs[0].start_us
            has_grown = memory.runs[-1].start_us - memory.grown_us >= SPELL_US
        else:
            memory.grown_us = 0
        if has_grown and not stands and not short:
            delivery_m3_s = sound_delivery_m3_s(self.plant, usual, known.water)
            by_time = middle([timed(seen, known.water, usual, delivery_m3_s) for seen in memory.runs])
            has_grown = by_time is None or by_time >= BACK
        frequent = self._too_frequent(run)
        charge = stand_on_charge(memory.runs, known) if len(memory.runs) == KEPT else None
        charged = charge is not None and charge > TOLD
        narrowed = (
            not stands and len(memory.runs) == KEPT and too_narrow(known.ends, self.plant, usual, known.water)
        )
        unseen = memory.unseen.convict(run.cycle.stop_us)
        told = len(short) >= ENOUGH or has_grown or oddly or charged or frequent or narrowed
        if told or unseen:
            memory.by_unseen = unseen and not told and (memory.by_unseen or not stands)
            if not stands:
                memory.evidence = (short if len(short) >= ENOUGH else memory.runs)[:]
            only_frequent = frequent and len(short) < ENOUGH and not (charged or narrowed)
            self._find_cause(known, usual, grown, has_grown, only_frequent, unseen)
            if memory.onset_us is None:
                memory.onset_us = min((s.start_us for s in short), default=memory.runs[0].start_us)
            memory.good, memory.bad_us, memory.often = 0, run.cycle.stop_us, only_frequent
            return [self._claim(run, known)]
        return self._maybe_clear(known, usual)

    def _stands_high(self, known: Known, usual: Reference) -> bool:
        """Whether runs surely begin above cut-in. A footing that few samples tell is asked for runs that are
        short besides: else it is no harm yet."""
        runs = self.memory.runs
        if len(runs) < KEPT or not near(runs, self.plant):
            return False
        foot = judged(self.memory.footing, band_of(self.plant, usual), known.water)
        return foot.stands == "overcharged" and foot.chance <= SURE

    def _find_cause(
        self,
        known: Known,
        usual: Reference,
        grown: float | None,
        has_grown: bool,
        often: bool,
        unseen: bool,
    ) -> None:
        runs = self.memory.evidence
        foot = judged(self.memory.footing, band_of(self.plant, usual), known.water, runs[0].start_us)
        charge = stand_on_charge(runs, known)
        narrowed = narrow(known.ends, band_of(self.plant, usual)) is not None
        grounds = Grounds(
            runs, foot, grown, has_grown, often, usual, self.plant, known.water, charge, narrowed,
            _kinks(known, usual),
        )  # fmt: skip
        verdict = cause_of(grounds)
        if unseen and verdict.cause in BY_LENGTH:  # a tank that had room for longer runs has lost it
            verdict = Verdict("lost_air_charge", 0.7)
        self.memory.take(verdict)

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

    def _too_frequent(self, run: Run) -> bool:
        limit = self.plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR
        now = run.cycle.start_us
        return sum(now - HOUR_US < start <= now for start in self.memory.starts_us) > limit + 1

    def _maybe_clear(self, known: Known, usual: Reference) -> Sequence[Word]:
        memory = self.memory
        if not known.is_open(self.FAULT):
            memory.onset_us, memory.cause, memory.sure, memory.good = None, None, 0.0, 0
            memory.rival, memory.rival_runs, memory.votes = None, 0, {}
            return ()
        last = memory.runs[-1]
        sound = self._sound(last, known)
        if sound is None:
            return ()
        memory.good = memory.good + 1 if sound else 0
        by_length = memory.cause in BY_LENGTH
        if memory.good < (CURED_BY_LENGTH if by_length else CURED):
            return ()
        if by_length and last.stop_us - memory.bad_us < CURED_WITHIN_US:
            return ()
        anew = usual.learned and self._was_there()
        memory.onset_us, memory.good, memory.runs, memory.brief = None, 0, memory.runs[-1:], []
        memory.cause, memory.sure, memory.evidence, memory.between = None, 0.0, [], []
        memory.by_unseen = False
        memory.rival, memory.rival_runs, memory.votes = None, 0, {}
        told = f"Runs take {words.duration(last.run_s)} again: the cure has worked."
        return [AllClear(self.FAULT, summary=told, evidence={"run_time_after_s": last.run_s}, anew=anew)]

    def _was_there(self) -> bool:
        """Whether runs, now that they are cured, show that the fault had been learned as clean: they begin
        below where they did, end above, or fill the tank as much more slowly."""
        if self.memory.cause == "narrow_switch_band":
            top = middle([one.top for one in self.memory.runs])
            return top is not None and top < -UP
        up = middle([one.up for one in self.memory.runs])
        apparent = middle([one.apparent for one in self.memory.runs if not one.coarse])
        if self.memory.cause == "overcharged_tank":
            return up is not None and up < -UP
        return self.memory.cause == "lost_air_charge" and apparent is not None and apparent < 1.0 / GROWN

    def _sound(self, seen: Seen, known: Known) -> bool | None:
        """Whether a run lacks what the cause does to each run, however long demand makes it; None: cannot
        be told."""
        cause = self.memory.cause
        if seen.short or (cause == "overcharged_tank" and _has_knee(seen, known)):
            return False
        if cause in BY_LENGTH and seen.run_s - seen.interval_s < shortest_s(self.plant):
            return None  # one that was seen by so few samples may have been as short as ever
        if cause == "overcharged_tank":
            if seen.coarse and seen.leap is None:
                band = band_of(self.plant, known.usual)
                foot = judged(self.memory.footing, band, known.water).stands
                from_cut_in = self.memory.footing.runs and self.memory.footing.runs[-1][3] < LOW
                return None if foot == "unknown" else bool(foot == "whole" and from_cut_in)
            ups = [one.up for one in self.memory.evidence if one.up is not None]
            begins_low = seen.up is None or not ups or seen.up < max(0.5 * median(ups), 0.5 * UP)
            return None if seen.leap is None else seen.leap < 0.5 * LEAP_SHARE and begins_low
        if cause == "narrow_switch_band":
            if seen.band is None and seen.coarse and known.ends.stop.newest:
                low, wide = band_of(self.plant, known.usual)
                return known.ends.stop.newest[-1][1] > low + 0.5 * (1.0 + NARROW) * wide
            return None if seen.band is None else seen.band > 0.5 * (1.0 + NARROW)
        if cause == "lost_air_charge" and seen.apparent is None and self.memory.by_unseen:
            return seen.stop_us - self.memory.unseen.at_us[-1] >= CURED_WITHIN_US
        if cause == "lost_air_charge":
            return None if seen.apparent is None else seen.apparent < self._back(known)
        return True

    def _back(self, known: Known) -> float:
        """Apparent delivery of a tank that has its air again: over a rating, which may be wrong by a fifth,
        what lies nearer to it than to what the fault showed."""
        showed = middle([seen.apparent for seen in self.memory.evidence])
        return BACK if known.usual.learned or showed is None else max(BACK, min(showed**0.5, GROWN_FROM_FILE))

    def _claim(self, run: Run, known: Known) -> Claim:
        memory = self.memory
        flutters = memory.flutter_us == run.cycle.start_us
        run_s = run.cycle.run_time_s
        if memory.runs and not flutters:
            run_s = median([seen.run_s for seen in memory.runs])
        now = run.cycle.start_us
        starts = sum(now - HOUR_US < s <= now for s in memory.starts_us)
        evidence = {"run_time_s": run_s, "starts_in_hour_1": float(starts)}
        expected_s = None
        if not is_guessed(self.plant, known.usual, known.water):
            delivery_m3_s = sound_delivery_m3_s(self.plant, known.usual, known.water)
            expected_s = evidence["expected_run_time_s"] = known.usual.drawdown_m3 / delivery_m3_s
        grown = middle([seen.apparent for seen in memory.runs])
        if grown is not None:
            evidence["apparent_delivery_share_1"] = grown
        start, stop = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
        if start is not None and stop is not None:
            evidence |= {"pressure_start_pa": start, "pressure_stop_pa": stop}
        ups = [one.up for one in memory.evidence if one.up is not None]
        if memory.cause == "overcharged_tank" and ups:
            evidence[CHARGE] = known.usual.start_pa + median(ups) * known.usual.band_pa
        priority: Priority = "high" if run_s < 0.5 * shortest_s(self.plant) else "medium"
        onset = memory.onset_us if memory.onset_us is not None else run.cycle.start_us
        limit = (self.plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR) if memory.often else None
        if memory.by_unseen and memory.cause == "lost_air_charge":
            evidence["unseen_runs_1"] = float(memory.unseen.lately(run.cycle.stop_us))
            return Claim(self.FAULT, onset, priority, memory.sure, UNSEEN, memory.cause, evidence=evidence)
        said = sentence(run_s, expected_s, (starts, limit), memory.cause, memory.between)
        return Claim(self.FAULT, onset, priority, memory.sure, said, memory.cause, evidence=evidence)


def _kinks(known: Known, usual: Reference) -> Kinks | None:
    """Of the clean runs, once these are learned."""
    clean, count = known.signature.clean, known.signature.learned_runs
    start, stop = clean.get("delivery_start_m3_s"), clean.get("delivery_stop_m3_s")
    if not usual.learned or start is None or stop is None or min(start.middle, stop.middle) <= 0.0:
        return None
    scatter = hypot(start.sigma / start.middle, stop.sigma / stop.middle)
    error = OF_A_MEDIAN * scatter / sqrt(max(count, 1))
    return Kinks(start.middle / usual.delivery_m3_s, stop.middle / usual.delivery_m3_s, scatter, error)


def _has_knee(seen: Seen, known: Known) -> bool:
    own = _kinks(known, known.usual)
    knee = seen.knee or 0.0
    return knee > (KNEE if own is None else min(KNEE, OWN_KNEE * own.start / own.stop))


def detector(plant: Plant) -> ShortCycling:
    return ShortCycling(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs a motor signal.")
    if not plant.measuring(Measure.LINE_PRESSURE):
        return Coverage(True, "Told from run times; line pressure would tell the cause.")
    if plant.pressure_tank is None or plant.switch is None:
        return Coverage(True, "Told from run times; the cause once the plant's own runs have been learned.")
    return by_sampling(plant)
