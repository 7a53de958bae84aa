"""What an owner would want to hear of though nobody planned it: frost, overflow, a storage run dry."""

from __future__ import annotations

#: An exposed pipe is in danger from here down: frost, allowing for a sensor a little off (common
#: practice, no source).
NEAR_FREEZING_C = 2.0
_SAME_SPAN_S = 12 * 3_600.0  # what comes back within the night is still the same


class Troubles:
    """Spans of time [s], by kind: "freeze_risk", "storage_overflow", "empty", "dry_supply"."""

    def __init__(self) -> None:
        self.spans: dict[str, list[list[float]]] = {}

    def note(self, what: str, began_s: float, now_s: float) -> None:
        """Lengthen the last span of a kind, or begin one where it ended hours ago."""
        spans = self.spans.setdefault(what, [])
        if spans and began_s - spans[-1][1] < _SAME_SPAN_S:
            spans[-1][1] = now_s
        else:
            spans.append([began_s, now_s])

    def look(
        self, span_s: tuple[float, float], air_c: float, spilled: bool, dry: bool, running: bool
    ) -> None:
        """Note what held during one step."""
        if air_c <= NEAR_FREEZING_C:
            self.note("freeze_risk", *span_s)
        if spilled:
            self.note("storage_overflow", *span_s)
        if dry:
            self.note("empty", *span_s)
            if running:
                self.note("dry_supply", *span_s)
