"""What a trial is made of: steps, estimates, sightings, conclusions. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.plant.description import Plant
    from analytics.trials.spell import Spell

Outcome = Literal["good", "poor", "unclear"]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, or to wait for.

    name     of a step whose readings are judged; empty for a step of the hands alone, which is
             over when the owner says so
    skip     words by which the owner leaves this and every further step of the same `part` out
    """

    do: str
    caution: str = ""
    name: str = ""
    part: str = ""
    skip: str = ""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and the band in which it lies, as sure as 19 times in 20. SI; the name holds the unit.

    The band is not always even about the value: air that warms or cools errs one way.
    """

    value: float
    low: float
    high: float

    @property
    def known(self) -> bool:
        return self.low == self.low and self.high == self.high  # NaN is not itself


@dataclass(frozen=True, slots=True)
class Sighting:
    """What a judged step has seen so far.

    over     the step is done: the readings suffice, or no more of them would help
    share    how far it is, 0 to 1, where that can be told
    seen     a word for what is seen now; the trial's own vocabulary, see `words`
    figures  by name
    """

    over: bool
    seen: str
    share: float | None = None
    figures: Mapping[str, Estimate] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What the whole trial says. `said` is one of the trial's conclusions; figures by name, SI."""

    outcome: Outcome
    said: str
    figures: Mapping[str, Estimate] = field(default_factory=dict)


class Look(Protocol):
    """What a judged step has seen so far. `spell` begins with the step."""

    def __call__(self, plant: Plant, step: Step, spell: Spell) -> Sighting: ...


class Conclude(Protocol):
    """The whole trial, from the last sighting of each judged step and the parts that were left out."""

    def __call__(
        self, plant: Plant, seen: Mapping[str, Sighting], left_out: frozenset[str]
    ) -> Conclusion: ...


#: What any trial may come to.
COMMON = {
    "pump_ran": "The pump ran meanwhile. It has to be off at the breaker. Once more.",
    "unheard": "Too few readings came in to tell.",
    "too_early": "A step was ended before the readings sufficed, so nothing can be told. Once more.",
}


@dataclass(frozen=True, slots=True)
class Trial:
    """One guided test. `says` words its own conclusions: what each means, what to do next."""

    key: str
    title: str
    question: str
    takes: str  # how long, in words
    steps: tuple[Step, ...]
    says: Mapping[str, str]
    look: Look
    conclude: Conclude

    def words(self, said: str) -> str:
        """A conclusion in words. KeyError for one that this trial does not come to."""
        return self.says[said] if said in self.says else COMMON[said]
