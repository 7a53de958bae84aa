"""Where the switch acts, by rests in which little is drawn: for samples too far apart to meet start or stop.

A word each minute meets neither end of a run of a minute. But after a stop pressure stands where the switch
has stopped the pump, and before a start where it will start it, as nearly as it falls from one word to the
next. A draw that outlasts the stop, or begins just before the start, only takes that inward, from stop or
start into the band: the switch acts at the outermost of many. Nor does a pump lift pressure beyond the
cut-out: a word in a run that comes near the outermost stop says as much as a rest. So

    moved outward   some lie well beyond what the lesson's outermost was
    moved inward    none comes near to it any more, though a share p of the lesson's did:
                    (1 - p)^n <= CHANCE

Parameters:
    FALLS    0.02  of the band at most, from one word to the next: in a leak's rests, which fall faster, no
                   word meets either end, and all of them err alike
    LESSON   24    ends, while nothing stands that moves them; its outermost is the second, for one may err
    LEAST    0.15  of the band: a switch repeats to a few hundredths, and FALLS twice (a stop lies up to a
                   word before its rest's first)
    BEYOND   3     of the newest 6: a gauge's lone words are none; how far is the second outermost of the
                   newest 12
    CHANCE   1e-5  that n draws in a row hide it: a plant has some thousand such rests a year, and they go by
                   its habits: LASTS 8 h, a night and a morning, on top
    UNKNOWN  0.3   is p before the lesson is over
    MIDDLE   2.5   words after its begin lies the middle of the five that a rest is said to begin with
    EMPTY    0.5   of cut-in: no spring or nut slips so far; a line that starts from less has run empty
    RISING   0.15  of the delivery, three standard errors of a slope near the end (5 %)
    HALF     0.5   of the band: stops that do not come up to it make it narrow; FOOT 0.22 of it: starts that
                   stand further up are not at cut-in (`cycling_run.LEAP_SHARE`)

Source: none; arithmetic of samples.
"""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US
from analytics.judging.cycling_run import is_guessed, shortest_s, sound_delivery_m3_s
from analytics.judging.footing import FINE_S, band_of
from analytics.judging.signature import COARSE_S
from analytics.seeing.events import Run

if TYPE_CHECKING:
    from analytics.judging.footing import Band
    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.events import Rest
    from analytics.seeing.water import Water

FALLS, MIDDLE, EMPTY = 0.02, 2.5, 0.5
LESSON, KEPT, LEAST = 24, 48, 0.15
BEYOND, OF_NEWEST, OUTERMOST_OF = 3, 6, 12
CHANCE, LASTS_US, UNKNOWN = 1e-5, 8 * HOUR_US, 0.3
HALF, FOOT = 0.5, 0.22
RISING = 0.15
#: While one of these stands nothing is learned of where the switch acts.
MOVES_THEM = (
    "switch_drift", "short_cycling", "motor_overload", "lost_prime", "dry_supply", "burst_line",
    "blocked_discharge", "overpressure",
)  # fmt: skip


class Side(msgspec.Struct):
    """One end, outward counted positive [Pa]: of the lesson, and with times [us] the newest; when a run last
    came near the lesson's outermost [us]. Plain data."""

    lesson: list[float] = []
    newest: list[list[float]] = []
    reached_us: float = 0.0

    def add(self, at_us: int, outward_pa: float, healthy: bool) -> None:
        self.newest = [*self.newest, [float(at_us), outward_pa]][-KEPT:]
        if healthy and len(self.lesson) < LESSON:
            self.lesson = [*self.lesson, outward_pa]

    def reached(self, at_us: int, outward_pa: float, least_pa: float) -> None:
        """Take up a word that nothing takes so far out but an end there."""
        top_pa = self.clean_pa()
        if top_pa is not None and outward_pa > top_pa - least_pa:
            self.reached_us = float(at_us)

    def near(self, least_pa: float) -> float:
        """Share of the ends that come within `least_pa` of the outermost."""
        if len(self.lesson) < LESSON:
            return UNKNOWN
        top_pa = self.clean_pa() or 0.0
        return (sum(one >= top_pa - least_pa for one in self.lesson) + 1.0) / (LESSON + 2.0)

    def short_of(self, limit_pa: float, least_pa: float) -> list[float]:
        """The newest ends if none of them comes up to a limit, by more than chance; else none."""
        count = 0
        for at_us, outward_pa in reversed(self.newest):
            if outward_pa >= limit_pa or at_us <= self.reached_us:
                break
            count += 1
        some = self.newest[len(self.newest) - count :]
        surely = count * log(1.0 - self.near(least_pa)) <= log(CHANCE)
        return [one[1] for one in some] if surely and some[-1][0] - some[0][0] >= LASTS_US else []

    def inward_us(self, least_pa: float) -> float | None:
        """Since when none comes near to the lesson's outermost any more; None where that is chance."""
        top_pa = self.clean_pa()
        short = self.short_of(top_pa - least_pa, least_pa) if top_pa is not None else []
        return self.newest[-len(short)][0] if short else None

    def clean_pa(self) -> float | None:
        """The lesson's outermost [Pa]; None before it is over."""
        return sorted(self.lesson)[-2] if len(self.lesson) >= LESSON else None

    def moved(self, least_pa: float) -> float | None:
        """How far it has moved outward [Pa], 0 by less than `least_pa`; None before the lesson is over."""
        top_pa = self.clean_pa()
        if top_pa is None:
            return None
        if sum(one > top_pa + least_pa for _, one in self.newest[-OF_NEWEST:]) >= BEYOND:
            return sorted(one for _, one in self.newest[-OUTERMOST_OF:])[-2] - top_pa
        short = sorted(self.short_of(top_pa - least_pa, least_pa))
        return short[-2] - top_pa if len(short) >= 2 else 0.0


