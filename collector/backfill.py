"""Recorded readings through the engine into a plant's history, as if they had been heard live.

What the history holds already is passed over, so that an interrupted backfill is simply begun
again. Readings that are older than what the engine has examined are stored and not examined.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from analytics.engine import Engine
from collector.store import Batch
from collector.store.signals import in_si

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from analytics.readings import Readings
    from analytics.records import Finding, Outcome
    from collector.store import Writer

log = logging.getLogger("holdwater.backfill")

#: A month: more than any baseline takes to learn, and a minute's work at most for a small computer.
RELEARN_US = 30 * 86_400_000_000


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
    """The engine as it stood at the last commit.

    Where its stored state cannot be read (another version wrote it) or does not fit (the plant's
    signals are others now), a new engine is shown the last RELEARN_US of what is stored, so that
    it knows the plant's healthy ways again; see `learned_anew`. Raises HistoryError.
    """
    resumption = history.resume()
    if not resumption.fits:
        log.info("%s: its signals have changed; learning it anew", history.plant.name)
        return learned_anew(history)
    engine = Engine(history.plant, follows_clock=False)
    if resumption.state is not None:
        try:
            engine = Engine.restore(history.plant, resumption.state, follows_clock=False)
        except ValueError as error:
            log.info("%s: %s; learning it anew", history.plant.name, error)
            return learned_anew(history)
    for part in resumption.replay:
        engine.feed(part)
    return engine


def learned_anew(history: Writer, until_us: int | None = None) -> Engine:
    """A new engine that has seen the newest of what is stored, or of what is stored before a time.

    What it still holds open is stored; what was open and it does not know is closed at the newest
    reading: it will be raised again if it stands. Findings of the past stay as they were told. Raises
    HistoryError.
    """
    engine, span = Engine(history.plant, follows_clock=False), history.span()
    if span is None:
        return engine
    found: dict[tuple[str, str, int], Finding] = {}
    names = [signal.name for signal in history.plant.signals]
    newest_us = span[1] if until_us is None else until_us - 1
    for part in history.recording(names, newest_us - RELEARN_US, newest_us + 1):
        found |= {finding.key: finding for finding in engine.feed(in_si(part, history.plant)).findings}
    standing = {key: finding for key, finding in found.items() if finding.cleared_us is None}
    closed = [
        replace(finding, cleared_us=max(newest_us, finding.raised_us))
        for finding in history.findings(open_only=True)
        if finding.key not in standing
    ]
    history.commit(Batch(findings=[*closed, *standing.values()], snapshot=engine.snapshot()))
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
