"""A chart as a picture that needs no script: what a page shows at once, and Plotly takes over when touched.

It is drawn of the very figure that Plotly would be given, so both hold the same numbers. Lines and areas
lie in a box of SIDE by SIDE that the page stretches; words stand beside it as text of the page, placed
in per cent, so that they keep their size and obey the reader's. Colours go out by their role in the
`Look`, for the style sheet to fill in: one picture for light, dark and full sun.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboard.drawing import figures, water
from dashboard.drawing.scale import Scale, clock_ticks, number, ticks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Points = tuple[NDArray[np.float64], NDArray[np.float64]]

SIDE = 1000.0
#: Room below and above what is drawn, as shares of it; at the head stand the findings.
FOOT, HEAD = 0.05, 0.1
_ROLES = {getattr(look, one.name): one.name for look in (figures.LIGHT, figures.DARK) for one in fields(look)}


@dataclass(frozen=True, slots=True)
class Path:
    """One stroke or area. `role` is a name of `Look`, `kind` how it is drawn."""

    kind: str  # "line", "dash", "dot", "dots" or "area"
    role: str
    d: str
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class Word:
    """Text at (left, top) in per cent of the box; `across` and `down` say which of its points is there."""

    text: str
    left: float
    top: float
    role: str = "quiet"
    across: str = "left"
    down: str = "top"


@dataclass(frozen=True, slots=True)
class Still:
    paths: tuple[Path, ...]
    words: tuple[Word, ...]  # in the box: units, marks, findings
    beside: tuple[tuple[str, float], ...]  # (tick, from the top in per cent)
    below: tuple[tuple[str, float], ...]  # (tick, from the left in per cent)
    height: int

    @property
    def widest(self) -> int:
        """Letters of the longest word beside the box."""
        return max((len(text) for text, _ in self.beside), default=1)


def html(figure: figures.Figure) -> str:
    """The picture as a piece of the page."""
    return water.partial("still.html", still=still(figure), side=SIDE)


def still(figure: figures.Figure) -> Still:
    """The picture of a figure made by `figures`."""
    traces, layout = figure["data"], figure["layout"]
    xs = [_numbers(one["x"]) for one in traces]
    ys = [np.array(one["y"], np.float64) for one in traces]
    dated = (
        any(len(one["x"]) and isinstance(one["x"][0], str) for one in traces) or "range" in layout["xaxis"]
    )
    span = _span(layout["xaxis"], xs)
    low, high = limits(figure)
    levels = [one for one in ticks(low, high, 6) if low <= one <= high] if traces else []
    x = Scale.between(span, 0.0, SIDE)
    y = Scale.between((low, high), SIDE, 0.0)
    paths = [Path("line", "rule", f"M0 {y(level):.1f}H{SIDE:.0f}") for level in levels]
    for k, one in enumerate(traces):
        if one.get("fill") and len(xs[k]):
            paths += _areas(one, [*zip(xs, ys, strict=True)][max(0, k - 1) : k + 1], x, y)
        paths += _trace(one, xs[k], ys[k], x, y)
    paths += [path for shape in layout["shapes"] for path in _shape(shape, x, y)]
    words = tuple(_word(one, x, y) for one in layout["annotations"] if one["text"])
    beside = tuple((number(level, levels), y(level) * 100 / SIDE) for level in levels)
    below = _below(layout, span, x, dated=dated)
    return Still(tuple(paths), words, beside, below, layout["height"])


def limits(figure: figures.Figure) -> tuple[float, float]:
    """The two ends of the upright axis: all values and the marks across, and some room about them."""
    layout = figure["layout"]
    axis = layout["yaxis"]
    if "range" in axis:
        return float(axis["range"][0]), float(axis["range"][1])
    ys = [np.array(one["y"], np.float64) for one in figure["data"]]
    found = [float(v) for one in ys if np.isfinite(one).any() for v in (np.nanmin(one), np.nanmax(one))]
    found += [float(one["y0"]) for one in layout["shapes"] if one.get("yref") != "paper"]
    grounded = axis.get("rangemode") == "tozero"
    low, high = min([*found, 0.0] if grounded else found, default=0.0), max(found, default=1.0)
    room = (high - low) or abs(high) or 1.0
    return (0.0 if grounded and low == 0 else low - FOOT * room), high + HEAD * room


def _numbers(values: Sequence[Any]) -> NDArray[np.float64]:
    """Places along the axis: milliseconds of the wall clock where they are times."""
    if len(values) and isinstance(values[0], str):
        return np.array(values, "datetime64[ms]").astype(np.int64).astype(np.float64)
    return np.array(values, np.float64)


def _span(axis: dict[str, Any], xs: list[NDArray[np.float64]]) -> tuple[float, float]:
    if "range" in axis:
        begin, end = _numbers(axis["range"])
        return float(begin), float(end)
    there = [one for one in xs if len(one)]
    if not there:
        return 0.0, 1.0
    return float(min(one.min() for one in there)), float(max(one.max() for one in there))


def _outline(xs: NDArray[np.float64], ys: NDArray[np.float64], x: Scale, y: Scale) -> list[str]:
    return [f"{x(a):.1f} {y(b):.1f}" for a, b in zip(xs.tolist(), ys.tolist(), strict=True) if np.isfinite(b)]


def _areas(one: dict[str, Any], two: list[Points], x: Scale, y: Scale) -> list[Path]:
    """Between a trace and the one before it, or down to zero; a gap in a band stays open."""
    (xs, ys), role = two[-1], _role(one["fillcolor"])
    if one["fill"] == "tozeroy":
        found = []
        for part in _whole(ys):
            own = _outline(xs[part], ys[part], x, y)
            foot = f"L{x(xs[part][-1]):.1f} {y(0.0):.1f}L{x(xs[part][0]):.1f} {y(0.0):.1f}Z"
            found.append(Path("area", role, f"M{'L'.join(own)}{foot}"))
        return found
    assert one["fill"] == "tonexty", one["fill"]
    if len(two) < 2:
        return []
    bx, by = two[0]
    parts = _whole(ys) if len(by) == len(ys) else [slice(None)]
    rims = [[*_outline(xs[p], ys[p], x, y), *reversed(_outline(bx[p], by[p], x, y))] for p in parts]
    return [Path("area", role, f"M{'L'.join(rim)}Z") for rim in rims]


def _trace(
    one: dict[str, Any], xs: NDArray[np.float64], ys: NDArray[np.float64], x: Scale, y: Scale
) -> list[Path]:
    opacity = float(one.get("opacity", 1.0))
    if one.get("mode") == "markers":
        marker = one["marker"]
        dots = "".join(f"M{at}h0" for at in _outline(xs, ys, x, y))
        return [Path("dots", _role(marker["color"]), dots, marker.get("opacity", 1.0))]
    pen = one["line"]
    if not pen["width"] or not (parts := _whole(ys)):
        return []
    kind = "dash" if pen.get("dash") else "line"
    d = "".join(_stroke(xs[part], ys[part], x, y, pen.get("shape", "linear")) for part in parts)
    return [Path(kind, _role(pen["color"]), d, opacity)]


def _whole(ys: NDArray[np.float64]) -> list[slice]:
    """Stretches without a gap."""
    good = np.concatenate(([0], np.isfinite(ys).astype(int), [0]))
    edges = np.flatnonzero(np.diff(good))
    return [slice(a, b) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)]


def _stroke(xs: NDArray[np.float64], ys: NDArray[np.float64], x: Scale, y: Scale, shape: str) -> str:
    """A line through points; in steps where the shape says so ("hv": a value holds until the next)."""
    at = [(f"{x(a):.1f}", f"{y(b):.1f}") for a, b in zip(xs.tolist(), ys.tolist(), strict=True)]
    if shape == "linear":
        return "M" + "L".join(f"{a} {b}" for a, b in at) + "h0"
    if shape == "hvh":
        turns = [f"{x((a + b) / 2):.1f}" for a, b in zip(xs[:-1].tolist(), xs[1:].tolist(), strict=True)]
        steps = "".join(f"H{turn}V{b}" for turn, (_, b) in zip(turns, at[1:], strict=True))
        return f"M{at[0][0]} {at[0][1]}{steps}H{at[-1][0]}"
    return f"M{at[0][0]} {at[0][1]}" + "".join(f"H{a}V{b}" for a, b in at[1:])


def _shape(one: dict[str, Any], x: Scale, y: Scale) -> list[Path]:
    sides = [0.0, SIDE] if one.get("xref") == "paper" else [x(v) for v in _numbers([one["x0"], one["x1"]])]
    ends = (one["y0"], one["y1"])
    foot, head = [(1 - v) * SIDE if one.get("yref") == "paper" else y(v) for v in ends]
    if one["type"] == "rect":
        d = f"M{sides[0]:.1f} {head:.1f}H{sides[1]:.1f}V{foot:.1f}H{sides[0]:.1f}Z"
        return [Path("area", _role(one["fillcolor"]), d, one.get("opacity", 1.0))]
    kind = {"dot": "dot", "dash": "dash"}.get(one["line"].get("dash", ""), "line")
    return [Path(kind, _role(one["line"]["color"]), f"M{sides[0]:.1f} {foot:.1f}L{sides[1]:.1f} {head:.1f}")]


def _word(one: dict[str, Any], x: Scale, y: Scale) -> Word:
    left = one["x"] * SIDE if one.get("xref") == "paper" else x(float(_numbers([one["x"]])[0]))
    top = (1 - one["y"]) * SIDE if one.get("yref") == "paper" else y(float(one["y"]))
    return Word(
        one["text"],
        left * 100 / SIDE,
        top * 100 / SIDE,
        _role(one["font"]["color"]),
        one.get("xanchor", "left"),
        one.get("yanchor", "top"),
    )


def _below(
    layout: dict[str, Any], span: tuple[float, float], x: Scale, *, dated: bool
) -> tuple[tuple[str, float], ...]:
    if dated:
        return tuple((words, x(at) * 100 / SIDE) for at, words in clock_ticks(int(span[0]), int(span[1])))
    found = ticks(*span)
    suffix = layout["xaxis"].get("ticksuffix", "")
    inside = [one for one in found if span[0] <= one <= span[1]]
    return tuple((number(one, found) + suffix, x(one) * 100 / SIDE) for one in inside)


def _role(colour: str) -> str:
    return _ROLES[colour]
