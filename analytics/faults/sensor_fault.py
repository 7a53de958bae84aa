"""A signal cannot be believed: out of range, stuck, silent or implausible.

What fails: a cable, a connector, a gauge that is clogged or frozen, a radio link, a battery, a relay
contact whose status lies.

Physics: none of its own; a sensor is judged by what the plant can do (see
`analytics.judging.contradiction`), by its range (`analytics.seeing.possible`: the plant
file's `valid` or what is possible at all) and by its own pace (`analytics.seeing.silences`).

Sensors show:
- out_of_range: more bad words than good ones, BEATS in a row; a lone drop-out or overflow code
  (655.33 and the like) is counted and passed over;
- silent: ten intervals and two minutes without a word while others speak; a motor's that speaks on change
  alone, of its usual intervals and for longer than ever, once the plant has moved without its word;
- stuck: exactly the same while the plant moved, or for longer than that gauge ever says the same
  (`analytics.seeing.stillness`);
- implausible: moves that nothing in the plant could make; a motor signal that water contradicts, or that
  drops out while the pump runs on (`analytics.judging.splits`).

Mistaken for it: a resting plant on report-by-change; a collector that was off (nobody spoke); all
signals silent together, which is one fault of network, broker or power and is raised once, as is that of a
node that several share (`analytics.judging.fell_silent`).

Parameters:
    BAD_SHARE   0.5   of a beat's words bad
    BEATS       2     such beats in a row, and BAD_WORDS of them: at a 5 % drop-out rate and one word
    BAD_WORDS   5     a minute that is less than one in a million years (binomial)
    STILL_SHARE 0.05  of a beat's words bad: not well yet
    GOOD_BEATS  18    beats (3 h) without it: cleared; doubled with each relapse within RELAPSE_US
                      (`judging.doubt`), up to a day: an intermittent contact is one finding
    STRAY       10    "runs" in mid-band in six hours (a quarter of `contradiction.STRAYS`): the motor's word
                      is not well yet
    SPOKEN_BEATS 3    beats with a word of it: no longer silent

A motor that speaks on change is silent after the contract's ten intervals and two minutes (`seeing.pace`), by
its usual interval: of words at random a pause of ten times their middle is one in a thousand (2^-10).

False alarms: each rule states something that cannot be; chance enters only by BAD_SHARE.

Source: common practice, no source; "believe water and pressure over a status" from recordings of
pumping stations whose run status stayed on for hours.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.contradiction import Contradictions, Evidence
from analytics.judging.doubt import VITAL, Doubt
from analytics.judging.fell_silent import fell_with, joining, left_silent, of_silence
from analytics.judging.splits import LIES
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.seeing.pace import overdue_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Look, Run
    from analytics.seeing.silences import Silence
    from analytics.seeing.stillness import Stood

BAD_SHARE = 0.5
BEATS = 2
BAD_WORDS = 5
STILL_SHARE = 0.05
GOOD_BEATS = 18
GOOD_BEATS_MOST = 144
SPOKEN_BEATS = 3
STRAY = 10
SAYS = {
    "out_of_range": "says what it cannot have measured",
    "stuck": "has not moved by its last digit while the plant did",
    "silent": "has said nothing",
    "implausible": "contradicts what water and pressure do",
}


class SensorMemory(msgspec.Struct):
    doubts: dict[int, Doubt] = {}
    evidence: Evidence = msgspec.field(default_factory=Evidence)


class SensorFault(Detector):
    FAULT = "sensor_fault"
    Memory = SensorMemory
    memory: SensorMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._contradictions = Contradictions(plant)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        self._contradictions.run(self.memory.evidence, run, known.usual)
        return self._start(run, known)

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        return self._start(look, known)

    def _start(self, run: Run | Look, known: Known) -> Sequence[Word]:
        """A gauge that leapt, by where the motor starts now."""
        leap = self.memory.evidence.leap
        position = self._contradictions.start(self.memory.evidence, run, known.usual)
        if position is None or (doubt := self._doubt(position)).cause is not None:
            return ()
        return [self._claim(position, doubt, "implausible", leap.at_us)]

    def silence(self, silence: Silence, known: Known) -> Sequence[Word]:
        doubt = self._doubt(silence.signal)
        if silence.ended:
            doubt.silent_since_us = None
            return ()
        doubt.silent_since_us, doubt.good_beats = silence.since_us, 0
        return self._silent(silence.signal, silence.at_us, silence.alone, known)

    def stood(self, stood: Stood, known: Known) -> Sequence[Word]:
        """A gauge that is never still says the same and the same."""
        doubt = self._doubt(stood.signal)
        if doubt.cause is not None:
            return ()
        claim = self._claim(stood.signal, doubt, "stuck", stood.since_us)
        doubt.still_us, doubt.still_at = 0, stood.value
        evidence = {"equal_words_1": float(stood.words), "usual_words_1": float(stood.usual)}
        name = self.plant.signals[stood.signal].name
        said = f'The sensor "{name}" has said the same {stood.words} times running; {stood.usual} is the most'
        return [replace(claim, summary=f"{said} that was heard of it.", evidence=evidence)]

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        doubts = self.memory.doubts
        doubted = {at for at, one in doubts.items() if _no_witness(one)} if doubts else set()
        airless, welded = known.is_open("short_cycling"), known.is_open("overpressure")
        against = self._contradictions.beat(self.memory.evidence, beat, doubted, known.usual, airless, welded)
        motor = self._contradictions.motor
        if motor is not None and known.splits.lately(beat.to_us) >= LIES:
            against.setdefault(motor, "implausible")
        bad = [at for at, span in beat.spans.items() if span.bad]
        pending = [at for at, one in doubts.items() if one.pending] if doubts else []
        if not (bad or against or pending):
            return ()
        found: list[Word] = []
        stray = self._contradictions.strays(self.memory.evidence, beat) > STRAY or known.splits.last
        for position in sorted({*bad, *against, *pending}):
            doubt = self._doubt(position)
            if against.get(position) == "stuck" and self._is_overdue(position, beat, known):
                against[position] = "silent"
            if doubt.cause == "silent":
                found += self._speaks(position, doubt, beat)
                continue
            if doubt.silent_since_us is not None and doubt.cause is None:
                found += self._silent(position, beat.to_us, any(at != position for at in beat.spans), known)
            cause = self._out_of_range(doubt, beat, position) or against.get(position)
            if cause is not None and doubt.cause is None:
                found.append(self._claim(position, doubt, cause, self._since_us(position, cause, beat)))
            elif doubt.cause not in (None, "silent") and position in beat.spans:
                ill = cause is not None or self._unmoved(position, doubt) or _ill(beat, position)
                ill |= bool(self.memory.evidence.wild.beats.get(position))
                ill |= position == motor and stray
                if not self._stands_there_again(doubt, beat, position):
                    doubt.good_beats = 0 if ill else doubt.good_beats + 1
                if doubt.good_beats >= min(GOOD_BEATS << doubt.relapses, GOOD_BEATS_MOST):
                    found += self._clear(position, doubt, beat.to_us)
        return found

    def _is_overdue(self, position: int, beat: Beat, known: Known) -> bool:
        """Whether a motor signal that is to be called stuck has said nothing for so long that it stands at
        nothing: it is silent."""
        witness, every_s = self.memory.evidence.climbs.witnesses.get(position), known.every_s(position)
        if position in beat.spans or witness is None or every_s is None:
            return False
        return witness.silent_s(beat.to_us) > overdue_s(every_s)

    def _speaks(self, position: int, doubt: Doubt, beat: Beat) -> Sequence[Word]:
        """A silent signal is well once it has been heard in beats enough; a stray word is no cure."""
        span = beat.spans.get(position)
        if doubt.silent_since_us is not None or span is None or not span.count:
            return ()
        doubt.good_beats += 1
        if doubt.good_beats < SPOKEN_BEATS:
            return ()
        clear = self._clear(position, doubt, beat.to_us)
        return [*clear, *left_silent(position, doubt, self.memory.doubts, self.plant, beat.to_us)]

    def _doubt(self, position: int) -> Doubt:
        return self.memory.doubts.setdefault(position, Doubt())

    def _out_of_range(self, doubt: Doubt, beat: Beat, position: int) -> str | None:
        span = beat.spans.get(position)
        if span is None:
            return "out_of_range" if doubt.cause == "out_of_range" else None
        if span.bad <= BAD_SHARE * (span.bad + span.count):
            doubt.bad_beats = doubt.bad_words = 0
            return None
        doubt.since_us = doubt.since_us if doubt.bad_beats else beat.from_us
        doubt.bad_beats += 1
        doubt.bad_words += span.bad
        return "out_of_range" if doubt.bad_beats >= BEATS and doubt.bad_words >= BAD_WORDS else None

    def _since_us(self, position: int, cause: str, beat: Beat) -> int:
        if cause == "out_of_range":
            return self._doubt(position).since_us
        leap = self.memory.evidence.leap
        if cause == "implausible" and leap.convicted and position == self._contradictions.leaps.pressure:
            return leap.at_us
        deaf = self.memory.evidence.deaf
        if cause == "implausible" and deaf.convicts and position == self._contradictions.leaps.pressure:
            return deaf.since_us
        still = self.memory.evidence.still.get(position)
        return still.since_us if cause == "stuck" and still is not None and still.since_us else beat.from_us

    def _unmoved(self, position: int, doubt: Doubt) -> bool:
        """A stuck signal is not well again until it has moved."""
        still = self.memory.evidence.still.get(position)
        return doubt.cause == "stuck" and still is not None and still.since_us == doubt.still_us > 0

    def _stands_there_again(self, doubt: Doubt, beat: Beat, position: int) -> bool:
        """Whether one found stuck says, after a stray word, just what it was stuck at: no sign of health,
        though a rest at that very reading is none of illness."""
        span = beat.spans[position]
        back = doubt.cause == "stuck" and span.low == span.high == doubt.still_at
        return back and not self._unmoved(position, doubt)

    def _silent(self, position: int, now_us: int, alone: bool, known: Known) -> Sequence[Word]:
        """Raise it if others spoke meanwhile; if nobody did, once for all, by the first of the silent."""
        doubts, doubt = self.memory.doubts, self._doubt(position)
        if doubt.cause is not None or doubt.silent_since_us is None:
            return ()
        if not alone and any(one.cause == "silent" for one in doubts.values()):
            return ()
        doubt.found("silent", doubt.silent_since_us)
        doubt.told_by = fell_with(position, doubts, known) if alone else None
        if doubt.told_by is None:
            return [of_silence(position, doubts, self.plant, now_us, everybody=not alone)]
        head = doubt.told_by
        return [joining(position, head, doubts, self.plant), of_silence(head, doubts, self.plant, now_us)]

    def _claim(self, position: int, doubt: Doubt, cause: str, since_us: int) -> Claim:
        doubt.found(cause, since_us)
        signal = self.plant.signals[position]
        evidence: dict[str, float] = {}
        if cause == "stuck" and position in self.memory.evidence.still:
            still = self.memory.evidence.still[position]
            doubt.still_us, doubt.still_at = still.since_us, still.value
            evidence = {"runs_meanwhile_1": float(still.runs), "ran_meanwhile_s": still.ran_s}
        summary = f'The sensor "{signal.name}" {SAYS[cause]}.'
        if cause == "out_of_range":
            evidence = {"bad_words_1": float(doubt.bad_words)}
        leap = self.memory.evidence.leap
        if cause == "implausible" and since_us == leap.at_us:
            evidence = {"leapt_from_pa": leap.from_pa, "leapt_to_pa": leap.to_pa}
        return Claim(
            self.FAULT,
            of=signal.name,
            onset_us=since_us,
            priority="high" if signal.measures in VITAL else "medium",
            confidence=0.95 if cause in ("silent", "out_of_range") else 0.9,
            summary=summary,
            cause=cause,
            evidence=evidence,
        )

    def _clear(self, position: int, doubt: Doubt, now_us: int) -> Sequence[Word]:
        cause, name = doubt.cause, self.plant.signals[position].name
        if cause == "silent" and (witness := self.memory.evidence.climbs.witnesses.get(position)):
            witness.row = witness.lies = 0  # what it missed while it was silent is no lie
        self.memory.doubts[position] = Doubt(cleared_us=now_us, relapses=doubt.relapses)
        said = "Readings come again." if cause == "silent" else "It has been believable for hours."
        return [AllClear(self.FAULT, of=name, summary=said)]


def _no_witness(doubt: Doubt) -> bool:
    """Whether a signal can convict no other. One found stuck or implausible is still held against the
    pressure, or its innocence could never show."""
    return doubt.silent_since_us is not None or doubt.cause in ("silent", "out_of_range")


def _ill(beat: Beat, position: int) -> bool:
    span = beat.spans[position]
    return span.bad > STILL_SHARE * (span.bad + span.count)


def coverage(plant: Plant) -> Coverage:
    """Range and silence for every signal; contradiction where there are two to compare."""
    if not plant.signals:
        return Coverage(False, "Needs a signal.")
    if plant.measuring(Measure.LINE_PRESSURE) and plant.measuring(*MOTOR_MEASURES):
        return Coverage(
            True, "Each signal's range and silence; pressure and motor are checked by one another."
        )
    return Coverage(True, "Each signal's range and silence; with pressure and motor both, stuck ones too.")


def detector(plant: Plant) -> SensorFault:
    return SensorFault(plant)
