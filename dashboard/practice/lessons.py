"""What there is to learn of each fault: how it comes, where to look, its tell-tale, its doubles.

Pure data. The tell-tales are physics in plain words (the fault modules of `analytics.faults` hold the
equations); the severities are shares of the worst that the simulator makes of a fault.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Key = tuple[str, str | None]
Look = Literal["pressure", "motor", "run", "delivery", "level", "air", "salt"]


@dataclass(frozen=True, slots=True)
class Lesson:
    """One fault to practise.

    levels   severity of "slight", "plain" and "bad"
    over_days  how long it grows to that; 0: at once
    days     how long it is worth watching
    look     which trace shows it best
    doubles  faults it is easily taken for
    begins_h  hour of the day at which it begins; None: any
    """

    fault: str
    cause: str | None
    title: str
    levels: tuple[float, float, float]
    over_days: float
    days: float
    look: Look
    telltale: str
    doubles: tuple[Key, ...]
    begins_h: float | None = None

    @property
    def key(self) -> Key:
        return (self.fault, self.cause)

    @property
    def name(self) -> str:
        """The key as one word of an address."""
        return f"{self.fault}.{self.cause}" if self.cause else self.fault


_AIR: Key = ("short_cycling", "lost_air_charge")
_OVER: Key = ("short_cycling", "overcharged_tank")
_BAND: Key = ("short_cycling", "narrow_switch_band")
_CHATTER: Key = ("short_cycling", "switch_chatter")
_PRIME: Key = ("lost_prime", None)
_DRY: Key = ("dry_supply", None)
_CLOG: Key = ("clogged_filter", None)
_WEAR: Key = ("pump_wear", None)
_HOLE: Key = ("supply_leak", "downstream")
_CHECK: Key = ("supply_leak", "check_valve")
_BURST: Key = ("burst_line", None)
_SHUT: Key = ("blocked_discharge", "closed_valve")
_STUCK: Key = ("overpressure", "switch_stuck")
_DRIFT: Key = ("switch_drift", None)
_DRAG: Key = ("motor_overload", None)
_LOCKED: Key = ("motor_overload", "locked_rotor")
_TANK_LEAK: Key = ("storage_leak", None)
_THIRST: Key = ("storage_depletion", "demand")
_FULL: Key = ("storage_overflow", None)
_COLD: Key = ("freeze_risk", None)
_SALT: Key = ("salinity_high", None)
_HELD: Key = ("sensor_fault", "stuck")

LESSONS: tuple[Lesson, ...] = (
    Lesson(*_AIR, "The pressure tank has lost its air", (0.5, 0.7, 0.9), 1.0, 2.0, "run",
        "Runs and rests both shrink by the same share, and pressure climbs and falls more steeply between "
        "the same two points. The pump is as strong as ever: there is less air to squeeze, so less water "
        "goes in and out between cut-in and cut-out.", (_BAND, _OVER, _HOLE)),
    Lesson(*_OVER, "Too much air in the pressure tank", (0.6, 0.75, 0.9), 0.0, 1.0, "pressure",
        "On its way down the pressure falls evenly, then drops off a cliff: below the air charge the tank "
        "is empty, and the pipe alone holds nothing. The charge stands above cut-in.",
        (_AIR, _BAND, _CHATTER)),
    Lesson(*_BAND, "Cut-out has crept down to cut-in", (0.6, 0.8, 0.95), 1.0, 2.0, "pressure",
        "Runs are short because they stop early: the top of the saw-tooth comes down, its slopes stay as "
        "they were. With lost air the slopes change and the two points stay.", (_AIR, _DRIFT, _CHATTER)),
    Lesson(*_CHATTER, "The switch's contact bounces", (0.4, 0.7, 1.0), 0.0, 1.0, "motor",
        "Several starts within a few seconds at cut-in, each with its peak of current, then an ordinary "
        "run. Pressure hardly moves between them: no tank is that small.", (_AIR, _BAND, _DRIFT)),
    Lesson("short_cycling", "leak", "A leak starts the pump again and again", (0.7, 0.85, 1.0), 0.0, 0.4,
        "pressure",
        "Runs keep their length or grow a little; it is the rests that shrink, and they are the same at "
        "noon and at three in the night.", (_AIR, _HOLE, _CHECK)),
    Lesson(*_PRIME, "The pump loses its prime", (0.6, 0.8, 1.0), 0.0, 0.4, "pressure",
        "The motor runs and the pressure does not rise, while the current sinks to well under the usual "
        "and trembles: air and water in turn. The storage still has water, and that is the difference "
        "from a dry supply.", (_DRY, _BURST, _SHUT)),
    Lesson(*_DRY, "The storage is down to its outlet", (1.0, 1.0, 1.0), 0.0, 0.4, "level",
        "It looks like lost prime at pump and tank; the level tells: it stands at the outlet. Priming "
        "will not help, water will.", (_PRIME, _THIRST, _BURST)),
    Lesson(*_CLOG, "The filter clogs", (0.8, 0.88, 0.95), 2.0, 4.0, "delivery",
        "Delivery falls from run to run and runs grow longer, while the motor works a little less. With a "
        "gauge at the pump outlet the drop across the filter grows long before delivery does.",
        (_WEAR, _SHUT, _AIR)),
    Lesson(*_THIRST, "More is drawn than comes in", (0.6, 0.8, 1.0), 0.0, 5.0, "level",
        "The level sinks in steps, each at a run of the pump, and stays flat while the pump rests. What "
        "is missing went through the pump.", (_TANK_LEAK, _DRY, _FULL)),
    Lesson(*_TANK_LEAK, "A hole in the storage", (0.5, 0.75, 1.0), 0.0, 4.0, "level",
        "The level sinks at night as by day, along a slope that no run of the pump explains, faster when "
        "the tank is fuller.", (_THIRST, _HOLE, _FULL)),
    Lesson(*_FULL, "Full, and more comes in", (0.3, 0.6, 1.0), 0.0, 1.0, "level",
        "The level lies flat at the top as if the sensor hung: runs take water, and it is back at the "
        "overflow at once.", (_HELD, _TANK_LEAK, _THIRST)),
    Lesson(*_HOLE, "A hole in the buried line", (0.4, 0.6, 1.0), 0.0, 3.0, "pressure",
        "In the still of the night pressure keeps falling in a straight slope and the pump starts for "
        "nobody. On one gauge it looks like a check valve; a closed valve after the tank tells them apart.",
        (_CHECK, _TANK_LEAK, _AIR)),
    Lesson(*_CHECK, "The check valve lets water back", (0.4, 0.6, 1.0), 0.0, 3.0, "pressure",
        "Pressure falls while nobody draws, as with a hole in the line. The water goes back the way it "
        "came: storage does not sink for it, and a gauge at the pump outlet falls along.",
        (_HOLE, _AIR, _PRIME)),
    Lesson(*_BURST, "The line has parted", (0.7, 0.85, 1.0), 0.0, 0.3, "pressure",
        "Pressure drops far below cut-in within a minute and stays there with the pump running on and on, "
        "and the motor working harder than usual: it moves all it can, and nothing holds it.",
        (_PRIME, _HOLE, _DRY)),
    Lesson(*_SHUT, "A valve between pump and tank is shut", (0.95, 0.98, 1.0), 0.0, 0.4, "pressure",
        "The motor runs, current low but steady, and the gauge at the pump outlet stands far above the "
        "tank's. Behind the closed valve house and garden slowly empty the tank.", (_PRIME, _STUCK, _CLOG)),
    Lesson("blocked_discharge", "frozen", "The pipe between pump and tank is ice", (0.97, 0.99, 1.0),
        0.0, 0.5, "pressure",
        "As a shut valve, and the air at the pipe says why: below freezing in the small hours, when nothing "
        "moves in it.", (_SHUT, _COLD, _PRIME), begins_h=4.5),
    Lesson(*_STUCK, "The switch's contacts have welded", (1.0, 1.0, 1.0), 0.0, 0.3, "pressure",
        "Pressure passes cut-out and the motor does not stop: it climbs to what the pump can do at most "
        "or to where the relief valve lifts, and stays.", (_DRIFT, _SHUT, _HELD)),
    Lesson(*_DRIFT, "The switch's spring has settled", (0.5, 0.7, 1.0), 2.0, 4.0, "pressure",
        "Both points move together: the whole saw-tooth slides down, as tall as before.",
        (_BAND, _WEAR, _HELD)),
    Lesson(*_WEAR, "Impeller and diffuser are worn", (0.7, 0.85, 1.0), 2.0, 5.0, "delivery",
        "Delivery falls at every pressure, most near cut-out, and the drop across the filter falls with "
        "it. With a clogged filter that drop grows.", (_CLOG, _DRIFT, _AIR)),
    Lesson(*_DRAG, "A bearing drags", (0.5, 0.7, 1.0), 1.0, 2.0, "motor",
        "More current for the same work: runs are as long and deliver as much as before, and the motor "
        "draws more in every one of them.", (_LOCKED, _BURST, _CLOG)),
    Lesson(*_LOCKED, "The motor does not turn", (1.0, 1.0, 1.0), 0.0, 0.3, "motor",
        "Some five times the usual current for some seconds, then nothing for a minute or two, and again: "
        "the motor's protector opens and closes. Pressure never rises.", (_PRIME, _DRAG, _CHATTER)),
    Lesson(*_COLD, "A cold spell", (0.5, 0.65, 0.8), 0.0, 2.0, "air",
        "Nothing is wrong with the water yet. The air at the exposed pipe goes to freezing in the small "
        "hours, when nothing moves in it.", (("blocked_discharge", "frozen"), _HELD, _HOLE)),
    Lesson(*_SALT, "Too much of the salt well let in", (0.6, 0.75, 0.9), 0.0, 1.5, "salt",
        "Conductivity climbs with every run and towards a new level, for tank and line mix only slowly. "
        "Pressure and pump know nothing of it.", (_HELD, _CLOG, _COLD)),
    Lesson("sensor_fault", "stuck", "The pressure sensor repeats itself", (1.0, 1.0, 1.0), 0.0, 0.5,
        "pressure",
        "One value to the last digit while the motor starts and stops as ever: what the pump does cannot "
        "be if the pressure stood still.", (_STUCK, _FULL, _PRIME)),
    Lesson("sensor_fault", "silent", "The pressure sensor says nothing", (1.0, 1.0, 1.0), 0.0, 0.5,
        "pressure",
        "No readings at all from one sensor while the others speak on. Silence is not a low pressure.",
        (_HELD, _BURST, _PRIME)),
    Lesson("sensor_fault", "implausible", "The pressure sensor jumps about", (0.5, 0.75, 1.0), 0.0, 0.5,
        "pressure",
        "Pressure leaps by whole bars between two seconds with the motor at rest: no pump and no pipe can "
        "do that.", (_CHATTER, _BAND, _HELD)),
    Lesson("sensor_fault", "out_of_range", "The pressure sensor reads beyond its range", (1.0, 1.0, 1.0), 0.0,
        0.5, "pressure",
        "A value that the gauge cannot measure: a broken wire or a short, not a pressure.",
        (_STUCK, _HELD, _CHATTER)),
)  # fmt: skip

#: What a blind exercise may also hold: nothing at all.
WELL = Lesson("", None, "Nothing is wrong", (0.0, 0.0, 0.0), 0.0, 1.0, "pressure",
    "Runs, rests and levels stay within what this plant does on any day. Saying so with good reason is "
    "half of the skill: a false alarm costs a walk, and in the end the trust.", ())  # fmt: skip

_BY_NAME = {lesson.name: lesson for lesson in (*LESSONS, WELL)}
_BY_KEY = {lesson.key: lesson for lesson in LESSONS}


def by_name(name: str) -> Lesson:
    """The lesson of an address. KeyError where there is none."""
    return _BY_NAME[name]


def by_key(key: Key) -> Lesson:
    """The lesson of a fault and cause. KeyError where there is none."""
    return _BY_KEY[key]
