"""Signals that fell silent together: one node, radio or cable that they share, and so one finding.

Signals whose last words lie no further apart than TOGETHER of the slower one's intervals fell silent for one
reason; of signals whose interval is not known nobody can say. The finding of one tells of the others as well
(`Claim.joins`), and where that one speaks again, the first that still says nothing tells of the rest.

Parameters:
    TOGETHER    2     intervals, TOGETHER_US at least (a hub's own delay): two sensors that fail once a year
                      each and speak each ten minutes do so by chance once in 13,000 years

Source: IEC 62682 (of which this is from memory) asks that one event should make one alarm.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.doubt import VITAL, Doubt
from analytics.judging.watch import Claim

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant

TOGETHER, TOGETHER_US = 2.0, 10_000_000


def fell_with(position: int, doubts: dict[int, Doubt], known: Known) -> int | None:
    """A silent signal whose finding tells of itself, and which spoke last when this one did."""
    own_s, fell_us = known.every_s(position), doubts[position].fell_us
    for other, doubt in doubts.items():
        heads = doubt.cause == "silent" and doubt.told_by is None and doubt.silent_since_us is not None
        every_s = known.every_s(other)
        if other == position or not heads or own_s is None or every_s is None:
            continue
        if abs(fell_us - doubt.fell_us) <= max(TOGETHER * 1e6 * max(own_s, every_s), TOGETHER_US):
            return other
    return None


def of_silence(
    position: int, doubts: dict[int, Doubt], plant: Plant, now_us: int, everybody: bool = False
) -> Claim:
    """What is said of one that is silent, and of those that fell silent with it."""
    group = [position, *sorted(at for at, one in doubts.items() if one.told_by == position)]
    signals, since_us = [plant.signals[at] for at in group], min(doubts[at].fell_us for at in group)
    evidence = {"silent_s": (now_us - since_us) / 1e6}
    if everybody:
        summary = "No signal has said anything: look at the broker, the network and the sensors' power."
    elif len(group) > 1:
        evidence["silent_signals_1"] = float(len(group))
        names = words.several([f'"{signal.name}"' for signal in signals])
        summary = (
            f"The sensors {names} fell silent together: look first at what they share, power, radio or cable."
        )
    else:
        every_s = signals[0].every_s
        due = "" if every_s is None else f", due every {words.duration(every_s)},"
        summary = f'The sensor "{signals[0].name}"{due} has said nothing.'
    vital = any(signal.measures in VITAL for signal in signals)
    return Claim(
        "sensor_fault", of=signals[0].name, onset_us=since_us, priority="high" if vital else "medium",
        confidence=0.95, summary=summary, cause="silent", evidence=evidence,
    )  # fmt: skip


def joining(position: int, head: int, doubts: dict[int, Doubt], plant: Plant) -> Claim:
    """That a signal is silent, of which another's finding tells."""
    return replace(of_silence(position, doubts, plant, 0), joins=plant.signals[head].name)


def left_silent(
    position: int, was: Doubt, doubts: dict[int, Doubt], plant: Plant, now_us: int
) -> Sequence[Word]:
    """What is said of the others now that one speaks again: those of them that speak as well are well."""
    if was.told_by is not None:
        still = was.told_by in doubts and doubts[was.told_by].silent_since_us is not None
        return [of_silence(was.told_by, doubts, plant, now_us)] if still else ()
    left: list[int] = []
    for at in sorted(at for at, one in doubts.items() if one.told_by == position):
        if doubts[at].silent_since_us is None:
            doubts[at] = Doubt(cleared_us=now_us, relapses=doubts[at].relapses)
        else:
            left.append(at)
            doubts[at].told_by = left[0] if at != left[0] else None
    head = [of_silence(left[0], doubts, plant, now_us)] if left else []
    return [*head, *(joining(at, left[0], doubts, plant) for at in left[1:])]
