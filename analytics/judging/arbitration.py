"""One fault, one finding: which finding speaks, and which hangs on another.

Detectors speak for themselves; here it is settled what the owner is told. A claim whose fault is a
consequence of a finding that stands is written into that finding's evidence ("with_<fault>") and not
raised beside it, unless its evidence is such as that finding cannot make (`Claim.apart_from`). When the
cause is gone and the claim is still made, it is raised then: so a detector goes on claiming for as long
as its evidence lasts.

A later claim on a finding that stands replaces its words where it says something new: another cause,
priority or set of figures, or a figure that has moved by a step which a person would notice. The words
with which a finding was raised are kept beside them (see `analytics.records.Finding`).

What several have at once for one reason (`Claim.joins`: sensors that fell silent together) is told by the
finding of one of them: they stand, and no finding of their own is raised beside it.

What comes and goes is one finding (`analytics.judging.habits`): gone for now, it explains and silences
nothing, and runs are learned from; when it is claimed again it has its full priority again.

Parameters: CONFIDENCE_STEP 0.05; STEP 0.05 of a figure's size, and for what has a zero of its own at
least LEAST_STEP of its unit (a twentieth of a share, 0.7 psi, 1 cm, 5 s): a row of the history is
written at each step, so a figure that grows without end costs a row each time by a twentieth more.
Trade practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import isfinite, isinf
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US
from analytics.judging.habits import GAPS_US, IT_HAS_GONE, Habit
from analytics.judging.watch import AllClear, Claim
from analytics.plant.description import Measure
from analytics.records import GONE_FOR_NOW, Finding
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.judging.watch import Word
    from analytics.plant.description import Plant

#: Faults that are told from pressure, and those that are told from the motor.
BY_PRESSURE = frozenset(
    {
        "blocked_discharge",
        "overpressure",
        "dry_supply",
        "lost_prime",
        "burst_line",
        "short_cycling",
        "switch_drift",
        "clogged_filter",
        "pump_wear",
        "supply_leak",
    }
)
BY_MOTOR = BY_PRESSURE | {"motor_overload", "storage_leak"}

#: What is judged by runs that deliver as they should.
OF_RUNS = frozenset({"short_cycling", "switch_drift", "clogged_filter", "pump_wear"})
#: What a run that moves no water, or not enough, can be taken for.
IN_RUN = frozenset({"lost_prime", "dry_supply", "burst_line", "blocked_discharge"})

#: What follows from what. A run that moves no water leaves nothing to judge filter, pump or switch by;
#: a burst draws down pressure and storage, and a motor whose work goes with pressure works less;
#: a fast-cycling tank distorts every pressure; what is throttled by a filter stands at shut-off before it,
#: and fills the tank more slowly: no run is shorter for that.
CONSEQUENCES: dict[str, frozenset[str]] = {
    "lost_prime": OF_RUNS | IN_RUN | {"supply_leak"},
    "dry_supply": OF_RUNS | IN_RUN | {"supply_leak", "motor_overload"},
    "burst_line": OF_RUNS
    | {"lost_prime", "dry_supply", "blocked_discharge", "motor_overload"}
    | {"supply_leak", "storage_leak", "storage_depletion"},
    "short_cycling": OF_RUNS | {"supply_leak", "blocked_discharge", "motor_overload"},
    "clogged_filter": frozenset({"pump_wear", "blocked_discharge"}),
    "pump_wear": frozenset({"clogged_filter", "blocked_discharge"}),
    "blocked_discharge": OF_RUNS | IN_RUN | {"overpressure"},
    "overpressure": OF_RUNS | IN_RUN,
    "motor_overload": OF_RUNS | IN_RUN,
}

#: What follows only where the finding has one of these causes. Runs too short say nothing against a line that
#: seeps beside them; a leak that starts the pump too often is itself the finding. A tank too small, or a
#: leak, takes nothing from delivery, switch or motor: what is amiss with these is a fault of its own (a lost
#: charge makes delivery look larger, and an overcharge or a fluttering switch leaves none to go by; a
#: narrow band leaves what runs deliver as it was). A motor that drags pumps all the same, and hides nothing;
#: one that stands still moves no water.
_SPOILS: frozenset[str | None] = frozenset(
    {None, "lost_air_charge", "overcharged_tank", "narrow_switch_band", "switch_chatter"}
)
FOLLOWS_FROM_CAUSE: dict[str, dict[str, frozenset[str | None]]] = {
    "short_cycling": {
        "supply_leak": frozenset({"leak"}),
        **dict.fromkeys(OF_RUNS | {"blocked_discharge", "motor_overload"}, _SPOILS),
        **dict.fromkeys(("clogged_filter", "pump_wear"), _SPOILS - {"narrow_switch_band"}),
    },
    "motor_overload": dict.fromkeys(OF_RUNS | IN_RUN, frozenset({"locked_rotor"})),
}


#: In a run that has lasted longer than this [us], what does not explain a pump that moves nothing: short
#: cycles are short (a motor is given one or two minutes; common practice, no source), and a filter or pump
#: that passes a third of what it did fills a tank in three times the few minutes it takes, or holds its own
#: against one zone of a garden; a pump that stands against a shut outlet for an hour boils its water.
_OUTLASTS: dict[str, int] = {
    "short_cycling": HOUR_US // 20,
    "clogged_filter": HOUR_US,
    "pump_wear": HOUR_US,
}


def follows(fault: str, other: str, cause: str | None) -> bool:
    """Whether `fault` is a consequence of a finding of `other` with that cause."""
    if fault not in CONSEQUENCES.get(other, ()):
        return False
    causes = FOLLOWS_FROM_CAUSE.get(other, {}).get(fault)
    return causes is None or cause in causes


#: A claim that says nothing newer than this is not told again.
CONFIDENCE_STEP = 0.05
STEP = 0.05
LEAST_STEP = {"_m3_s": 0.0, "_share_1": 0.05, "_pa": 5e3, "_m": 0.01, "_s": 5.0}


class Joined(msgspec.Struct):
    """What another's finding tells of besides: the place of that one, whose it is, and since when."""

    head: str
    of: str
    onset_us: int


