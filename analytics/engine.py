"""The engine: readings in, cycles, findings and outlooks out.

    readings -> ordering -> observer -> events -> signature, detectors -> arbitration -> outcome

Deterministic and causal: every event is due at a reading, is computed from readings up to it, and is
heard by every detector before the next. So neither chunks nor restarts nor speed change a finding.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from analytics import faults
from analytics.judging.arbitration import Ledger, resting_on
from analytics.judging.decline import decline
from analytics.judging.no_delivery import witness
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.story import follow
from analytics.judging.watch import AllClear, Detector
from analytics.judging.worked_out import Story
from analytics.outlooks.figures import Figures
from analytics.records import Cycle, Finding, Outcome, Outlook
from analytics.seeing.beats import Beat
from analytics.seeing.events import Day, Look, Rest, Run
from analytics.seeing.observer import Observer
from analytics.seeing.ordering import Ordering
from analytics.seeing.silences import Silence

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Word
    from analytics.judging.worked_out import Decline, Witness
    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.seeing.events import Event
    from analytics.seeing.water import Water

STATE_VERSION = 4

#: Which of a detector's methods hears which event.
HEARD_BY: dict[type, str] = {
    Run: "run", Look: "look", Rest: "rest", Beat: "beat", Silence: "silence", Day: "day",
}  # fmt: skip
#: When this is over the tank counts water anew, and the runs before it are no longer recent. What stops
#: the water altogether shows in no usable run and changes neither pump nor filter: runs before it stand.
CHANGES_THE_PLANT = frozenset({"short_cycling"})
#: While one of these stands, runs say nothing of filter, pump or switch.
NOT_A_RUN = frozenset({"lost_prime", "dry_supply", "burst_line", "blocked_discharge", "overpressure"})
#: Readings gone through at once: their arrays stay in the processor's cache.
MOUTHFUL = 1 << 18
#: A run that raised pressure by less than this share of the switch's band was broken off.
FULL_RISE = 0.5


class Engine:
    """One plant's analytics. `feed` readings in any chunks; ask for `snapshot` between feeds."""

    def __init__(self, plant: Plant, follows_clock: bool = True) -> None:
        """`follows_clock`: readings that stay behind are taken for a clock that was set back, as in a
        recording; where whoever feeds sees to that, they are late (an older recording brought in, what a
        sensor kept while it was away)."""
        self.plant = plant
        self.signature = Signature()
        self.story = Story()
        self.witness: Witness | None = None
        self._usual: Reference | None = None  # until the signature changes
        self._declined: dict[float, Decline | None] = {}  # likewise
        self._ordering = Ordering(follows_clock)
        self._observer = Observer(plant)
        self._ledger = Ledger(resting_on(plant))
        self._detectors: list[Detector] = [*faults.detectors(plant), Figures(plant)]
        self._hearers = {kind: self._hearing(name) for kind, name in HEARD_BY.items()}
        self._now_us = 0

    def _hearing(self, name: str) -> list[Callable[[Any, Any], Sequence[Word]]]:
        """The detectors' methods of one name, without those that only inherit it and say nothing."""
        return [
            getattr(detector, name)
            for detector in self._detectors
            if getattr(type(detector), name) is not getattr(Detector, name)
        ]

    @classmethod
    def restore(cls, plant: Plant, state: bytes, follows_clock: bool = True) -> Engine:
        """The engine as it was when it gave `state`. ValueError where that is of another version."""
        saved = msgspec.msgpack.decode(state)
        if saved["version"] != STATE_VERSION:
            raise ValueError(f"engine state of version {saved['version']}, not {STATE_VERSION}")
        engine = cls(plant, follows_clock)
        engine._ordering.restore(saved["ordering"])
        engine._observer.restore(saved["observer"])
        engine._ledger.standing = msgspec.convert(saved["standing"], dict[str, Finding])
        engine.signature = msgspec.convert(saved["signature"], Signature)
        engine.story = msgspec.convert(saved["story"], Story)
        for detector in engine._detectors:
            if detector.FAULT in saved["detectors"]:
                detector.restore(saved["detectors"][detector.FAULT])
        engine._now_us = saved["now_us"]
        return engine

    def snapshot(self) -> bytes:
        """Everything that later findings depend on, as MessagePack."""
        state = {
            "version": STATE_VERSION,
            "ordering": self._ordering.saved(),
            "observer": self._observer.saved(),
            "standing": msgspec.to_builtins(self._ledger.standing),
            "signature": msgspec.to_builtins(self.signature),
            "story": msgspec.to_builtins(self.story),
            "detectors": {detector.FAULT: detector.saved() for detector in self._detectors},
            "now_us": self._now_us,
        }
        return msgspec.msgpack.encode(state)

    @property
    def late(self) -> int:
        """Readings that came later than the hold-back and were not analysed."""
        return self._ordering.late

    def feed(self, readings: Readings) -> Outcome:
        """Take readings in order of arrival; say what they changed."""
        if len(readings) <= MOUTHFUL:
            return self._take(self._ordering.feed(readings))
        cuts = range(0, len(readings), MOUTHFUL)
        return self._take(part for at in cuts for part in self._ordering.feed(readings[at : at + MOUTHFUL]))

    def finish(self) -> Outcome:
        """End of a recording: judge what is still held back. Nothing that is unfinished is closed."""
        return self._take([self._ordering.finish()])

    def _take(self, stretches: Iterable[Readings]) -> Outcome:
        cycles: list[Cycle] = []
        outlooks: list[Outlook] = []
        changed: dict[tuple[str, str, int], Finding] = {}
        for readings in stretches:
            for event in self._observer.feed(readings):
                self._now_us = event.at_us
                if isinstance(event, Run):
                    cycles.append(event.cycle)
                for finding in self._judge(event):
                    changed[finding.key] = finding
                if isinstance(event, Day):
                    outlooks += [o for detector in self._detectors for o in detector.outlooks(event, self)]
            if len(readings):
                self._observer.forget(int(readings.time_us[-1]))
        return self._ordering.turns.told(Outcome(tuple(cycles), tuple(changed.values()), tuple(outlooks)))

    def _judge(self, event: Event) -> list[Finding]:
        changed: list[Finding] = []
        if isinstance(event, Look):
            follow(self.story, event, self)
            self.witness = witness(event, self)
        for hear in self._hearers[type(event)]:
            words = hear(event, self)
            if words:
                changed += self._ledger.hear(words, event.at_us)
                if any(isinstance(w, AllClear) and w.fault in CHANGES_THE_PLANT for w in words):
                    self.signature.repaired()
                    self._usual = None
                    self._declined = {}
        if isinstance(event, Run) and not any(self.is_open(fault) for fault in NOT_A_RUN):
            rise = FULL_RISE * self.usual.band_pa
            self.signature.learn(event, not self._ledger.standing, rise)
            self._usual = None
            self._declined = {}
        return changed

    # What detectors may ask (watch.Known).

    @property
    def water(self) -> Water:
        return self._observer.water

    @property
    def usual(self) -> Reference:
        if self._usual is None:
            self._usual = reference(self.plant, self.water, self.signature)
        return self._usual

    def declined(self, interval_s: float) -> Decline | None:
        if interval_s not in self._declined:
            self._declined[interval_s] = decline(self, interval_s)
        return self._declined[interval_s]

    def is_open(self, fault: str, of: str | None = None) -> bool:
        return self._ledger.is_open(fault, of)

    def last(self, signal: int) -> tuple[int, float] | None:
        return self._observer.tracks[signal].at(self._now_us)

    def every_s(self, signal: int) -> float | None:
        declared = self.plant.signals[signal].every_s
        return declared if declared is not None else self._observer.tracks[signal].pace.learned_s()
