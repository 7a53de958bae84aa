"""Recorded readings through the engine into a plant's history, as if they had been heard live.

What the history holds already is passed over, so that an interrupted backfill is simply begun
again. Readings that are older than what the engine has examined are stored and not examined.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from analytics.engine import Engine
from collector.store import Batch
from collector.store.signals import in_si

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from analytics.readings import Readings
    from analytics.records import Outcome
    from collector.store import Writer


@dataclass(slots=True)
class Backfilled:
    """What a backfill brought so far."""

    stored: int = 0
    repeated: int = 0
    not_examined: int = 0  # too far behind what the engine had seen
    newest_us: int | None = None
    findings: set[tuple[str, str, int]] = field(default_factory=set)


def backfill(
    history: Writer, parts: Iterable[Readings], say: Callable[[Backfilled], None] = lambda _: None
) -> Backfilled:
    """Store and examine `parts`: stored values, each part in time order, of bounded size.

    Each part is one commit; `say` is told after each. Raises HistoryError.
    """
    engine = resumed(history)
    late_before = engine.late
    done = Backfilled()
    for part in parts:
        fresh = history.admit(part)
        _commit(history, engine, fresh, engine.feed(in_si(fresh, history.plant)), done)
        done.stored += len(fresh)
        done.repeated += len(part) - len(fresh)
        done.not_examined = engine.late - late_before
        if len(part):
            done.newest_us = max(done.newest_us or 0, int(part.time_us[-1]))
        say(done)
    _commit(history, engine, None, engine.finish(), done)
    return done


def resumed(history: Writer) -> Engine:
    """The engine as it stood at the last commit; a new one where its state cannot be read."""
    resumption = history.resume()
    engine = Engine(history.plant)
    if resumption.state is not None:
        try:
            engine = Engine.restore(history.plant, resumption.state)
        except ValueError:  # of another version of holdwater: what it had learned is learned again
            engine = Engine(history.plant)
    for part in resumption.replay:
        engine.feed(part)
    return engine


def _commit(
    history: Writer, engine: Engine, fresh: Readings | None, outcome: Outcome, done: Backfilled
) -> None:
    said = Batch(
        cycles=outcome.cycles,
        findings=outcome.findings,
        outlooks=outcome.outlooks,
        snapshot=engine.snapshot(),
    )
    history.commit(said if fresh is None else replace(said, readings=fresh))
    done.findings |= {finding.key for finding in outcome.findings}
