"""Storage: running out, leaking, overflowing, drawn down to its outlet."""

from __future__ import annotations

from analytics.advice.shapes import CROSS, HOT, LADDER, MAINS, PRESSURE, TANK_ENTRY, Advice, Step

_STOP_DRAWING = Step("Stop what can wait: irrigation first, then laundry. Keep some for people and animals.")
_LOOK_UNDER = Step(
    "Walk round the tank. Look for wet ground, green streaks, drips at the outlet and the drain."
)
_READ_BY_HAND = Step(
    "Read the level by hand, by a stick or the sight tube, and compare it with the reading.", LADDER
)

ADVICE: tuple[Advice, ...] = (
    Advice(
        "storage_depletion",
        None,
        "storage",
        "The stored water will not last",
        "At the pace of the last days the level reaches the outlet soon, and the pump would then draw air.",
        (
            _READ_BY_HAND,
            _STOP_DRAWING,
            _LOOK_UNDER,
            Step("Check that rain still gets in: gutters, leaf screen, first-flush diverter.", LADDER),
            Step("If another source is at hand, bring it in through the fitting made for it.", CROSS),
        ),
        "The level falls more slowly or rises, and the days left go back above your warning.",
        "With every outlet shut and no rain, watch the level for a night. If it falls, water leaks; if it "
        "holds, it was use.",
    ),
    Advice(
        "storage_depletion",
        "demand",
        "storage",
        "More is drawn than the rain brings",
        "The water left goes where it is meant to go, only faster than it comes in.",
        (
            _STOP_DRAWING,
            Step("Look for what draws most: a tap left on, a hose, a programme that runs too long."),
            Step("Water at dusk or dawn, and only the beds that need it."),
            Step("If another source is at hand, bring it in through the fitting made for it.", CROSS),
        ),
        "The daily use falls, and the days left go back above your warning.",
    ),
    Advice(
        "storage_depletion",
        "leak",
        "storage",
        "The stored water leaks away",
        "The level falls while nothing draws: a leak empties the tank before use does.",
        (
            _LOOK_UNDER,
            Step("Shut the tank's outlet valve and watch the level for an hour or a night."),
            Step(
                "Level still falls: the tank, its fittings or its drain. Level holds: the line after "
                "the valve. "
                "Tighten or replace the fitting that weeps.",
                PRESSURE,
            ),
            _STOP_DRAWING,
        ),
        "With nothing drawing, the level stays flat for a night.",
    ),
    Advice(
        "storage_leak",
        None,
        "storage",
        "The storage tank loses water",
        "The level falls more than the pump takes. Water leaves by a way nobody meant.",
        (
            _LOOK_UNDER,
            Step(
                "Shut the tank's outlet valve and watch the level: an hour for a fast leak, a night for "
                "a slow one."
            ),
            Step(
                "Level still falls: look at the drain, the overflow seal, the fittings and the wall. "
                "Seal from outside or replace the fitting.",
                TANK_ENTRY,
            ),
            Step(
                "Level holds with the valve shut: the leak is in the pipe to the pump. Walk it and look "
                "at each joint.",
            ),
            Step("Linked tanks: shut the links and watch each by itself."),
        ),
        "With nothing drawing and no rain, the level stays flat for a night.",
        "Shut the valve at the tank's outlet. Still falling: the tank. Flat: the pipe after the valve.",
    ),
    Advice(
        "storage_overflow",
        None,
        "storage",
        "The storage is full and running over",
        "The level stands at the overflow while more comes in. Good water goes to waste, or under a footing.",
        (
            Step(
                "See where the overflow runs. It must go well away from tank base, pump house and footings."
            ),
            Step("Shut off what still fills the tank, or switch the roof water to the next tank.", CROSS),
            Step("Clear the overflow pipe and its insect screen.", LADDER),
            Step("Use it: fill the small tanks, water deeply now."),
        ),
        "The level drops below the overflow and stays there.",
    ),
    Advice(
        "dry_supply",
        None,
        "storage",
        "The tank is down to its outlet and the pump runs dry",
        "The motor runs and no water moves, because there is none at the outlet. A dry pump soon ruins "
        "its seal.",
        (
            Step(
                "Switch the pump off at its breaker now. Leave it off until there is water above the outlet.",
                MAINS,
            ),
            _READ_BY_HAND,
            Step(
                "If the tank is full after all, the way out is blocked: look at the outlet screen, "
                "valve and pipe."
            ),
            Step("Refill, or bring in another source through the fitting made for it.", CROSS),
            Step(
                "Prime the pump by its plug before you start it, and watch that pressure rises in a minute.",
                HOT,
            ),
        ),
        "The level is back above the outlet, and the next run raises the pressure as before.",
    ),
)