class Ends(msgspec.Struct):
    """Plain data."""

    start: Side = msgspec.field(default_factory=Side)
    stop: Side = msgspec.field(default_factory=Side)


def note(ends: Ends, event: Run | Rest, band: Band, water: Water, healthy: bool) -> None:
    """Take up where a run began, or the one before a rest was stopped, if little is drawn in the rest.

    healthy: none of MOVES_THEM stands.
    """
    if isinstance(event, Run) and event.pressure_high_pa is not None and event.interval_s > FINE_S:
        ends.stop.reached(event.cycle.stop_us, event.pressure_high_pa, LEAST * band[1])
    told = _start(event, band, water) if isinstance(event, Run) else _stop(event, band, water)
    if told is not None:
        side = ends.start if isinstance(event, Run) else ends.stop
        side.add(*told, healthy)


def forget(ends: Ends, since_us: int) -> None:
    """What a gauge that lies has told since."""
    for side in (ends.start, ends.stop):
        side.newest = [one for one in side.newest if one[0] < since_us]
        side.reached_us = side.reached_us if side.reached_us < since_us else 0.0


def _start(run: Run, band: Band, water: Water) -> tuple[int, float] | None:
    """When and how far outward [Pa] a run began, if its rest fell slowly."""
    start_pa, slope_m3_s, every_s = run.cycle.pressure_start_pa, run.slope_before_m3_s, run.pressure_s
    if not run.entire or start_pa is None or slope_m3_s is None or every_s is None or every_s <= FINE_S:
        return None
    if start_pa < EMPTY * band[0]:
        return None
    stop_pa = run.cycle.pressure_stop_pa
    if every_s < COARSE_S and stop_pa is not None and stop_pa - start_pa < LEAST * band[1]:
        return None  # a clamp's noise fills no tank
    slowly = abs(slope_m3_s) * every_s / water.compliance_m3_pa(start_pa) <= FALLS * band[1]
    return (run.cycle.start_us, -start_pa) if slowly else None


def _stop(rest: Rest, band: Band, water: Water) -> tuple[int, float] | None:
    """When and how far outward [Pa] the run before a rest was stopped, if pressure falls slowly in it."""
    first_pa, slope_m3_s = rest.pressure_from_pa, rest.slope_m3_s
    if not rest.entire or rest.from_us != rest.stop_us or first_pa is None or slope_m3_s is None:
        return None
    every_s = (rest.to_us - rest.from_us) / 1e6 / max(rest.samples, 1)
    falls_pa = -slope_m3_s * every_s / water.compliance_m3_pa(first_pa)
    slowly = every_s > FINE_S and abs(falls_pa) <= FALLS * band[1]
    return (rest.stop_us, first_pa + min(MIDDLE, 0.5 * rest.samples) * falls_pa) if slowly else None


def still_filled(run: Run, usual: Reference) -> bool:
    """Whether the tank was still filling when the run was stopped: a switch does that, neither a relief valve
    nor the pump's shut-off head."""
    return (run.slope_last_m3_s or 0.0) > RISING * usual.delivery_m3_s


def narrow(ends: Ends, band: Band) -> tuple[float, float] | None:
    """Start and stop [Pa], if they are known, from cut-in on and less than half of the band apart."""
    low, wide = band
    stops = sorted(ends.stop.short_of(low + HALF * wide, LEAST * wide))
    starts = sorted(-one for _, one in ends.start.newest[-OF_NEWEST:])
    if len(stops) < 2 or len(starts) < 2 or starts[1] > low + FOOT * wide:
        return None
    return starts[1], stops[-2]


def too_narrow(ends: Ends, plant: Plant, usual: Reference, water: Water) -> bool:
    """Whether rests show a band so narrow that the pump fills it in less than it stands."""
    told = narrow(ends, band_of(plant, usual))
    if told is None or is_guessed(plant, usual, water):
        return False
    return water.between_m3(*told) / sound_delivery_m3_s(plant, usual, water) < shortest_s(plant)
