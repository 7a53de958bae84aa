"""The line to house and garden: leaks, bursts, frost, salt."""

from __future__ import annotations

from analytics.advice.shapes import CROSS, DIG, MAINS, PRESSURE, THAW, Advice, Step

_TWO_WAYS = (
    "Shut the valve after the tank for twenty minutes, with the pump at rest. Pressure holds: the leak is "
    "downstream. It falls: the check valve or a fitting before the valve."
)

ADVICE: tuple[Advice, ...] = (
    Advice(
        "supply_leak",
        None,
        "line",
        "Water leaves the line when nobody draws",
        "Through the quiet hours the pressure never quite holds. Something drips, seeps or runs back.",
        (
            Step("Look at toilets, taps, trough floats and drip lines first. They are the usual leak."),
            Step("Shut the valve after the tank for twenty minutes and watch the gauge, pump at rest."),
            Step("It holds: downstream. Shut branch after branch to find which one."),
            Step("It falls: the check valve, or a fitting between pump and valve.", PRESSURE),
        ),
        "On two nights running, the pressure holds with nobody drawing.",
        _TWO_WAYS,
    ),
    Advice(
        "supply_leak",
        "downstream",
        "line",
        "The line after the tank leaks",
        "Water is lost in house, garden or the buried pipe between.",
        (
            Step("Look at toilets, taps, trough floats and drip lines first."),
            Step(
                "Shut branch after branch at night, an hour each. The one that stops the loss has the leak."
            ),
            Step("Walk the buried line: wet or greener ground, a hollow, a hiss on a metal rod."),
            Step("Dig at the wettest spot, uphill end first.", DIG),
            Step("Cut out the bad piece and put in a coupling made for that pipe.", PRESSURE),
        ),
        "On two nights running, the pressure holds with nobody drawing.",
        _TWO_WAYS,
    ),
    Advice(
        "supply_leak",
        "check_valve",
        "pump",
        "Water runs back through the check valve",
        "At rest the tank drains slowly back to storage. In time the pump will lose its prime too.",
        (
            Step("Shut the valve after the tank and watch: the pressure still falls."),
            Step(
                "Pump off, pressure out. Open the check valve: grit on the seat is the usual cause.", PRESSURE
            ),
            Step("Clean it, or renew it with one that has a spring. Mind the arrow."),
            Step(
                "Prime the pump before you start it. Switch on, and watch a run and the rest after it.", MAINS
            ),
        ),
        "At rest with the valve after the tank shut, the pressure holds for an hour.",
        _TWO_WAYS,
    ),
    Advice(
        "burst_line",
        None,
        "line",
        "A pipe has burst",
        "The pump runs on, much water flows and the pressure does not come back. It empties the storage.",
        (
            Step("Switch the pump off at its breaker now.", MAINS),
            Step("Shut the valve at the storage and the valve after the tank."),
            Step("Is it only a hose or a hydrant left open? Look before you dig."),
            Step(
                "Walk the line: standing water, washed earth, a wet wall. Keep off ground that gives way.",
            ),
            Step("Dig it free.", DIG),
            Step("Cut out the bad piece and put in a coupling made for that pipe.", PRESSURE),
            Step("Open the valve slowly and let the air out at the far tap, then look for drips."),
        ),
        "The next run reaches cut-out in its usual time, and the pressure holds after it.",
        "Shut the valve after the tank and let the pump run one minute. Pressure recovers: the break is "
        "beyond "
        "the valve. It does not: between pump and valve, or the pump itself.",
    ),
    Advice(
        "freeze_risk",
        None,
        "line",
        "Frost is near the bare pipe",
        "The air beside the most exposed pipe is at or near freezing. Ice splits pipe, pump and filter bowl.",
        (
            Step(
                "Let the farthest tap trickle overnight if storage allows, or drain the bare stretch.",
                PRESSURE,
            ),
            Step("Shut the pump house; close its vents for the night."),
            Step("Cover bare pipe, filter and gauge with lagging or old blankets, dry."),
            Step("Warm it only with what is made for that.", THAW),
            Step("A pump left off in frost: drain it by its plug.", MAINS),
        ),
        "The temperature is back above the warning, and the next run moves water as before.",
    ),
    Advice(
        "salinity_high",
        None,
        "line",
        "The supply is too salty for the crop",
        "There is more salt in the water than the plants stand for long; more well in the mix than the "
        "rain can thin.",
        (
            Step("Check the sensor in clean rain water: it should read near nothing. Rinse it."),
            Step(
                "Turn the mixing valve towards rain, a little at a time, and wait for the reading to settle.",
                CROSS,
            ),
            Step("Do not water leaves with it; wet the ground, in the evening."),
            Step("After a salty spell, water the beds deeply once with rain to wash salt below the roots."),
            Step(
                "Where much depends on it, send water and soil to a laboratory. This reading is no "
                "substitute."
            ),
        ),
        "The supply's conductivity stays below the limit for a day.",
    ),
)
