"""What comes and goes: one fault, or one habit of the plant's, and one finding.

Told of runs, a fault comes back some time after it went. When it goes again it is not over until it has
stayed away for AWAY times the longest of these gaps (of what comes at random with such a mean gap one in
seven stays away so long for nothing); until then it is gone for now, and comes again as the same finding.

What shows while a run lasts comes with the garden's hours, every second day or on one of the week. Less
delivery, a moved switch, short cycles or a leak that have gone for more than a day were put right, and what
comes then is another fault, as a filter clogs again that was flushed.
"""

from __future__ import annotations

import msgspec

from analytics.instants import DAY_US
from analytics.records import Finding

AWAY = 2.0
GAPS_US: dict[str, int] = {
    **dict.fromkeys(
        ("lost_prime", "dry_supply", "burst_line", "blocked_discharge", "overpressure", "motor_overload"),
        8 * DAY_US,
    ),
    **dict.fromkeys(("short_cycling", "switch_drift", "clogged_filter", "pump_wear", "supply_leak"), DAY_US),
}
IT_HAS_GONE = "It has gone for now, as it did before."


class Habit(msgspec.Struct):
    """How a fault came and went: when it last went, and the longest it stayed away [us]; the finding that has
    gone for now, and when that is over if it does not come again."""

    fault: str
    went_us: int = 0
    gap_us: int = 0
    finding: Finding | None = None
    until_us: int = 0

    def went(self, finding: Finding, at_us: int) -> bool:
        """Whether it has only gone for now."""
        self.went_us = at_us
        if not self.gap_us:
            return False
        self.finding, self.until_us = finding, at_us + int(AWAY * self.gap_us)
        return True

    def came_again(self, at_us: int) -> Finding | None:
        """The finding that had gone for now, if it did; notes how long it was away."""
        away_us, finding = at_us - self.went_us, self.finding
        self.gap_us = max(self.gap_us, away_us) if away_us < GAPS_US[self.fault] else 0
        self.finding = None
        return finding

    def over(self, at_us: int) -> list[Finding]:
        """The finding, if it has stayed away for long enough."""
        if self.finding is None or self.until_us > at_us:
            return []
        finding, self.finding, self.gap_us = self.finding, None, 0
        return [finding]
