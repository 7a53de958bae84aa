"""The filter."""

from __future__ import annotations

from analytics.advice.shapes import PRESSURE, Advice, Step

ADVICE: tuple[Advice, ...] = (
    Advice(
        "clogged_filter",
        None,
        "filter",
        "The filter wants flushing",
        "Less water gets through it than when it was clean. The pump runs longer for the same water.",
        (
            Step("Open the flush valve at the bottom for half a minute, until it runs clear."),
            Step("Watch the next runs. If delivery is back, that was all."),
            Step("Not back: pump off, shut the valves on both sides, and let the pressure out.", PRESSURE),
            Step("Take out the screen. Brush it under water; soak scale in vinegar. Renew a torn one."),
            Step(
                "Grease the ring, close it hand-tight, open the inlet valve slowly and look for drips.",
                PRESSURE,
            ),
            Step("Clogs again in days: sediment comes from storage. Look at its inlet screen and floor."),
        ),
        "Delivery in the next ten runs, or the drop across the filter, is back at its clean value.",
        "A gauge on each side of the filter tells filter from pump: a drop that grew is the filter.",
    ),
)
