"""The pressure tank and its switch: short cycling and its causes."""

from __future__ import annotations

from analytics.advice.shapes import AIR, DIG, MAINS, PRESSURE, Advice, Step

_OFF = Step("Switch the pump off at its breaker.", MAINS)
_DRAIN = Step("Open a tap and let the water out until no more comes and the gauge reads zero.")
_READ_CHARGE = Step("Read the air at the tank's valve with a tyre gauge, the water side empty.", AIR)

_TRUE_RUNS = "Runs are back at the length that this tank gives, over the next five to ten of them."

ADVICE: tuple[Advice, ...] = (
    Advice(
        "short_cycling",
        None,
        "tank",
        "The pump starts too often",
        "Runs are shorter, or starts more frequent, than the motor stands for long. Each start heats it.",
        (
            Step(
                "See that nothing draws a little all the time: a dripping tap, a float valve, a drip line.",
            ),
            Step(
                "Watch one run on the gauge. Does it jump down when a tap opens? Then the air charge is "
                "wrong."
            ),
            _OFF,
            _DRAIN,
            _READ_CHARGE,
            Step("It should be about 2 psi (0.15 bar) below cut-in. Top it up with a hand pump.", AIR),
        ),
        _TRUE_RUNS,
        "Shut the valve after the tank and watch the gauge for ten minutes. It falls: water goes back "
        "through the "
        "check valve or out between. It holds: the charge, the switch, or a draw beyond the valve.",
    ),
    Advice(
        "short_cycling",
        "lost_air_charge",
        "tank",
        "The pressure tank has lost its air",
        "With little air the tank holds little water between cut-in and cut-out, so the pump starts "
        "again and again.",
        (
            _OFF,
            _DRAIN,
            _READ_CHARGE,
            Step("Pump in air to 2 psi (0.15 bar) below cut-in. Use a hand pump or a regulated one.", AIR),
            Step("Water at the air valve means the diaphragm has burst: renew the tank.", PRESSURE),
            Step(
                "Put soapy water on the air valve. Bubbles: renew its core. Then switch on and watch "
                "two runs."
            ),
        ),
        f"{_TRUE_RUNS} Drawdown too is back at what the plant file gives.",
    ),
    Advice(
        "short_cycling",
        "overcharged_tank",
        "tank",
        "The pressure tank holds too much air",
        "The air charge is above cut-in: the tank is empty before the pump starts, and pressure "
        "collapses at once.",
        (
            _OFF,
            _DRAIN,
            _READ_CHARGE,
            Step("Let air out to 2 psi (0.15 bar) below cut-in, in short bursts.", AIR),
            Step("Or, if the charge is what you want, set cut-in above it and tell the plant file.", MAINS),
        ),
        "Pressure no longer drops all at once before a start, and runs are back at their length.",
    ),
    Advice(
        "short_cycling",
        "narrow_switch_band",
        "tank",
        "Cut-in and cut-out are too close together",
        "The switch lets the pump start and stop within a small band, so each run moves little water.",
        (
            Step("Watch a run on the gauge: note where it starts and where it stops."),
            Step("Clear the small tube under the switch; dirt narrows the band.", PRESSURE),
            Step("Widen it to 20 psi (1.4 bar) by the small nut, a quarter turn at a time.", MAINS),
            Step(
                "Keep cut-out below the tank's and pump's limit, and the air charge 2 psi below cut-in.", AIR
            ),
        ),
        "Starts and stops are back at your settings, and runs at their length.",
    ),
    Advice(
        "short_cycling",
        "switch_chatter",
        "tank",
        "The pressure switch chatters",
        "It closes and opens in quick bursts. Contacts burn, and every start costs the motor.",
        (
            _OFF,
            Step("Clear the small tube or nipple between pipe and switch.", PRESSURE),
            Step("See that the tank's valve is open and its air charge right: no cushion, chatter.", AIR),
            Step(
                "Look for a check valve between tank and switch: pressure then jumps. Move it before "
                "the tank.",
                PRESSURE,
            ),
            Step("Have burnt contacts renewed with the whole switch.", MAINS),
        ),
        "No run shorter than a few seconds for a day.",
    ),
    Advice(
        "short_cycling",
        "leak",
        "line",
        "A leak keeps calling the pump",
        "Nobody draws, yet pressure falls and the pump starts again. Water goes somewhere day and night.",
        (
            Step("Look at toilets, taps, trough floats and drip lines first. They are the usual leak."),
            Step("Shut the valve after the tank and watch the gauge for ten minutes."),
            Step("It holds: the leak is beyond. Open one branch after the other and see which one falls."),
            Step("It falls: the check valve, the tank's fittings or the filter's flush valve.", PRESSURE),
            Step(
                "Walk the buried line: wet or greener ground, a hollow, a hiss. Before you dig, have it "
                "located.",
                DIG,
            ),
        ),
        "At night with nothing drawing, the pump rests for hours and the pressure holds.",
        "Valve after the tank shut: pressure holds, the leak is downstream; it falls, the leak is "
        "between pump and valve.",
    ),
    Advice(
        "short_cycling",
        "undersized_tank",
        "tank",
        "The pressure tank is too small for this pump",
        "Tank, switch and air are as they should be; the pump still fills the tank in less time than "
        "its motor stands.",
        (
            Step("Check the figures that `holdwater check` prints against the labels on tank and pump."),
            Step("Draw in longer goes: a sprinkler that takes half the pump's flow is the worst for it."),
            Step("Put a second tank beside the first, with the same air charge.", PRESSURE),
            Step("Or have a larger tank fitted, or a valve that holds the flow to the draw.", PRESSURE),
        ),
        _TRUE_RUNS,
    ),
)
