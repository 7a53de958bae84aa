"""How well findings match what was really wrong: delay, misses, false findings, causes confused.

A finding is right when a truth of its fault (and of its signal or storage, where both say which)
stands while it is raised, or stood within the day before: some faults show best once they are over.
A truth that shows and gets no finding before its end is a miss, unless nobody planned it. A finding
that no truth bears out is false; the truths that stood at that moment are named beside it, for they
tell what it was mistaken for.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

_AFTER_US = 86_400_000_000
NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Found:
    """A finding, as far as the score needs it."""

    fault: str
    cause: str | None
    of: str | None
    raised_us: int


@dataclass(frozen=True, slots=True)
class Labelled:
    """A truth, as far as the score needs it."""

    fault: str
    cause: str | None
    of: str | None
    from_us: int
    symptomatic_us: int | None
    until_us: int | None
    follows: bool

    def stood(self, at_us: int) -> bool:
        """Whether it stood at a time, or had gone less than a day before."""
        return self.from_us <= at_us and (self.until_us is None or at_us <= self.until_us + _AFTER_US)


@dataclass(slots=True)
class Score:
    """Marks for one or many recordings; `+=` adds another's."""

    #: fault -> delays from the first symptom to the finding [s], negative where it came sooner
    delays_s: dict[str, list[float]] = field(default_factory=dict)
    missed: Counter[str] = field(default_factory=Counter)
    unseen: Counter[str] = field(default_factory=Counter)  # never showed: nobody could have found it
    #: (fault found, faults that really stood)
    false: Counter[tuple[str, str]] = field(default_factory=Counter)
    #: (fault, true cause, cause found)
    causes: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    repeated: Counter[str] = field(default_factory=Counter)  # a second finding of one truth
    #: (what was wrong, what was found); "nothing": a false alarm, or a miss that nothing was mistaken for
    confusion: Counter[tuple[str, str]] = field(default_factory=Counter)

    def __iadd__(self, other: Score) -> Score:
        for fault, delays in other.delays_s.items():
            self.delays_s.setdefault(fault, []).extend(delays)
        self.missed += other.missed
        self.unseen += other.unseen
        self.false += other.false
        self.causes += other.causes
        self.repeated += other.repeated
        self.confusion += other.confusion
        return self

    def rows(self) -> list[tuple[str, int, int, int, int, str, str]]:
        """(fault, found, missed, false, repeated, median delay, right causes) by fault."""
        false = Counter[str]()
        for (fault, _), count in self.false.items():
            false[fault] += count
        names = sorted({*self.delays_s, *self.missed, *false, *self.repeated})
        return [
            (
                name,
                len(self.delays_s.get(name, [])),
                self.missed[name],
                false[name],
                self.repeated[name],
                _spoken(self.delays_s.get(name, [])),
                self._causes_right(name),
            )
            for name in names
        ]

    def _causes_right(self, fault: str) -> str:
        asked = {key: count for key, count in self.causes.items() if key[0] == fault and key[1]}
        right = sum(count for (_, true, found), count in asked.items() if true == found)
        return f"{right} of {sum(asked.values())}" if asked else ""


def score(truths: Iterable[Labelled], findings: Iterable[Found]) -> Score:
    """Marks for one recording."""
    marks = Score()
    truths = list(truths)
    matched: dict[int, list[Found]] = {}
    for finding in sorted(findings, key=lambda one: one.raised_us):
        at = _borne_out_by(finding, truths)
        if at is None:
            stood = sorted({truth.fault for truth in truths if truth.stood(finding.raised_us)})
            marks.false[(finding.fault, " and ".join(stood) or NOTHING)] += 1
            _confused(marks, finding, truths)
        else:
            matched.setdefault(at, []).append(finding)
    for i, truth in enumerate(truths):
        _mark(marks, truth, matched.get(i, []))
        if i in matched:
            marks.confusion[(truth.fault, truth.fault)] += 1
    mistaken = Counter(true for true, found in marks.confusion.elements() if true != found)
    for fault, count in (marks.missed - mistaken).items():
        marks.confusion[(fault, NOTHING)] += count
    return marks


def _confused(marks: Score, finding: Found, truths: list[Labelled]) -> None:
    """Lays a false finding to what was wrong while it was raised: the planned fault that began last,
    else whatever stood, else nothing."""
    stood = [truth for truth in truths if truth.stood(finding.raised_us)]
    meant = max(stood, key=lambda one: (not one.follows, one.from_us), default=None)
    marks.confusion[(meant.fault if meant else NOTHING, finding.fault)] += 1


def _mark(marks: Score, truth: Labelled, findings: list[Found]) -> None:
    if not findings:
        if not truth.follows:
            (marks.unseen if truth.symptomatic_us is None else marks.missed)[truth.fault] += 1
        return
    shown_us = truth.symptomatic_us if truth.symptomatic_us is not None else truth.from_us
    marks.delays_s.setdefault(truth.fault, []).append((findings[0].raised_us - shown_us) / 1e6)
    if not truth.follows:  # what nobody planned has no cause to be right about
        marks.causes[(truth.fault, truth.cause or "", findings[-1].cause or "")] += 1
    if len(findings) > 1:
        marks.repeated[truth.fault] += len(findings) - 1


def _borne_out_by(finding: Found, truths: list[Labelled]) -> int | None:
    """The truth that bears a finding out: one that stands before one that has gone, planned before not."""
    fits = [
        (truth.until_us is not None and finding.raised_us > truth.until_us, truth.follows, -truth.from_us, i)
        for i, truth in enumerate(truths)
        if truth.fault == finding.fault
        and truth.stood(finding.raised_us)
        and (not truth.of or not finding.of or truth.of == finding.of)
    ]
    return min(fits)[3] if fits else None


def read_truths(text: str) -> list[Labelled]:
    """Truths of a recording's companion file."""
    return [
        Labelled(
            one["fault"],
            one["cause"],
            one["of"],
            _us(one["from"]),
            _us(one["symptomatic_from"]) if one["symptomatic_from"] else None,
            _us(one["until"]) if one["until"] else None,
            bool(one.get("follows")),
        )
        for one in json.loads(text)["faults"]
    ]


def read_findings(text: str) -> list[Found]:
    """Findings as `holdwater analyse --json` writes them, one a line."""
    lines: list[dict[str, Any]] = [json.loads(line) for line in text.splitlines() if line.strip()]
    return [Found(one["fault"], one.get("cause"), one.get("of"), _us(one["raised"])) for one in lines]


def _us(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1e6)


def _spoken(delays_s: list[float]) -> str:
    if not delays_s:
        return ""
    middle = median(delays_s)
    for size, unit in ((86_400.0, "d"), (3_600.0, "h"), (60.0, "min")):
        if abs(middle) >= size:
            return f"{middle / size:.1f} {unit}"
    return f"{middle:.0f} s"
