"""The judging half of the engine: events in, cycles, findings and outlooks out.

    events -> signature, detectors -> arbitration -> outcome

Every event is heard by every detector before the next, and what was found is known from then on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from analytics import faults
from analytics.judging import ends, splits
from analytics.judging.air import by_the_air, charged_pa, left_of_the_tank, of_the_charge
from analytics.judging.arbitration import Joined, Ledger, resting_on
from analytics.judging.decline import decline
from analytics.judging.digit import Digit, with_digit
from analytics.judging.ends import Ends
from analytics.judging.footing import band_of
from analytics.judging.habits import Habit
from analytics.judging.levels import Levels
from analytics.judging.no_delivery import witness
from analytics.judging.reference import NOTHING_TOLD, Told, band_m3, reference
from analytics.judging.setting import SINCE_FIRST
from analytics.judging.signature import Signature
from analytics.judging.splits import Splits
from analytics.judging.story import follow, note_end
from analytics.judging.watch import AllClear, Detector
from analytics.judging.worked_out import Story
from analytics.outlooks.figures import Figures
from analytics.plant.description import Measure
from analytics.records import Cycle, Finding, Outcome, Outlook
from analytics.seeing.beats import Beat
from analytics.seeing.events import Day, Look, Rest, Run
from analytics.seeing.sight import NEVER
from analytics.seeing.silences import Silence
from analytics.seeing.stillness import Stood
from analytics.seeing.water import Water

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Word
    from analytics.judging.worked_out import Decline, Witness
    from analytics.plant.description import Plant
    from analytics.seeing.events import Event
    from analytics.seeing.sight import Seen

#: Which of a detector's methods hears which event.
HEARD_BY: dict[type, str] = {
    Run: "run", Look: "look", Rest: "rest", Beat: "beat", Silence: "silence", Stood: "stood",
    Day: "day",
}  # fmt: skip
#: When one of these is over the plant is another: the tank counts water anew, the filter is clean, and the
#: runs before it are no longer recent. What stops the water altogether shows in no usable run and changes
#: neither pump nor filter: runs before it stand.
CHANGES_THE_PLANT = frozenset({"short_cycling", "clogged_filter", "pump_wear"})
#: While one of these stands, runs say nothing of filter, pump or switch.
NOT_A_RUN = frozenset({"lost_prime", "dry_supply", "burst_line", "blocked_discharge", "overpressure"})
#: What stands beside the pump and changes no run: while it does, runs are learned from all the same. Of the
#: gauges that lie only those count that runs are measured by.
BESIDE_RUNS = frozenset(
    {"freeze_risk", "salinity_high", "storage_depletion", "storage_overflow", "storage_leak"}
)
#: What a plant was built with: its runs are as they will ever be, short, and show delivery and switch as any.
AS_BUILT = frozenset({("short_cycling", "undersized_tank")})
#: Where five samples or more lie in the usual one: of fewer the tank's figures are chance, and those that
#: are longer by some draw no fair lesson.
WELL_SEEN = 0.2
RUNS_ARE_TOLD_BY = (
    Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE, Measure.PUMP_CURRENT, Measure.PUMP_POWER,
    Measure.PUMP_RUNNING, Measure.SUPPLY_FLOW,
)  # fmt: skip
#: What is usual hangs on whether these stand; two of them say how much of the delivery is left.
ASKED = ("motor_overload", "short_cycling", "clogged_filter", "pump_wear")
#: A run that raised pressure by less than this share of the switch's band was broken off; where that is known
#: to have become narrow, by less than short cycling counts as a run (`cycling_run.counts`).
FULL_RISE, NARROW_RISE = 0.5, 0.15


class Judge:
    """One plant's; it is what detectors may ask (`watch.Known`)."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.water = self._plates = Water.of(plant)
        self.ends, self.splits = Ends(), Splits()
        self._line, self._digit = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None), Digit()
        self.levels = Levels(plant)
        self.signature = Signature(full_m3=band_m3(plant, self.water))
        self.story = Story()
        self.witness: Witness | None = None
        self._usual: Reference | None = None  # until the signature changes, or what is told
        self._usual_by = NOTHING_TOLD
        self._declined: dict[float, Decline | None] = {}  # likewise
        self._ledger = Ledger(resting_on(plant))
        self._detectors: list[Detector] = [*faults.detectors(plant), Figures(plant)]
        self._lines = {plant.signals[at].name for at in plant.measuring(Measure.LINE_PRESSURE)}
        self._run_signals = {plant.signals[at].name for at in plant.measuring(*RUNS_ARE_TOLD_BY)}
        self._hearers = {kind: self._hearing(name) for kind, name in HEARD_BY.items()}
        self._weighers = self._hearing("weighed")
        self._now_us = 0
        self._seen: Seen | None = None  # with the event that is judged, or was last
        self._at = 0  # its place

    def _hearing(self, name: str) -> list[Callable[[Any, Any], Sequence[Word]]]:
        """The detectors' methods of one name, without those that only inherit it and say nothing."""
        return [
            getattr(detector, name)
            for detector in self._detectors
            if getattr(type(detector), name) is not getattr(Detector, name)
        ]

    def hear(self, seen: Seen) -> Outcome:
        """What the events of one feed change, in the stamps' time."""
        cycles: list[Cycle] = []
        outlooks: list[Outlook] = []
        changed: dict[tuple[str, str, int], Finding] = {}
        self._seen = seen if seen.events else self._seen
        for self._at, event in enumerate(seen.events):
            self._now_us = event.at_us
            if isinstance(event, Run):
                cycles.append(event.cycle)
            for finding in self._judge(event):
                changed[finding.key] = finding
            if isinstance(event, Day):
                outlooks += [o for detector in self._detectors for o in detector.outlooks(event, self)]
        return seen.turns.told(Outcome(tuple(cycles), tuple(changed.values()), tuple(outlooks)))

    def _judge(self, event: Event) -> list[Finding]:
        changed: list[Finding] = []
        if self._ledger.waiting_us is not None and self._ledger.waiting_us <= event.at_us:
            changed += self._ledger.over(event.at_us)
        if isinstance(event, Look):
            event = self._by_the_air(with_digit(event, self._digit, self.water))
            follow(self.story, event, self)
            self.witness = witness(event, self)
        elif isinstance(event, Run | Rest):
            self._note_ends(event)
        elif isinstance(event, Beat):
            self.levels.hear(event, self._disbelieved())
            self._digit.hear(event.spans.get(self._line) if self._line is not None else None)
        if isinstance(event, Run):
            splits.note(self.splits, event, self.usual)
        age_us = event.at_us - event.start_us if isinstance(event, Look) else 0
        changed += self._told_by(self._hearers[type(event)], event, age_us)
        if self.water is not self._plates:
            self.water, self._usual = self._plates, None
        if isinstance(event, Run):
            note_end(self.story, event, self.usual)
        if isinstance(event, Run) and not any(self.is_open(fault) for fault in NOT_A_RUN):
            narrow = self.cause("short_cycling") == "narrow_switch_band"
            rise = (NARROW_RISE if narrow else FULL_RISE) * self.usual.band_pa
            self.signature.learn(event, self._runs_are_sound(event), rise, not self.is_open("short_cycling"))
            self._usual = None
            self._declined = {}
        if isinstance(event, Run):
            changed += self._told_by(self._weighers, event, age_us)
        return changed

    def _told_by(
        self, hearers: Iterable[Callable[[Any, Any], Sequence[Word]]], event: Event, age_us: int
    ) -> list[Finding]:
        changed: list[Finding] = []
        for hear in hearers:
            words = hear(event, self)
            if words:
                changed += self._ledger.hear(words, event.at_us, age_us)
                if any(word.fault in ASKED for word in words) and self._told() != self._usual_by:
                    self._usual = None
                clear = [word for word in words if isinstance(word, AllClear)]
                if any(word.anew or word.fault in CHANGES_THE_PLANT for word in clear):
                    self._repaired(any(word.anew for word in clear))
        return changed

    def _by_the_air(self, look: Look) -> Look:
        """A look as the tank's air has it, as long as its charge is known to be lost or above cut-in: of that
        tank are its flows, and what is reckoned beside them."""
        left = left_of_the_tank(self)
        if left < 1.0:
            self.water, self._usual = self._plates.with_air(left), None
        return of_the_charge(by_the_air(look, left), self._charge_pa())

    def _charge_pa(self) -> float:
        return charged_pa(self._ledger.standing.values()) if self.is_open("short_cycling") else 0.0

    def _disbelieved(self) -> set[str | None]:
        """The signals that are known to lie, by name."""
        return set(self._ledger.lying())

    def _note_ends(self, event: Run | Rest) -> None:
        """Where the switch acts, unless the gauge that tells it lies."""
        lies = [since_us for name, since_us in self._ledger.lying().items() if name in self._lines]
        if lies:
            ends.forget(self.ends, min(lies))
            return
        sound = not any(self.is_open(fault) for fault in ends.MOVES_THEM)
        ends.note(self.ends, event, band_of(self.plant, self.usual), self.water, sound)

    def _repaired(self, anew: bool) -> None:
        self.signature.repaired(anew)
        self.ends = Ends() if anew else self.ends
        self._usual = None
        self._declined = {}

    def _runs_are_sound(self, run: Run) -> bool:
        """Whether nothing stands that could show in a run."""
        seen_s = min(run.interval_s, run.pressure_s or run.interval_s)
        return self._run_signals.isdisjoint(self._ledger.lying()) and all(
            finding.fault in BESIDE_RUNS
            or (
                (finding.fault, finding.cause) in AS_BUILT
                and seen_s <= WELL_SEEN * finding.evidence.get("run_time_s", 0.0)
            )
            or SINCE_FIRST in finding.evidence
            or finding.fault == "sensor_fault"
            for finding in self._ledger.standing.values()
        )

    # What detectors may ask (watch.Known), beside what stands open above.

    @property
    def usual(self) -> Reference:
        if self._usual is None:
            self._usual_by = self._told()
            self._usual = reference(self.plant, self.water, self.signature, self._usual_by)
        return self._usual

    def _told(self) -> Told:
        return Told(self.is_open("motor_overload"), self._charge_pa(), self._left())

    def _left(self) -> float:
        """Of the clean delivery, by what is known of filter and pump."""
        weak = ("clogged_filter", "pump_wear")
        standing = (one for one in self._ledger.standing.values() if one.fault in weak)
        return min((one.evidence.get("delivery_share_1", 1.0) for one in standing), default=1.0)

    def declined(self, interval_s: float) -> Decline | None:
        if interval_s not in self._declined:
            self._declined[interval_s] = decline(self, interval_s)
        return self._declined[interval_s]

    def is_open(self, fault: str, of: str | None = None) -> bool:
        return self._ledger.is_open(fault, of)

    def cause(self, fault: str) -> str | None:
        return self._ledger.cause(fault)

    def raised_us(self, fault: str, of: str) -> int | None:
        return self._ledger.raised_us(fault, of)

    def last(self, signal: int) -> tuple[int, float] | None:
        if self._seen is None:
            return None
        newest = self._seen.newest[signal]
        time_us = int(newest.time_us[self._at])
        return (time_us, float(newest.value[self._at])) if time_us != NEVER else None

    def every_s(self, signal: int) -> float | None:
        declared = self.plant.signals[signal].every_s
        if declared is not None or self._seen is None:
            return declared
        pace = self._seen.paces[signal]
        return pace[1] if pace is not None and pace[0] <= self._now_us else None

    def saved(self) -> dict[str, Any]:
        return {
            "standing": msgspec.to_builtins(self._ledger.standing),
            "ends": msgspec.to_builtins(self.ends),
            "joined": msgspec.to_builtins(self._ledger.joined),
            "habits": msgspec.to_builtins(self._ledger.habits),
            "levels": self.levels.saved(),
            "splits": msgspec.to_builtins(self.splits),
            "digit": msgspec.to_builtins(self._digit),
            "signature": msgspec.to_builtins(self.signature),
            "story": msgspec.to_builtins(self.story),
            "detectors": {detector.FAULT: detector.saved() for detector in self._detectors},
            "now_us": self._now_us,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._ledger.resume(
            msgspec.convert(saved["standing"], dict[str, Finding]),
            msgspec.convert(saved["habits"], dict[str, Habit]),
            msgspec.convert(saved.get("joined", {}), dict[str, Joined]),
        )
        self.signature = msgspec.convert(saved["signature"], Signature)
        self.ends = msgspec.convert(saved["ends"], Ends)
        self.levels.restore(saved["levels"])
        self.splits = msgspec.convert(saved["splits"], Splits)
        self._digit = msgspec.convert(saved.get("digit", {}), Digit)
        self.story = msgspec.convert(saved["story"], Story)
        for detector in self._detectors:
            if detector.FAULT in saved["detectors"]:
                detector.restore(saved["detectors"][detector.FAULT])
        self._now_us = saved["now_us"]
