"""Faults of the sensors themselves. The station is that of the sensor (`SENSOR_STATION`)."""

from __future__ import annotations

from analytics.advice.shapes import LADDER, MAINS, PRESSURE, Advice, Step

_BLIND = "Until it is right, what rests on this sensor is not watched."
_PLUG = Step(
    "Look at plug and cable: green contacts, water, teeth marks. At the motor the mains is beside it.", MAINS
)
_TAKE_OUT = Step("Swap in a spare, or take it out and clean its port.", PRESSURE)
_COMPARE = Step("Compare with a gauge or a stick at the same place.", LADDER)

ADVICE: tuple[Advice, ...] = (
    Advice(
        "sensor_fault",
        None,
        "line",
        "A sensor cannot be believed",
        f"What it says does not fit. {_BLIND}",
        (
            _COMPARE,
            _PLUG,
            _TAKE_OUT,
            Step("See that unit and calibration in the plant file are those of this sensor."),
        ),
        "Its readings agree with the gauge and move when the water does, for an hour.",
    ),
    Advice(
        "sensor_fault",
        "out_of_range",
        "line",
        "A sensor reads what cannot be",
        f"The value is outside the limits you gave. Mostly a broken wire or a short. {_BLIND}",
        (
            _PLUG,
            Step("Full scale means a short or a wrong supply; bottom of the scale, a broken wire.", MAINS),
            _TAKE_OUT,
            Step("If the value is right after all, widen `valid` in the plant file."),
        ),
        "Its readings stay inside the limits for an hour.",
    ),
    Advice(
        "sensor_fault",
        "stuck",
        "line",
        "A sensor has stopped moving",
        f"It says the same value to the last digit while the water moves. {_BLIND}",
        (
            _COMPARE,
            Step("Restart the little computer that sends it."),
            Step("Clear its port: ice, sand or slime can hold the pressure in.", PRESSURE),
            _TAKE_OUT,
        ),
        "Its readings move with the next run.",
    ),
    Advice(
        "sensor_fault",
        "silent",
        "line",
        "Sensor readings are missing",
        "No word for far longer than usual. Until they come again, what rests on them is not watched.",
        (
            Step("Is the radio or network up? Do others at the same place still report?"),
            Step("Is it fed: battery, supply, fuse?", MAINS),
            Step("Restart the little computer that sends it."),
            _PLUG,
            Step("See that topic and pointer in the plant file are still what it sends."),
        ),
        "They come again at their usual interval.",
    ),
    Advice(
        "sensor_fault",
        "implausible",
        "line",
        "A sensor contradicts the water",
        f"Other signals say that it cannot be so. {_BLIND}",
        (
            _COMPARE,
            Step("See that it is the sensor you think: names, topics and cables get swapped."),
            Step(
                "Is it where it should be? A pressure sensor behind a closed cock reads yesterday.", PRESSURE
            ),
            Step("See that unit and calibration in the plant file are those of this sensor."),
            _TAKE_OUT,
        ),
        "It agrees with the others over the next runs.",
    ),
)
