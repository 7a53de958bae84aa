"""A finding's evidence as a drawing that needs no script: the trace, what was expected, and the moments.

The trace is water-blue; the stretch in which the fault stood lies under a warm wash, and each moment has
a dashed line and a word. Text is drawn in the picture's own units, so the picture is not stretched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboard.drawing.scale import Scale, number, ticks
from dashboard.telling import display

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dashboard.telling.evidence import Evidence

WIDTH, HEIGHT = 358.0, 230.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 6.0, 50.0, 24.0
#: A gap in the readings of more than so many of their usual steps is not bridged.
GAP_STEPS = 5
_ROW = 14.0  # from one line of those words to the next
_LETTER = 7.0  # about as wide as a letter of the words above the moments


@dataclass(frozen=True, slots=True)
class Label:
    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Drawing:
    """Paths as (class, d), the warm wash as (x, y, width, height), and texts as (class, label)."""

    paths: tuple[tuple[str, str], ...]
    wash: tuple[float, float, float, float]
    labels: tuple[tuple[str, Label], ...]
    title: str


def draw(shown: Evidence, timezone: str) -> Drawing:
    """The drawing of the rows; see the template evidence.html."""
    ends = [t for t, _ in shown.moments]
    span_us = (int(min(shown.time_us[0], *ends)), int(max(shown.time_us[-1], *ends)))
    levels = ticks(*_limits(shown))
    x, y = (
        Scale.between(span_us, LEFT, WIDTH - RIGHT),
        Scale.between((levels[0], levels[-1]), HEIGHT - BOTTOM, TOP),
    )
    paths = [("rule", f"M{LEFT:.0f} {y(tick):.1f}H{WIDTH - RIGHT:.0f}") for tick in levels]
    labels = [("tick", Label(LEFT - 5, y(tick) + 4, number(tick, levels), "end")) for tick in levels]
    paths += _trace(shown, x, y)
    for value, word in shown.marks:
        if levels[0] <= value <= levels[-1]:
            paths.append(("mark", f"M{LEFT:.0f} {y(value):.1f}H{WIDTH - RIGHT:.0f}"))
            labels.append(("word", Label(WIDTH - RIGHT, y(value) - 4, word, "end")))
    paths += [("moment", f"M{x(t):.1f} {TOP - 6:.0f}V{HEIGHT - BOTTOM:.0f}") for t, _ in shown.moments]
    labels += _words_above([(x(t), word) for t, word in shown.moments])
    labels += _days(span_us, timezone)
    last = shown.moments[-1][0] if shown.moments[-1][1] == "over" else span_us[1]
    began = x(shown.moments[0][0])
    wash = (began, TOP, max(x(last) - began, 2.0), HEIGHT - BOTTOM - TOP)
    return Drawing(tuple(paths), wash, tuple(labels), _title(shown))


def _words_above(moments: list[tuple[float, str]]) -> list[tuple[str, Label]]:
    """A word over each moment; one that would run into another stands a row higher."""
    edges = [-math.inf] * 3
    labels = []
    for at, word in moments:
        width = len(word) * _LETTER
        start = min(max(at - width / 2, 0.0), WIDTH - width)
        row = next((n for n, edge in enumerate(edges) if start > edge), len(edges) - 1)
        edges[row] = start + width + _LETTER / 2
        labels.append(("moment", Label(start, TOP - 11 - _ROW * row, word)))
    return labels


def _title(shown: Evidence) -> str:
    return f"{shown.title}, {shown.unit}" if shown.unit else shown.title


def _limits(shown: Evidence) -> tuple[float, float]:
    values = [float(shown.low.min()), float(shown.high.max()), *(value for value, _ in shown.marks)]
    low, high = min(values), max(values)
    return (min(low, 0.0), high) if shown.dots else (low, high)


def _trace(shown: Evidence, x: Scale, y: Scale) -> list[tuple[str, str]]:
    at = [x(int(t)) for t in shown.time_us]
    if shown.dots:
        return [("dots", "".join(f"M{a:.1f} {y(v):.1f}h0" for a, v in zip(at, shown.mean, strict=True)))]
    paths = []
    for part in _unbroken(shown.time_us):
        upper = [f"{a:.1f} {y(v):.1f}" for a, v in zip(at[part], shown.high[part], strict=True)]
        lower = [f"{a:.1f} {y(v):.1f}" for a, v in zip(at[part], shown.low[part], strict=True)]
        middle = [f"{a:.1f} {y(v):.1f}" for a, v in zip(at[part], shown.mean[part], strict=True)]
        paths.append(("band", f"M{'L'.join([*upper, *reversed(lower)])}Z"))
        paths.append(("trace", f"M{'L'.join(middle)}h0"))
    return paths


def _unbroken(time_us: NDArray[np.int64]) -> list[slice]:
    """Stretches without a long gap in them."""
    steps = np.diff(time_us)
    usual = float(np.median(steps)) if len(steps) else 0.0
    cuts = (np.flatnonzero(steps > GAP_STEPS * usual) + 1).tolist()
    return [slice(a, b) for a, b in zip([0, *cuts], [*cuts, len(time_us)], strict=True)]


def _days(span_us: tuple[int, int], timezone: str) -> list[tuple[str, Label]]:
    """The two ends in the owner's clock."""
    first, last = (display.local(t, timezone) for t in span_us)
    days = (last.date() - first.date()).days
    style = "%H:%M" if days == 0 else "%a %H:%M" if days < 6 else "%d %b"
    y = HEIGHT - 7
    return [
        ("tick", Label(LEFT, y, f"{first:{style}}")),
        ("tick", Label(WIDTH - RIGHT, y, f"{last:{style}}", "end")),
    ]
