"""Findings against truths: what was told in time, with which cause, and what was told for nothing."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from tests.examiner.truth import CORE, FOLLOWS

Finding = dict[str, Any]
# A finding may come a little after the fault went: what it rests on was read before.
GRACE_S = 1800.0


@dataclass
class Line:
    """One verdict: hit, late, miss, extra (a true one not asked for), consequence, repeat or false."""

    verdict: str
    fault: str
    cause: str  # right, wrong, or nothing where it is not asked
    text: str


@dataclass
class Score:
    """Verdicts of one case or of many."""

    lines: list[Line] = field(default_factory=list)

    def count(self, *verdicts: str, faults: tuple[str, ...] | None = None, core: bool | None = None) -> int:
        """How many lines have one of these verdicts."""
        return sum(
            line.verdict in verdicts
            and (faults is None or line.fault in faults)
            and (core is None or (line.fault in CORE) == core)
            for line in self.lines
        )

    def totals(self) -> str:
        """The figures the issue names."""
        parts = []
        for name, core in (("core", True), ("others", False)):
            got, all_ = self.count("hit", core=core), self.count("hit", "late", "miss", core=core)
            parts.append(f"{name} {got}/{all_}")
        right = sum(line.cause == "right" for line in self.lines)
        asked = right + sum(line.cause == "wrong" for line in self.lines)
        good, bad = self.count("hit", "late", "extra"), self.count("false", "repeat")
        parts += [f"causes {right}/{asked}", f"true findings {good}/{good + bad}"]
        return ", ".join(parts)

    def by_fault(self) -> str:
        """In time of asked, fault by fault."""
        asked = sorted({x.fault for x in self.lines if x.verdict in ("hit", "late", "miss")})
        share = {
            f: (self.count("hit", faults=(f,)), self.count("hit", "late", "miss", faults=(f,))) for f in asked
        }
        return ", ".join(f"{f} {got}/{of}" for f, (got, of) in share.items())


def seconds(told: str, epoch: float) -> float:
    """An instant of a finding, from the start of the case."""
    return datetime.fromisoformat(told.replace("Z", "+00:00")).timestamp() - epoch


def _true(said: float, steps: list[tuple[float, float]]) -> float:
    """The true time of what a clock said that was set on the way."""
    for at, by in steps:
        if said >= at + max(by, 0.0):
            said -= by
    return said


def _day(s: float) -> str:
    return f"{s / 86400:.2f} d"


def _accepts(truth: dict[str, Any], finding: Finding) -> bool:
    if finding["fault"] != truth["fault"] and finding["fault"] not in truth["also"]:
        return False
    return truth["of"] is None or finding["of"] in (None, truth["of"])


def stands(finding: Finding, at: float, epoch: float) -> bool:
    """Whether it was raised before a time and not cleared by then: the same again would be a repeat."""
    if seconds(finding["raised"], epoch) > at:
        return False
    return finding["cleared"] is None or seconds(finding["cleared"], epoch) > at


def score(told: dict[str, Any], findings: list[Finding]) -> Score:
    """Compare the findings of one case with its truths."""
    result = Score()
    epoch = told["epoch"]
    steps = told.get("steps", [])
    taken: dict[int, list[tuple[float, Finding]]] = {}
    for f in findings:
        at = _true(seconds(f["raised"], epoch), steps)
        words = f"{f['fault']}/{f['cause']} of {f['of']} at {_day(at)}"
        near = [
            i for i, t in enumerate(told["truths"])
            if _accepts(t, f) and t["start_s"] - 60 <= at <= t["end_s"] + GRACE_S
        ]  # fmt: skip
        if near:
            fresh = [i for i in near if i not in taken]
            if fresh:
                taken[fresh[0]] = [(at, f)]
            else:
                result.lines.append(Line("repeat", f["fault"], "", words))
                taken[near[0]].append((at, f))
            continue
        if any(
            m["fault"] == f["fault"] and f["of"] in (None, m["of"]) and m["start_s"] <= at <= m["end_s"]
            for m in told["possible"]
        ):
            result.lines.append(Line("extra", f["fault"], "", words))
        elif any(
            f["fault"] in FOLLOWS.get(t["fault"], ()) and t["start_s"] <= at <= t["end_s"] + GRACE_S
            for t in told["truths"]
        ):
            result.lines.append(Line("consequence", f["fault"], "", words))
        elif told["wrong"] and f["fault"] in ("switch_drift", "short_cycling"):
            result.lines.append(
                Line("extra", f["fault"], "", f"{words} ({told['wrong']} on the plate is wrong)")
            )
        else:
            result.lines.append(Line("false", f["fault"], "", words))
    for i, t in enumerate(told["truths"]):
        words = f"{t['fault']} {t['note']} from {_day(t['start_s'])}"
        if i not in taken:
            spent = [f for hits in taken.values() for _, f in hits]
            if any(_accepts(t, f) and stands(f, t["start_s"], epoch) and f not in spent for f in findings):
                continue
            if t["required"]:
                result.lines.append(
                    Line(
                        "miss",
                        t["fault"],
                        "",
                        f"{words}, symptom {_day(t['symptom_s'])}, due {_day(t['deadline_s'])}",
                    )
                )
            continue
        at, f = taken[i][0]
        cause = ""
        if t["causes"] and f["fault"] == t["fault"]:
            cause = "right" if f["cause"] in t["causes"] else "wrong"
        verdict = ("hit" if at <= t["deadline_s"] else "late") if t["required"] else "extra"
        late = f", {at - t['symptom_s']:.0f} s after the symptom (due {t['deadline_s'] - t['symptom_s']:.0f})"
        shown = f", said {f['cause']} for {t['causes']}" if cause == "wrong" else ""
        result.lines.append(Line(verdict, t["fault"], cause, words + late + shown))
    return result
