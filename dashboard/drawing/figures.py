"""Rows to charts that are studied. Pure: arrays and records in, a Plotly figure as plain data out.

Times go out as the owner's wall clock without an offset, so that the phone's zone does not matter.
Colours stand on both light and dark paper; `look` tells which.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboard.telling import display

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.records import Cycle, Finding

Figure = dict[str, Any]
#: Words of findings that stand close together stand below each other, in so many rows; a letter takes
#: about this share of a phone's chart.
_ROWS, _LETTER = 4, 0.025
CONFIG = {
    "displayModeBar": False,
    "showSendToCloud": False,
    "displaylogo": False,
    "responsive": True,
    "scrollZoom": False,
}


@dataclass(frozen=True, slots=True)
class Look:
    ink: str
    quiet: str
    rule: str
    water: str
    band: str
    warm: str
    paper: str


LIGHT = Look("#10222b", "#4b5d66", "#cfd8da", "#0b6690", "rgba(11,102,144,.22)", "#9c3700", "#f7f9f8")
DARK = Look("#e9f1f3", "#a3b5bc", "#283840", "#6cc0e8", "rgba(108,192,232,.26)", "#ffb072", "#0d171c")


def look_of(screen: dict[str, bool]) -> Look:
    return DARK if screen.get("dark") else LIGHT


def wall(time_us: NDArray[np.int64] | Sequence[int], timezone: str) -> list[str]:
    """The owner's wall clock, as Plotly reads it."""
    return [
        display.local(int(t), timezone).replace(tzinfo=None).isoformat(sep=" ", timespec="milliseconds")
        for t in time_us
    ]


def base(look: Look, *, unit: str = "", zoom: bool = False, height: int = 320) -> Figure:
    """An empty chart in our own dress."""
    axis = {
        "gridcolor": look.rule,
        "linecolor": look.rule,
        "zeroline": False,
        "tickfont": {"color": look.quiet, "size": 13},
        "fixedrange": not zoom,
        "automargin": True,
    }
    return {
        "data": [],
        "layout": {
            "template": None,
            "height": height,
            "margin": {"l": 44, "r": 10, "t": 26, "b": 34},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"family": "Hyperlegible, system-ui, sans-serif", "size": 14, "color": look.ink},
            "showlegend": False,
            "dragmode": "zoom" if zoom else False,
            "hovermode": "x unified" if zoom else "closest",
            "hoverlabel": {"bgcolor": look.paper, "font": {"color": look.ink}},
            "xaxis": {**axis, "showgrid": False, "nticks": 5},
            "yaxis": {**axis, "title": {"text": ""}, "fixedrange": True, "separatethousands": True},
            "annotations": [
                {
                    "text": unit,
                    "xref": "paper",
                    "yref": "paper",
                    "x": 0,
                    "y": 1.02,
                    "xanchor": "left",
                    "yanchor": "bottom",
                    "showarrow": False,
                    "font": {"color": look.quiet, "size": 13},
                }
            ],
            "shapes": [],
        },
    }


#: Dates on an axis as our own pictures and words have them, the day before the month. Spans in milliseconds.
_DATES = (
    {"dtickrange": [None, 59_999], "value": "%H:%M:%S\n%-d %b"},
    {"dtickrange": [60_000, 86_399_999], "value": "%H:%M\n%-d %b"},
    {"dtickrange": [86_400_000, "M1"], "value": "%-d %b\n%Y"},
    {"dtickrange": ["M1", None], "value": "%b\n%Y"},
)


def _dated(figure: Figure, x: list[str]) -> None:
    if x and isinstance(x[0], str):
        figure["layout"]["xaxis"]["tickformatstops"] = list(_DATES)


def band(
    figure: Figure, x: list[str], low: list[float], mean: list[float], high: list[float], look: Look
) -> None:
    """Minimum to maximum as a band, the mean as a line through it."""
    _dated(figure, x)
    clear = {"width": 0}
    figure["data"] += [
        {"type": "scatter", "x": x, "y": high, "mode": "lines", "line": clear, "hoverinfo": "skip"},
        {
            "type": "scatter",
            "x": x,
            "y": low,
            "mode": "lines",
            "line": clear,
            "fill": "tonexty",
            "fillcolor": look.band,
            "hoverinfo": "skip",
        },
        {
            "type": "scatter",
            "x": x,
            "y": mean,
            "mode": "lines",
            "name": "mean",
            "line": {"color": look.water, "width": 1.8},
            "connectgaps": False,
        },
    ]