class Ledger(msgspec.Struct):
    """The findings that stand, and who hangs on whom. Plain data."""

    #: faults by the signal that they are told from
    resting_on: dict[str, frozenset[str]] = {}
    standing: dict[str, Finding] = {}
    faults: frozenset[str] = frozenset()  # of what stands, which is asked all the time
    joined: dict[str, Joined] = {}  # by the place that a finding of its own would have
    habits: dict[str, Habit] = {}  # by the place of the finding
    waiting_us: int | None = None  # when the next of those that have gone for now may be over

    def silenced_by(self, finding: Finding, fault: str) -> bool:
        """Whether a standing finding explains a fault: as its consequence, or by a sensor that lies."""
        if finding.fault == "sensor_fault":
            return any(self._rests(fault, name, finding.cause) for name in self._told_by(finding))
        return follows(fault, finding.fault, finding.cause)

    def _rests(self, fault: str, name: str, cause: str | None) -> bool:
        """Whether a fault is told from a signal that lies."""
        rest = self.resting_on.get(name, frozenset())
        # what a run shows is made of its gauge's words: then it has spoken again
        speaks = cause == "silent" and fault in IN_RUN and rest == BY_PRESSURE
        return fault in rest and not speaks

    def _told_by(self, finding: Finding) -> list[str]:
        """Of what a finding tells: its own, and those that have joined it."""
        place = _place(finding.fault, finding.of)
        return [finding.of or "", *(one.of for one in self.joined.values() if one.head == place)]

    def lying(self) -> dict[str, int]:
        """The signals that are known to lie, by name, and since when [us]."""
        if "sensor_fault" not in self.faults:
            return {}
        lying = {one.of: one.onset_us for one in self.joined.values()}
        for one in self.standing.values():
            if one.fault == "sensor_fault" and one.of is not None:
                lying[one.of] = one.onset_us
        return lying

    def resume(
        self, standing: dict[str, Finding], habits: dict[str, Habit], joined: dict[str, Joined]
    ) -> None:
        """Take up again what stood, what came and went, and what was told by another's finding."""
        self.standing, self.habits, self.joined = standing, habits, joined
        self._note_faults()
        self._note_waiting()

    def is_open(self, fault: str, of: str | None = None) -> bool:
        if fault not in self.faults:
            return False
        return of is None or (place := _place(fault, of)) in self.standing or place in self.joined

    def cause(self, fault: str) -> str | None:
        finding = self.standing.get(_place(fault, None))
        return finding.cause if finding is not None else None

    def _note_faults(self) -> None:
        self.faults = frozenset(finding.fault for finding in self.standing.values())

    def raised_us(self, fault: str, of: str) -> int | None:
        place = _place(fault, of)
        joined = self.joined.get(place)
        finding = self.standing.get(place if joined is None else joined.head)
        return finding.raised_us if finding is not None else None

    def over(self, at_us: int) -> list[Finding]:
        """The findings that had gone for now and have stayed away: over when that is known, not since."""
        gone = [one for habit in self.habits.values() for one in habit.over(at_us)]
        self._note_waiting()
        return [replace(one, cleared_us=at_us) for one in gone]

    def _note_waiting(self) -> None:
        waits = [habit.until_us for habit in self.habits.values() if habit.finding is not None]
        self.waiting_us = min(waits, default=None)

    def hear(self, words: Iterable[Word], at_us: int, age_us: int = 0) -> list[Finding]:
        """What the words of one event change: findings raised, brought up to date, or cleared.

        age_us: how long the run has lasted that they are of; 0: of none that lasts.
        """
        changed: list[Finding] = []
        for word in words:
            found = self._claim(word, at_us, age_us) if isinstance(word, Claim) else self._clear(word, at_us)
            if found is not None:
                changed.append(found)
        return changed

    def _cause_of(self, claim: Claim, age_us: int) -> str | None:
        """The place of a standing finding of which a claim, in a run of that age, is a consequence."""
        fault = claim.fault
        for place, finding in self.standing.items():
            if finding.fault in claim.apart_from:
                continue
            most_us = _OUTLASTS.get(finding.fault) if fault in IN_RUN else None
            if self.silenced_by(finding, fault) and (most_us is None or age_us <= most_us):
                return place
        return None

    def _claim(self, claim: Claim, at_us: int, age_us: int) -> Finding | None:
        place = _place(claim.fault, claim.of)
        before = self.standing.get(place)
        if before is None:
            head = _place(claim.fault, claim.joins)
            if claim.joins is not None and head in self.standing:
                self.joined[place] = Joined(head, claim.of or "", claim.onset_us)
                return None
            self.joined.pop(place, None)
            cause = self._cause_of(claim, age_us)
            if cause is not None:
                return self._hang(cause, claim.fault)
            habit = self.habits.get(place)
            again = habit.came_again(at_us) if habit is not None else None
            self._note_waiting()
            if again is not None:
                self.standing[place] = finding = replace(
                    again, priority=claim.priority, confidence=claim.confidence, summary=claim.summary,
                    cause=claim.cause, evidence=dict(claim.evidence),
                )  # fmt: skip
                self._note_faults()
                return finding
            self.standing[place] = finding = Finding(
                claim.fault, claim.of, at_us, min(claim.onset_us, at_us), claim.priority, claim.confidence,
                claim.summary, claim.cause, None, dict(claim.evidence), claim.priority, claim.summary,
            )  # fmt: skip
            self._note_faults()
            return finding
        hung = {name: value for name, value in before.evidence.items() if name.startswith("with_")}
        if not _news(before, claim, hung):
            return None
        self.standing[place] = finding = replace(
            before, priority=claim.priority, confidence=claim.confidence, summary=claim.summary,
            cause=claim.cause, evidence=claim.evidence | hung,
        )  # fmt: skip
        return finding

    def _hang(self, cause: str, fault: str) -> Finding | None:
        name = f"with_{fault}"
        before = self.standing[cause]
        if name in before.evidence:
            return None
        self.standing[cause] = finding = replace(before, evidence=before.evidence | {name: 1.0})
        return finding

    def _clear(self, word: AllClear, at_us: int) -> Finding | None:
        place = _place(word.fault, word.of)
        self.joined = {at: one for at, one in self.joined.items() if place not in (at, one.head)}
        before = self.standing.pop(place, None)
        if before is None:
            return None
        self._note_faults()
        summary = f"{before.summary} {word.summary}" if word.summary else before.summary
        gone = replace(before, summary=summary, evidence=before.evidence | word.evidence)
        if before.fault not in GAPS_US:
            return replace(gone, cleared_us=at_us)
        habit = self.habits.setdefault(place, Habit(before.fault))
        if not habit.went(gone, at_us):
            return replace(gone, cleared_us=at_us)
        self._note_waiting()
        return replace(
            gone, priority="low", summary=f"{summary} {IT_HAS_GONE}",
            evidence=gone.evidence | {GONE_FOR_NOW: 1.0},
        )  # fmt: skip


