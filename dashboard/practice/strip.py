"""The long trace under the scrub bar: what one figure did over the whole exercise, with its healthy twin.

SVG path data in a box of WIDTH by HEIGHT, stretched to the screen; the scale's ends stand beside it
as text. A band from lowest to highest where a trace is finer than the drawing; dots where each is a
run of the pump.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import MOTOR_MEASURES, Measure
from dashboard.telling import display

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.plant.description import Plant, Signal
    from analytics.records import Cycle
    from collector.store.shapes import Bands
    from dashboard.practice.lessons import Look

WIDTH, HEIGHT = 320.0, 84.0
STEPS = 160

#: What may be looked at: its name, and what the plant must measure for it.
LOOKS: dict[Look, tuple[str, tuple[Measure, ...]]] = {
    "pressure": ("Pressure", (Measure.LINE_PRESSURE,)),
    "motor": ("Motor", MOTOR_MEASURES),
    "run": ("Run time", ()),
    "delivery": ("Delivery", ()),
    "level": ("Storage", (Measure.STORAGE_LEVEL,)),
    "air": ("Air", (Measure.AIR_TEMPERATURE,)),
    "salt": ("Salt", (Measure.SUPPLY_CONDUCTIVITY,)),
}
_RUNS: dict[str, tuple[str, str]] = {
    "run": ("run_time_s", "seconds"),
    "delivery": ("delivery_mid_m3_s", "flow"),
}


@dataclass(frozen=True, slots=True)
class Strip:
    """Paths by CSS class, the scale's two ends and what is drawn, in words."""

    paths: tuple[tuple[str, str], ...]
    low: str
    high: str
    words: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """Values over time: x in microseconds, lowest and highest; `dots` where each is a run."""

    time_us: np.ndarray
    low: np.ndarray
    high: np.ndarray
    dots: bool = False


def looks(plant: Plant) -> list[tuple[str, str]]:
    """(key, name) of what this plant's sensors let one look at."""
    return [
        (key, name) for key, (name, measures) in LOOKS.items() if not measures or plant.measuring(*measures)
    ]


def signal_of(plant: Plant, look: Look) -> Signal | None:
    at = plant.measuring(*LOOKS[look][1]) if LOOKS[look][1] else ()
    return plant.signals[at[0]] if len(at) else None


def drawn(
    plant: Plant,
    look: Look,
    span_us: tuple[int, int],
    bands: Callable[[str, int, int, int], Bands],
    runs: Callable[[int, int], list[Cycle]],
) -> Drawn:
    """One figure over a span, SI, out of a history's answers."""
    if look in _RUNS:
        told = [
            (run.start_us, v) for run in runs(*span_us) if (v := getattr(run, _RUNS[look][0])) is not None
        ]
        values = np.array([v for _, v in told], dtype=float)
        return Drawn(np.array([t for t, _ in told], dtype=np.int64), values, values, dots=True)
    signal = signal_of(plant, look)
    if signal is None:
        return Drawn(np.empty(0, np.int64), np.empty(0), np.empty(0))
    found = bands(signal.name, *span_us, STEPS)
    good = np.isfinite(found.minimum)
    low, high = (signal.to_si(values[good]) for values in (found.minimum, found.maximum))
    return Drawn(found.time_us[good], low, high)


def scale(plant: Plant, look: Look, *several: Drawn) -> tuple[float, float]:
    """Lowest and highest of all that is to be drawn on one scale, with a little air."""
    values = [part for one in several for part in (one.low, one.high) if len(part)]
    low = min((float(np.min(part)) for part in values), default=0.0)
    high = max((float(np.quantile(part, 0.995)) for part in values), default=1.0)
    if look in _RUNS or look == "motor":
        return 0.0, 1.06 * high or 1.0
    if look == "pressure" and plant.switch is not None:
        low, high = min(low, plant.switch.cut_in_pa), max(high, plant.switch.cut_out_pa)
    air = 0.06 * ((high - low) or abs(high) or 1.0)
    return low - air, high + air


def strip(
    plant: Plant,
    look: Look,
    span_us: tuple[int, int],
    ends: tuple[float, float],
    mine: Drawn,
    twin: Drawn | None,
) -> Strip:
    """The drawing: the twin beneath, dashed, and the exercise upon it."""
    paths = []
    if twin is not None and len(twin.time_us):
        paths += _paths(twin, span_us, ends, "twin")
    paths += _paths(mine, span_us, ends, "mine")
    name = LOOKS[look][0]
    if not len(mine.time_us):
        return Strip(tuple(paths), "", "", f"{name}: nothing to draw yet.")
    words = f"{name} between {shown(plant, look, float(mine.low.min()))} and "
    words += f"{shown(plant, look, float(mine.high.max()))}"
    if twin is not None and len(twin.time_us):
        words += f"; the healthy twin between {shown(plant, look, float(twin.low.min()))} and "
        words += f"{shown(plant, look, float(twin.high.max()))}"
    return Strip(tuple(paths), shown(plant, look, ends[0]), shown(plant, look, ends[1]), f"{words}.")


def shown(plant: Plant, look: Look, value: float) -> str:
    """A value on the strip's scale, with its unit."""
    if look in _RUNS and _RUNS[look][1] == "seconds":
        return display.duration(max(value, 0.0))
    signal = signal_of(plant, look)
    kind = "flow" if signal is None else display.KIND[signal.measures]
    return str(display.show(value, kind, plant.display_units))


def _paths(
    one: Drawn, span_us: tuple[int, int], ends: tuple[float, float], role: str
) -> list[tuple[str, str]]:
    begin, end = span_us
    x = WIDTH * (one.time_us - begin) / (end - begin)
    y_low, y_high = (
        np.clip(HEIGHT * (1 - (part - ends[0]) / (ends[1] - ends[0])), 0.0, HEIGHT)
        for part in (one.low, one.high)
    )
    if one.dots:
        return [(f"dots {role}", "".join(f"M{a:.1f} {b:.1f}h0" for a, b in zip(x, y_low, strict=True)))]
    line = _line(x, 0.5 * (y_low + y_high))
    if np.max(y_low - y_high, initial=0.0) < 1.5:
        return [(f"line {role}", line)]
    back = "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x[::-1], y_low[::-1], strict=True))
    return [(f"band {role}", f"{_line(x, y_high)}L{back}Z")]


def _line(x: np.ndarray, y: np.ndarray) -> str:
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True)) if len(x) else ""
