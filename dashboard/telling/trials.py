"""Guided tests in the owner's words and units: what is seen now, what the figures are, how sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.telling import display

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from analytics.trials.shapes import Estimate, Sighting

#: What a judged step sees while it goes on.
SEEN = {
    "unheard": "Waiting for readings.",
    "running": "The pump is running.",
    "low": "The pump rests, but the pressure stands low in its band.",
    "full": "At rest and full.",
    "standing": "The pressure stands still. Is the tap open?",
    "falling": "The pressure falls as water is drawn.",
    "settling": "Coming to rest.",
    "watching": "Watching the pressure.",
    "waiting": "Waiting for the pump to start.",
    "filling": "The pump is filling the tank.",
}
OVER = "That is enough: go on."
#: figure: (its name in words, kind of quantity)
FIGURES = {
    "air_charge_pa": ("Air charge", "pressure"),
    "draw_s": ("The draw took", "seconds"),
    "leak_m3_s": ("Water lost", "water a day"),
    "fall_pa_s": ("Fall of pressure, with the tank", "pressure an hour"),
    "pipe_fall_pa_s": ("Fall of pressure, pipe alone", "pressure an hour"),
    "delivery_m3_s": ("Delivery over the fill", "flow"),
    "delivery_cut_in_m3_s": ("Delivery near cut-in", "flow"),
    "fill_s": ("Time to fill the drawdown", "seconds"),
}
#: How long a draw took is how the test was done, not how the plant is.
UNTOLD = frozenset({"draw_s"})
STATION = {"air_charge": "tank", "leak_down": "line", "check_valve": "pump", "delivery": "pump"}


def seen_words(sighting: Sighting) -> str:
    return OVER if sighting.over else SEEN[sighting.seen]


def figures_words(figures: Mapping[str, Estimate], units: display.Units) -> list[tuple[str, str]]:
    """Name and value with its band, for each figure."""
    return [
        (FIGURES[name][0], _valued(one, FIGURES[name][1], units))
        for name, one in figures.items()
        if name in FIGURES and one.known
    ]


def figure_words(name: str, value: float, units: display.Units) -> str:
    """One figure without its band."""
    kind = FIGURES[name][1]
    return display.duration(value) if kind == "seconds" else SAY[kind](value, units)


def _valued(one: Estimate, kind: str, units: display.Units) -> str:
    if kind == "seconds":
        return display.duration(one.value)
    say = SAY[kind]
    if kind in ("water a day", "pressure an hour") and one.low <= 0.0:
        return f"nothing that shows; less than {say(max(one.high, 0.0), units)}"
    low, high = say(one.low, units), say(one.high, units)
    return f"{say(one.value, units)} (between {low.rsplit(' ', _words(kind))[0]} and {high})"


def _words(kind: str) -> int:
    """How many words of a value are its unit."""
    return 3 if kind in ("water a day", "pressure an hour") else 1


def _pressure(pa: float, units: display.Units) -> str:
    return str(display.show(pa, "pressure", units, 1))


def _flow(m3_s: float, units: display.Units) -> str:
    return str(display.show(m3_s, "flow", units, 0))


def _a_day(m3_s: float, units: display.Units) -> str:
    return f"{display.show(m3_s * 86_400.0, 'volume', units, 1)} a day"


def _an_hour(pa_s: float, units: display.Units) -> str:
    return f"{display.show(pa_s * 3600.0, 'pressure', units, 2)} an hour"


SAY: dict[str, Callable[[float, display.Units], str]] = {
    "water a day": _a_day,
    "pressure an hour": _an_hour,
    "pressure": _pressure,
    "flow": _flow,
}
