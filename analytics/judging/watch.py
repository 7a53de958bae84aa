"""What a detector is, and what it may say.

A detector is told of events, one after the other in order of time, and answers with words: a Claim
that its fault stands, or an All-clear. It keeps its memory in one dataclass of plain data, so that
the engine can save and restore it without knowing it. It never sees a chunk, a clock or another
detector; what others have found it may ask of `Known`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

import msgspec

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.ends import Ends
    from analytics.judging.levels import Levels
    from analytics.judging.reference import Reference
    from analytics.judging.signature import Signature
    from analytics.judging.splits import Splits
    from analytics.judging.worked_out import Decline, Story, Witness
    from analytics.plant.description import Plant
    from analytics.records import Outlook, Priority
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Day, Look, Rest, Run
    from analytics.seeing.silences import Silence
    from analytics.seeing.stillness import Stood
    from analytics.seeing.water import Water


class Coverage(msgspec.Struct, frozen=True):
    """Whether the fitted sensors can show a fault, and one sentence on what they can and cannot."""

    can: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Claim:
    """The fault stands, as far as readings up to the event's time tell.

    The first claim of a fault not yet open raises it; later ones, repeated as often as the evidence
    lasts, bring its words up to date. `onset_us` of the first claim stays. A claim may hang on another
    finding (`analytics.judging.arbitration`): that it was made does not mean that it stands, `is_open` does.

    `apart_from`: faults that cannot have made this evidence, so that it hangs on none of them.
    `joins`: whose finding of this fault tells of this one too, while that stands: one thing ails both.
    """

    fault: str
    onset_us: int
    priority: Priority
    confidence: float
    summary: str
    cause: str | None = None
    of: str | None = None
    evidence: dict[str, float] = field(default_factory=dict)
    apart_from: frozenset[str] = frozenset()
    joins: str | None = None


class AllClear(msgspec.Struct, frozen=True):
    """The fault's signature is gone (hysteresis is the detector's own matter).

    `anew`: what had been learned as clean was the faulty plant, which was there before: learned anew.
    """

    fault: str
    of: str | None = None
    summary: str | None = None  # how it is known, put after the finding's summary
    evidence: dict[str, float] = {}
    anew: bool = False


Word = Claim | AllClear


class Known(Protocol):
    """What a detector may ask while it hears an event."""

    @property
    def plant(self) -> Plant:
        """The plant file's plant."""

    @property
    def water(self) -> Water:
        """Its pressure tank as a flow meter."""

    @property
    def signature(self) -> Signature:
        """What its clean runs are like."""

    @property
    def ends(self) -> Ends:
        """Where its switch acts, by rests that samples far apart have seen (`judging.ends`)."""

    @property
    def levels(self) -> Levels:
        """Its storages' levels, and what moved them in the beat that is heard."""

    @property
    def splits(self) -> Splits:
        """Runs that the motor's word split (`judging.splits`)."""

    @property
    def usual(self) -> Reference:
        """What a sound plant does, by its signature or, before there is one, by the plant file."""

    @property
    def story(self) -> Story:
        """What the looks into this run have shown so far, the one that is heard included."""

    @property
    def witness(self) -> Witness | None:
        """Whether water moves, by the look that is heard; None where it cannot tell."""

    def declined(self, interval_s: float) -> Decline | None:
        """How far delivery has fallen, by runs seen so finely (`judging.decline`)."""

    def is_open(self, fault: str, of: str | None = None) -> bool:
        """Whether a finding of this fault stands (of any storage or signal where `of` is None)."""

    def cause(self, fault: str) -> str | None:
        """The cause of the finding of this fault that stands, as it was last told."""

    def raised_us(self, fault: str, of: str) -> int | None:
        """When the finding that stands of this fault was raised; None where none does."""

    def last(self, signal: int) -> tuple[int, float] | None:
        """Time and value of the signal's newest good sample at or before the event, or None."""

    def every_s(self, signal: int) -> float | None:
        """Expected interval of a signal: the plant file's, else learned, else None."""


class Nothing(msgspec.Struct):
    """The memory of a detector that needs none."""


class Detector:
    """Base of all: hears everything, says nothing. Override what the fault needs."""

    FAULT: ClassVar[str]
    Memory: ClassVar[type] = Nothing

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.memory: Any = self.Memory()

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        return ()

    def weighed(self, run: Run, known: Known) -> Sequence[Word]:
        """A run once more, after all have heard it and it is among the signature's newest."""
        return ()

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        return ()

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        return ()

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        return ()

    def silence(self, silence: Silence, known: Known) -> Sequence[Word]:
        return ()

    def stood(self, stood: Stood, known: Known) -> Sequence[Word]:
        return ()

    def day(self, day: Day, known: Known) -> Sequence[Word]:
        return ()

    def outlooks(self, day: Day, known: Known) -> Sequence[Outlook]:
        """Estimates and forecasts as of the end of a day."""
        return ()

    def saved(self) -> Any:
        """The memory as plain data."""
        return msgspec.to_builtins(self.memory)

    def restore(self, saved: Any) -> None:
        """Take up the memory again. ValidationError if it is not of this detector."""
        self.memory = msgspec.convert(saved, self.Memory)
