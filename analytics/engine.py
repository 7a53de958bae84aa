"""The engine: readings in, cycles, findings and outlooks out.

    readings -> ordering -> observer -> events      (`seeing.sight`)
    events -> signature, detectors -> arbitration -> outcome      (`judge`)

Deterministic and causal: every event is due at a reading, is computed from readings up to it, and is
heard by every detector before the next. So neither chunks nor restarts nor speed change a finding.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.judge import Judge
from analytics.seeing.sight import Sight

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.records import Outcome

STATE_VERSION = 24


class Engine:
    """One plant's analytics. `feed` readings in any chunks; ask for `snapshot` between feeds."""

    def __init__(self, plant: Plant, follows_clock: bool = True) -> None:
        """`follows_clock`: readings that stay behind are taken for a clock that was set back, as in a
        recording; where whoever feeds sees to that, they are late (an older recording brought in, what a
        sensor kept while it was away)."""
        self.plant = plant
        self.judge = Judge(plant)
        self._sight = Sight(plant, follows_clock)

    @classmethod
    def restore(cls, plant: Plant, state: bytes, follows_clock: bool = True) -> Engine:
        """The engine as it was when it gave `state`. ValueError where that is of another version."""
        saved = msgspec.msgpack.decode(state)
        if saved["version"] != STATE_VERSION:
            raise ValueError(f"engine state of version {saved['version']}, not {STATE_VERSION}")
        engine = cls(plant, follows_clock)
        engine._sight.ordering.restore(saved["ordering"])
        engine._sight.observer.restore(saved["observer"])
        engine.judge.restore(saved)
        return engine

    def snapshot(self) -> bytes:
        """Everything that later findings depend on, as MessagePack."""
        state = {
            "version": STATE_VERSION,
            "ordering": self._sight.ordering.saved(),
            "observer": self._sight.observer.saved(),
            **self.judge.saved(),
        }
        return msgspec.msgpack.encode(state)

    @property
    def late(self) -> int:
        """Readings that came later than the hold-back and were not analysed."""
        return self._sight.ordering.late

    def is_open(self, fault: str, of: str | None = None) -> bool:
        """Whether a finding of this fault stands (of any storage or signal where `of` is None)."""
        return self.judge.is_open(fault, of)

    def feed(self, readings: Readings) -> Outcome:
        """Take readings in order of arrival; say what they changed."""
        return self.judge.hear(self._sight.feed(readings))

    def finish(self) -> Outcome:
        """End of a recording: judge what is still held back. Nothing that is unfinished is closed."""
        return self.judge.hear(self._sight.finish())
