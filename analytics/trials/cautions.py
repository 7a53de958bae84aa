"""The cautions that trials share; each stands in the very step it belongs to."""

from __future__ import annotations

BREAKER = (
    "Mains voltage stands at the pressure switch and the motor. Use the breaker, leave covers on, and keep "
    "it from being switched on again; where local rules want a licensed electrician for that, call one."
)
DRAIN = (
    "The tank stores pressure. Open the tap slowly, let the water go where it can do no harm, and loosen "
    "nothing while the gauge reads above zero. What local codes leave to a licensed plumber is for one."
)
SHUT_TANK = (
    "Shut this valve only with the pump off at its breaker: against a shut tank it would chatter or burst "
    "something. Never shut a valve between pump and relief valve; a licensed plumber can tell where it sits."
)
OPEN_AGAIN = (
    "Open every valve before the breaker goes on: a pump that starts against a shut valve overheats, and "
    "its pressure is stored. Local codes and a licensed trade say what more is needed to put it back in use."
)
JOINED = (
    "Where rain and well are joined, leave the joint and its backflow device as they are: local codes and a "
    "licensed plumber decide on them."
)
