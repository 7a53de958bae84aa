"""After a repair: has the plant's signature come back? What the logbook then says. Pure.

A finding is cleared only by its detector's own test, on readings: the signature's return is that. So a
repair is proved when its finding is over. Where it still stands after as many runs, or as long, as its
detector can need to see a mended plant, the repair is said not to have helped yet; and where it comes
back within the week after it was over, that is said too.

RUNS 20: the detectors of a run's figures judge by the newest 12 runs (analytics.judging.signature), and
some of those are taken while a tap is open; 20 give them every chance. A fault that stops water from
moving at all shows in the first run that does: 2. LONGEST two days: leaks and stores are judged over
quiet nights, and the first night after the repair may not be one. Common practice, no source.
BACK within 7 days: a week has each kind of day in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Literal

from analytics.alarms.rationale import ALARMS
from analytics.instants import DAY_US, HOUR_US

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.records import Cycle, Finding

LONGEST_US = 2 * DAY_US
BACK_US = 7 * DAY_US
RUNS = {"in a run": 2, "by runs": 20}
#: A run that was under way when the entry was written may still show the fault.
GRACE_US = 60_000_000


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is to be said of a repair, and whether watching goes on (for its return)."""

    outcome: Literal["proved", "not yet", "came back", "held"]
    words: str
    figures: dict[str, float]
    goes_on: bool


def judge(
    repaired_us: int, finding: Finding, later: Sequence[Finding], runs: Sequence[Cycle], now_us: int,
    said: Sequence[str],
) -> Verdict | None:  # fmt: skip
    """A verdict that is due, or None while it is not.

    finding  the one that the repair is about, as it is now
    later    findings of the same fault and object that were raised after it
    runs     runs that began after the repair, oldest first
    said     outcomes told before of this repair
    """
    over_us = finding.cleared_us
    again = [one for one in later if one.raised_us > repaired_us and one.onset_us > (over_us or now_us)]
    if again and "proved" in said:
        since = again[0].raised_us - repaired_us
        words = f"It has come back: called again {_span(since)} after the repair."
        return Verdict("came back", words, {"after_s": since / 1e6}, False)
    if over_us is not None and "proved" not in said:
        return _proved(repaired_us, over_us, runs)
    if over_us is not None:
        if now_us - repaired_us < BACK_US:
            return None
        return Verdict("held", "A week on, it has not come back.", {}, False)
    if "not yet" in said or not _chance(finding.fault, repaired_us, runs, now_us):
        return None
    figures = {"runs": float(len(runs)), **_compared(finding, runs)}
    told = f"after {len(runs)} runs" if runs else f"after {_span(now_us - repaired_us)}"
    words = f"Not mended yet: {told} the readings still show it. Watching goes on."
    return Verdict("not yet", words, figures, True)


def _proved(repaired_us: int, over_us: int, runs: Sequence[Cycle]) -> Verdict:
    before = [run for run in runs if run.start_us <= over_us]
    if over_us < repaired_us:
        words = "It was over before this entry; the readings are as they should be."
        return Verdict("proved", words, {}, True)
    after = _span(over_us - repaired_us)
    counted = f", {len(before)} run{'' if len(before) == 1 else 's'} on" if before else ""
    words = f"It worked: {after} after the repair{counted}, the readings are as they should be."
    return Verdict(
        "proved", words, {"after_s": (over_us - repaired_us) / 1e6, "runs": float(len(before))}, True
    )


def _chance(fault: str, repaired_us: int, runs: Sequence[Cycle], now_us: int) -> bool:
    """Whether a mended plant would have shown itself by now."""
    if now_us - repaired_us >= LONGEST_US:
        return True
    wanted = RUNS.get(ALARMS[fault].judged) if fault in ALARMS else None
    done = [run for run in runs if run.start_us > repaired_us + GRACE_US]
    return wanted is not None and len(done) >= wanted


def _compared(finding: Finding, runs: Sequence[Cycle]) -> dict[str, float]:
    """Median of each figure of the runs since, beside what the finding expected of it."""
    found: dict[str, float] = {}
    for name, value in finding.evidence.items():
        figure = name.removeprefix("expected_")
        values = [v for run in runs if (v := getattr(run, figure, None)) is not None]
        if figure != name and values:
            found |= {name: value, figure: float(median(values))}
    return found


def _span(us: int) -> str:
    """The largest unit that leaves a number of two or more."""
    for size, name in ((DAY_US, "days"), (HOUR_US, "hours"), (60_000_000, "minutes")):
        if us >= 2 * size:
            return f"{us / size:.0f} {name}"
    return f"{max(us, 0) / 1e6:.0f} seconds"