def line(figure: Figure, x: list[str], y: list[float], look: Look, **more: Any) -> None:
    _dated(figure, x)
    figure["data"].append(
        {"type": "scatter", "x": x, "y": y, "mode": "lines", "line": {"color": look.water, "width": 1.8}}
        | more
    )


def level_mark(figure: Figure, y: float, text: str, look: Look) -> None:
    """A thin line across with its word at the right end."""
    layout = figure["layout"]
    layout["shapes"].append(
        {
            "type": "line",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": y,
            "y1": y,
            "line": {"color": look.quiet, "width": 1, "dash": "dot"},
        }
    )
    layout["annotations"].append(
        {
            "text": text,
            "xref": "paper",
            "x": 1,
            "y": y,
            "xanchor": "right",
            "yanchor": "bottom",
            "showarrow": False,
            "font": {"color": look.quiet, "size": 13},
        }
    )


def when(figure: Figure, at: str, text: str, look: Look, *, top: float = 1.0, before: bool = False) -> None:
    """An upright line at an instant with its word beside it: after it, or before it near the right end."""
    layout = figure["layout"]
    layout["shapes"].append(
        {
            "type": "line",
            "yref": "paper",
            "x0": at,
            "x1": at,
            "y0": 0,
            "y1": 1,
            "line": {"color": look.warm, "width": 1.6, "dash": "dash"},
        }
    )
    layout["annotations"].append(
        {
            "text": text,
            "x": at,
            "yref": "paper",
            "y": top,
            "xanchor": "right" if before else "left",
            "yanchor": "top",
            "xshift": -4 if before else 4,
            "showarrow": False,
            "bgcolor": look.paper,
            "font": {"color": look.warm, "size": 13},
        }
    )


def span(figure: Figure, begin: str, end: str, colour: str, *, low: float = 0.0, high: float = 1.0) -> None:
    """A stretch of time, tinted."""
    figure["layout"]["shapes"].append(
        {
            "type": "rect",
            "yref": "paper",
            "x0": begin,
            "x1": end,
            "y0": low,
            "y1": high,
            "fillcolor": colour,
            "opacity": 0.1,
            "line": {"width": 0},
            "layer": "below",
        }
    )


def finding_marks(
    figure: Figure, found: Sequence[Finding], window: Sequence[int], timezone: str, look: Look
) -> None:
    """Findings as a bar along the chart's head while they stood, named; a dashed line where one began."""
    from_us, to_us = window
    edges = [-1.0] * _ROWS
    for one in found:
        begin, end = wall([max(one.onset_us, from_us), min(one.cleared_us or to_us, to_us)], timezone)
        span(figure, begin, end, look.warm, low=0.97)
        figure["layout"]["shapes"][-1]["opacity"] = 0.9
        words = one.fault.replace("_", " ")
        at, wide = max(0.0, (one.onset_us - from_us) / (to_us - from_us)), len(words) * _LETTER
        before = at + wide > 1.0 and at > wide
        start = at - wide if before else at
        row = next((n for n, edge in enumerate(edges) if start > edge), _ROWS - 1)
        edges[row] = start + wide
        when(figure, begin, words, look, top=0.96 - 0.09 * row, before=before)
        if one.onset_us < from_us:
            figure["layout"]["shapes"].pop()  # it began before what is shown


def run_marks(figure: Figure, runs: Sequence[Cycle], timezone: str, look: Look) -> None:
    """Runs as strokes along the foot of the chart."""
    if not runs:
        return
    starts = wall([cycle.start_us for cycle in runs], timezone)
    stops = wall([cycle.stop_us for cycle in runs], timezone)
    for begin, end in zip(starts, stops, strict=True):
        span(figure, begin, end, look.water, high=0.035)
        figure["layout"]["shapes"][-1]["opacity"] = 0.8
