"""The pump and its motor."""

from __future__ import annotations

from analytics.advice.shapes import AIR, HOT, MAINS, PRESSURE, RELIEF, THAW, Advice, Step

_OFF = Step("Switch the pump off at its breaker.", MAINS)

ADVICE: tuple[Advice, ...] = (
    Advice(
        "lost_prime",
        None,
        "pump",
        "The pump runs but moves no water",
        "There is water in storage, yet the pump has lost hold of it: air has got into the suction side.",
        (
            Step("Switch the pump off at its breaker now. Running dry ruins the seal in minutes.", MAINS),
            Step("Check the valve between storage and pump: is it open? Is the strainer clear?"),
            Step(
                "Let it cool. Then take out the priming plug and fill the pump and suction pipe to the brim.",
                HOT,
            ),
            Step(
                "Close the plug, open a tap near the pump, start it. Pressure should rise within a minute.",
            ),
            Step(
                "Prime lost again in days: air comes in. Tighten the suction unions, renew the plug's "
                "seal, "
                "look at the pump's shaft seal and at the foot or check valve.",
                PRESSURE,
            ),
        ),
        "The next runs raise the pressure from cut-in to cut-out in the time they used to take.",
        "Fill the suction pipe and watch it with the pump off. The water sinks: foot valve or suction "
        "leaks. "
        "It stays: the pump's own seal, or a blocked suction.",
    ),
    Advice(
        "pump_wear",
        None,
        "pump",
        "The pump delivers less than it did",
        "At every pressure it moves less water, and the filter is not to blame: wear, or a little air "
        "in the suction.",
        (
            Step(
                "Look at the suction first: a strainer half blocked, a valve half shut, a joint that "
                "draws air."
            ),
            Step("Listen and feel: a new rattle, a hot bearing, water at the shaft seal.", HOT),
            Step("Measure the supply voltage while it runs, at the motor's terminals.", MAINS),
            Step(
                "Open the pump: worn impeller, grit in the jet nozzle or diffuser, worn seal ring. "
                "Renew them.",
                PRESSURE,
            ),
            Step("Have a spare ready before it fails: delivery falls slowly, then all at once."),
        ),
        "Delivery at cut-in and at cut-out is back within a tenth of what it was at commissioning.",
        "Put a gauge on the suction. More vacuum than before: a blocked suction. The same: the pump is worn.",
    ),
    Advice(
        "motor_overload",
        None,
        "pump",
        "The motor draws too much current",
        "It works harder than it should or turns with difficulty. It will overheat and trip, or burn out.",
        (
            _OFF,
            Step("Let it cool, then turn the shaft by hand. It should turn freely, without grating.", HOT),
            Step("Measure the voltage at the motor while it runs: low voltage means high current.", MAINS),
            Step("Clear the pump of grit or roots, and look at the bearings.", PRESSURE),
            Step("Have the capacitor and windings tested before you run it again for long.", MAINS),
        ),
        "Current while running is back in its normal band over several runs.",
    ),
    Advice(
        "motor_overload",
        "locked_rotor",
        "pump",
        "The motor hums but cannot turn",
        "Full starting current and no run-up: the shaft is stuck, or the start capacitor has failed.",
        (
            Step(
                "Switch it off at the breaker now. Windings burn within a minute or so in this state.", MAINS
            ),
            Step("When cold, turn the shaft by hand. Stuck: free the impeller of grit, ice or rust.", HOT),
            Step(
                "Shaft free: the start capacitor or the start switch. Have it tested and replaced.",
                "A capacitor holds a charge after the power is off, beside the mains voltage around it. "
                "Leave it to a licensed electrician unless this is your trade.",
            ),
            Step("Pipe frozen? Thaw pump and pipe before another try.", THAW),
        ),
        "It starts within a second, and current falls to its running value.",
    ),
    Advice(
        "blocked_discharge",
        None,
        "line",
        "The pump pushes against a closed way out",
        "It makes pressure but nearly no water passes. The water in the pump heats up and the seal suffers.",
        (
            _OFF,
            Step("Walk from the pump to the tank and see that each valve is open."),
            Step("Look at the filter: a clogged element blocks like a closed valve.", PRESSURE),
            Step("In frost: look for the frozen stretch, first at bends and where the pipe is bare.", THAW),
            Step("Let the pump cool before you start it again.", HOT),
        ),
        "The next run moves water: pressure rises at its old pace and the run ends at cut-out.",
        "Loosen nothing under pressure. Open the drain nearest the pump: water there means the block is "
        "farther on.",
    ),
    Advice(
        "blocked_discharge",
        "closed_valve",
        "line",
        "A valve after the pump is shut",
        "The pump makes its full pressure and moves nearly nothing. Somebody has closed a valve, or it "
        "has failed shut.",
        (
            _OFF,
            Step("Open every valve between pump and tank, the filter's two included."),
            Step(
                "A handle that turns and does nothing, or a check valve stuck shut: open the line and "
                "renew it.",
                PRESSURE,
            ),
            Step("Let the pump cool, start it, and watch the pressure.", HOT),
        ),
        "The next run moves water, and the pressure climbs at its old pace.",
    ),
    Advice(
        "blocked_discharge",
        "frozen",
        "line",
        "The pipe after the pump is frozen",
        "The pump makes pressure and the ice lets nothing past. The pipe may have split; that shows "
        "when it thaws.",
        (
            _OFF,
            Step("Open a tap beyond the ice, so that water and steam can get out.", THAW),
            Step("Find the ice: bare pipe, bends, pump-house wall. Warm it gently from the tap end.", THAW),
            Step("As it thaws, watch for a split. Shut the nearest valve if it sprays.", PRESSURE),
            Step("Lag the stretch, or drain it each autumn."),
        ),
        "The next run moves water, and at rest the pressure holds: no split.",
    ),
    Advice(
        "overpressure",
        None,
        "tank",
        "Pressure goes above cut-out",
        "The pump does not stop where it should, and pressure rises until the relief valve lifts.",
        (
            Step("Switch the pump off at its breaker now.", MAINS),
            Step(
                "Keep clear of the relief valve's outlet, and see that it is open and leads outdoors.", RELIEF
            ),
            Step(
                "Compare the gauge with the reading. If they differ, the sensor may be wrong, not the switch."
            ),
            Step("Clear the switch's small tube or nipple of rust and sand.", PRESSURE),
            Step("Have the switch's contacts looked at, or the switch renewed.", MAINS),
            Step("A relief valve that has lifted often weeps after: have it renewed, never shut.", RELIEF),
        ),
        "The next ten runs stop at cut-out, within a few psi (0.2 bar).",
    ),
    Advice(
        "overpressure",
        "switch_stuck",
        "tank",
        "The pressure switch does not let go",
        "Its contacts are welded or its tube is blocked: pressure passes cut-out and the pump runs on.",
        (
            Step("Switch the pump off at its breaker now, and leave it off while nobody stands by.", MAINS),
            Step("Keep clear of the relief valve's outlet.", RELIEF),
            Step("Clear the tube or nipple under the switch.", PRESSURE),
            Step(
                "Renew the switch: welded contacts weld again. Same range, same rating as the motor.", MAINS
            ),
        ),
        "The next ten runs stop at cut-out, within a few psi (0.2 bar).",
    ),
    Advice(
        "switch_drift",
        None,
        "tank",
        "The pressure switch has moved from its setting",
        "The pump starts or stops at another pressure than you set. The air charge no longer fits it.",
        (
            Step("Watch one run on the gauge: note where it starts and where it stops."),
            Step("Clear the tube or nipple under the switch; sand there makes it slow.", PRESSURE),
            Step(
                "Set it back by the large nut, a quarter turn at a time, and watch a run after each.", MAINS
            ),
            Step("Drain the tank and set its air charge 2 psi (0.15 bar) below the new cut-in.", AIR),
            Step("It wanders again within weeks: its spring or contacts are worn. Renew it.", MAINS),
        ),
        "Starts and stops are back at your settings, within 2 psi (0.15 bar), over ten runs. "
        "If the new setting is what you want, write it into the plant file instead.",
    ),
)
