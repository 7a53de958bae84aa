"""The last digit of the line's gauge, and what a look whose words all say the same does not know for it.

A tank that fills slowly, before a gauge of few digits, stands for minutes at one word: by that look alone
nothing flows, to any number of decimals. Flows below a digit in its window are not seen.

    error = HALF digit / window * compliance

A run that has not left the word it began at has stood so for all its length.

Parameters: HALF of a digit: two errors are the whole of it. A slope of less than ROUNDING of that is a
float's. A gauge that stands so still says two words in some beats, and the closest of them lie a digit apart.

Source: none; arithmetic.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from msgspec import structs

if TYPE_CHECKING:
    from analytics.seeing.beats import Span
    from analytics.seeing.events import Look
    from analytics.seeing.water import Water

HALF = 0.5
ROUNDING = 1e-6


class Digit(msgspec.Struct):
    """Plain data: the least by which the gauge's words ever lay apart in a beat [Pa]; 0 while unknown."""

    pa: float = 0.0

    def hear(self, span: Span | None) -> None:
        apart_pa = span.high - span.low if span is not None else 0.0
        if apart_pa > 0.0 and (apart_pa < self.pa or not self.pa):
            self.pa = apart_pa


def with_digit(look: Look, digit: Digit, water: Water) -> Look:
    """The look, with the error of its slope where all its words were one."""
    slope, known = look.slope_m3_s, look.slope_error_m3_s
    if slope is None or known is None or not digit.pa or look.pressure_pa is None or look.window_s <= 0.0:
        return look
    half_pa = HALF * digit.pa
    error = half_pa / _stood_s(look, half_pa) * water.compliance_m3_pa(look.pressure_pa)
    if max(abs(slope), known) > ROUNDING * error:
        return look
    return structs.replace(look, slope_error_m3_s=error, noise_pa=max(look.noise_pa or 0.0, half_pa))


def _stood_s(look: Look, half_pa: float) -> float:
    """How long the gauge has said the same at least."""
    now_pa, start_pa, high_pa = look.pressure_pa, look.pressure_start_pa, look.pressure_high_pa
    if now_pa is None or start_pa is None or high_pa is None or not look.entire:
        return look.window_s
    left = max(high_pa, start_pa) - min(now_pa, start_pa) > half_pa
    return look.window_s if left else max(look.age_s, look.window_s)
