"""A finding as one line of JSON: the contract's third format, keys in the contract's order.

Priority and summary are those with which it was raised: of what a line says, later readings may change
`cleared`, `confidence`, `cause` and `evidence` alone.
"""

from __future__ import annotations

import json
from math import isfinite
from typing import TYPE_CHECKING

from analytics.instants import rfc3339

if TYPE_CHECKING:
    from analytics.records import Finding

VERSION = 1


def finding_line(finding: Finding) -> str:
    """One line, without its newline. Evidence that is no finite number has no form in JSON and is left out.

    Six figures are more than any sensor gives, and keep noise of the last bit out of comparisons.
    """
    evidence = {name: _rounded(number) for name, number in finding.evidence.items() if isfinite(number)}
    return json.dumps(
        {
            "version": VERSION,
            "fault": finding.fault,
            "cause": finding.cause,
            "of": finding.of,
            "priority": finding.raised_priority or finding.priority,
            "onset": rfc3339(finding.onset_us),
            "raised": rfc3339(finding.raised_us),
            "cleared": None if finding.cleared_us is None else rfc3339(finding.cleared_us),
            "confidence": round(float(finding.confidence), 3),
            "summary": finding.summary if finding.raised_summary is None else finding.raised_summary,
            "evidence": evidence,
        },
        ensure_ascii=False,
        allow_nan=False,
    )


def _rounded(number: float) -> float:
    return float(f"{number:.6g}")