def resting_on(plant: Plant) -> dict[str, frozenset[str]]:
    """Which faults cannot be told while a signal lies, by its name."""
    motor = motor_signal(plant)
    found = {}
    for position, signal in enumerate(plant.signals):
        if signal.measures is Measure.LINE_PRESSURE:
            found[signal.name] = BY_PRESSURE
        elif position == motor:
            found[signal.name] = BY_MOTOR
    return found


def _news(before: Finding, claim: Claim, hung: dict[str, float]) -> bool:
    """Whether a claim says what a standing finding has not said yet."""
    if (claim.cause, claim.priority) != (before.cause, before.priority):
        return True
    if abs(claim.confidence - before.confidence) >= CONFIDENCE_STEP:
        return True
    if claim.evidence.keys() != before.evidence.keys() - hung.keys():
        return True
    return any(_moved(name, before.evidence[name], value) for name, value in claim.evidence.items())


def _moved(name: str, before: float, now: float) -> bool:
    """Whether a figure of the evidence has moved by a step."""
    if not (isfinite(before) and isfinite(now)):
        return isfinite(before) != isfinite(now) or (isinf(before) and before != now)
    return abs(now - before) > max(STEP * max(abs(now), abs(before)), _least_step(name))


@cache
def _least_step(name: str) -> float:
    return next((step for end, step in LEAST_STEP.items() if name.endswith(end)), 0.0)


def _place(fault: str, of: str | None) -> str:
    return f"{fault}/{of or ''}"
