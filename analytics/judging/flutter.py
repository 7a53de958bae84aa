"""Bursts of runs that no tank could make: a worn contact, or a sensing tube that is half blocked.

A sound tank over a tenth of the usual band (2 psi) still takes some 8 s to fill; one that has no air, or is
shut off from its line, shoots up to cut-out in each run, which a fluttering switch does not.

One that begins long after any other, and fills some of the tank, is a cycle all the same: a band so narrow is
filled as soon (`is_cycle`).

A contact that bounces once or twice as it opens or closes makes no burst, but does it again and again: a
brief run within BESIDE of a start or a stop of a whole run, at so many of the newest edges (BOUNCED), or
of the newest starts, or stops, alone (ONE_WAY).

Parameters: FLUTTER_S 6 s; FLUTTER_RUNS 3 within FLUTTER_WITHIN 30 s: a contact that bounces once at a stop
makes two, a hand does not make three. UNMOVED a tenth of the band: a gauge's noise and a tap's draw in a
second, and far from a cycle. QUICKER 1.2 times what fills a sound tank. WITHIN 0.3 to 0.85 of the band: gauge
and switch are good to a tenth of the band each. BARELY 1.5 of 0.4 A or 60 W, a third of what the smallest jet
pump draws. SHOOTS 0.25 to 0.5 of the band: FASTER 3 times than the run fills a sound tank, whose rating may
be wrong by a third and its size by as much. SHORT_REST 30 s: the slope at a rest's end is that of all of it.
BESIDE 10 s, BOUNCED 4 of 8 or 6 of 16: the lone wild words of a motor signal, of which ten in an hour would
be a bad one, lie beside an edge by chance in three of a hundred, and beside four of eight once in 20,000
runs, six of sixteen once in 170,000; a bounce between two words is not seen. ONE_WAY 3 of 4, or 4 of 8: of
such a signal once in 9,000 runs and in 20,000. WHOLE 5 times FLUTTER_S: a tank
without air makes none so long.

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.seeing.motor import learns_level, motor_signal, running_level

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.events import Run

FLUTTER_S = 6.0
FLUTTER_RUNS = 3
FLUTTER_WITHIN_US = 30_000_000
UNMOVED = 0.1
WITHIN = 0.3, 0.85
BARELY = 1.5
QUICKER = 1.2
SHOOTS, FASTER = (0.25, 0.5), 3.0
SHORT_REST_S = 30.0
FINE = 0.2  # a fifth of the band, by which a start that seems to lie WITHIN it was still none at cut-in
BESIDE_US = 10_000_000
BOUNCED, ONE_WAY, WHOLE = ((4, 8), (6, 16)), ((3, 4), (4, 8)), 5.0


def is_spike(run: Run, usual: Reference) -> bool:
    """A run that moved no pressure: words of the motor signal's own, for no tank is filled so, and no switch
    stops what it has started."""
    return _unmoved(run, usual)


def is_stray(run: Run, usual: Reference) -> bool:
    """A "run" that begins where no switch starts a pump, and moves no pressure: words of the signal's own.
    Between samples so far apart that the pump, or a draw, moves a FINE share of the tank, nobody knows."""
    moves_m3_s = max(usual.delivery_m3_s, -(run.slope_before_m3_s or 0.0))
    fine = moves_m3_s * run.interval_s < FINE * usual.drawdown_m3
    return fine and _within(run, usual) and _unmoved(run, usual)


def goes_on(run: Run, stopped_pa: float | None, usual: Reference) -> bool:
    """Whether a run goes on with the one before it, which stopped at a pressure amid the band: it begins
    there, where no switch of so narrow a band would start it, and goes on as a sound tank fills."""
    start_pa, high_pa, low_pa = run.cycle.pressure_start_pa, run.pressure_high_pa, run.pressure_low_pa
    if start_pa is None or stopped_pa is None or high_pa is None or low_pa is None:
        return False
    fills = usual.delivery_m3_s / usual.drawdown_m3
    fine = run.interval_s * fills < 0.5 * FINE
    slowly = high_pa - low_pa < (QUICKER * run.cycle.run_time_s * fills + UNMOVED) * usual.band_pa
    amid = stopped_pa < usual.stop_pa - UNMOVED * usual.band_pa
    return fine and slowly and amid and start_pa > stopped_pa - UNMOVED * usual.band_pa


def _within(run: Run, usual: Reference) -> bool:
    start_pa = run.cycle.pressure_start_pa
    return start_pa is not None and WITHIN[0] < (start_pa - usual.start_pa) / usual.band_pa < WITHIN[1]


def _unmoved(run: Run, usual: Reference) -> bool:
    start_pa, stop_pa = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if start_pa is None or stop_pa is None:
        return False
    if gave_1(run, usual) > SHOOTS[1]:
        return False  # what fell so far before it was filled by such a run
    if (run.pressure_high_pa or 0.0) - (run.pressure_low_pa or 0.0) > SHOOTS[0] * usual.band_pa:
        return False  # a tank without air is up and down again between two words
    return abs(stop_pa - start_pa) < UNMOVED * usual.band_pa


def barely_on(run: Run, plant: Plant) -> bool:
    """Little over a level that is no more than assumed: what a clamp says of a motor at rest, for no pump
    is so small."""
    motor = motor_signal(plant)
    if motor is None or run.motor_words is None or not learns_level(plant, motor):
        return False
    return run.motor_words < BARELY * running_level(plant, motor)


def is_brief(run: Run, plant: Plant, usual: Reference) -> bool:
    """Too short for any tank, where the switch may open or close, and pressure did not get up."""
    short = run.cycle.run_time_s <= FLUTTER_S and not is_stray(run, usual)
    return short and not _shoots_up(run, plant, usual)


def is_cycle(run: Run, usual: Reference) -> bool:
    """Whether so brief a run is a cycle of its own: a contact that flutters closes again at once."""
    rest_s = run.cycle.rest_before_s
    met = 2.0 * run.interval_s <= run.cycle.run_time_s
    return met and rest_s is not None and rest_s * 1e6 > BESIDE_US and not _unmoved(run, usual)


def burst(brief: list[list[float]], run: Run) -> tuple[list[list[float]], bool]:
    """The newest brief runs ([start, stop] in us, run time) with this one, and whether they are a burst."""
    newest = [float(run.cycle.start_us), float(run.cycle.stop_us), run.cycle.run_time_s]
    brief = [*brief, newest][-FLUTTER_RUNS:]
    full = len(brief) == FLUTTER_RUNS
    return brief, full and brief[-1][0] - brief[0][0] <= FLUTTER_WITHIN_US


def edged(edges: list[list[float]], brief: list[list[float]], run: Run) -> list[list[float]]:
    """The newest edges of whole runs ([time in us, whether a brief run lay beside it]) with this run's."""
    start_us, stop_us = float(run.cycle.start_us), float(run.cycle.stop_us)
    before = bool(brief) and start_us - brief[-1][1] <= BESIDE_US
    return [*edges, [start_us, float(before)], [stop_us, 0.0]][-BOUNCED[-1][1] :]


def bounced(edges: list[list[float]], run: Run) -> tuple[list[list[float]], bool]:
    """The edges once a brief run has been seen, and whether the contact bounces at most of them."""
    if edges and run.cycle.start_us - edges[-1][0] <= BESIDE_US:
        edges = [*edges[:-1], [edges[-1][0], 1.0]]
    beside = [edge[1] for edge in edges]  # of each run its start and its stop
    both, ways = _often(beside, BOUNCED), (_often(beside[0::2], ONE_WAY), _often(beside[1::2], ONE_WAY))
    return edges, both or any(ways)


def _often(beside: list[float], limits: tuple[tuple[int, int], ...]) -> bool:
    return any(sum(beside[-of:]) >= count for count, of in limits)


def bounces_back(edges: list[list[float]], whole_s: float, run: Run, usual: Reference) -> bool:
    """Whether it is a bounce of the contact that has just ended a run of `whole_s`: where pressure stands."""
    soon = bool(edges) and run.cycle.start_us - edges[-1][0] <= BESIDE_US
    brief = run.cycle.run_time_s <= FLUTTER_S and whole_s >= WHOLE * FLUTTER_S
    return soon and brief and _unmoved(run, usual) and not is_stray(run, usual)


def gave_1(run: Run, usual: Reference) -> float:
    """What the tank gave in a short rest before the run, over the drawdown; 0 where it cannot be told."""
    rest_s = run.cycle.rest_before_s
    if rest_s is None or rest_s > SHORT_REST_S or run.slope_before_m3_s is None:
        return 0.0
    return -run.slope_before_m3_s * rest_s / usual.drawdown_m3


def airless(run: Run, usual: Reference) -> bool:
    """Whether pressure moves faster in a run than in any tank that holds its air."""
    ends = (
        run.cycle.pressure_start_pa,
        run.cycle.pressure_stop_pa,
        run.pressure_high_pa,
        run.pressure_low_pa,
    )
    said = [pa for pa in ends if pa is not None]
    return bool(said) and max(said) - min(said) > max(_fills(run, usual), SHOOTS[0]) * usual.band_pa


def _fills(run: Run, usual: Reference) -> float:
    """Of the band, the most that a run fills of a sound tank."""
    return FASTER * (run.cycle.run_time_s + run.interval_s) * usual.delivery_m3_s / usual.drawdown_m3


def _shoots_up(run: Run, plant: Plant, usual: Reference) -> bool:
    """Pressure reaches cut-out in each of these runs, or rises as in no tank that holds its air: it has none
    (or is shut off)."""
    switch, high, cycle = plant.switch, run.pressure_high_pa, run.cycle
    if switch is None or high is None:
        return False
    band = switch.cut_out_pa - switch.cut_in_pa
    ends = [
        p for p in (cycle.pressure_start_pa, cycle.pressure_stop_pa, run.pressure_low_pa) if p is not None
    ]
    rises = min(max(_fills(run, usual), SHOOTS[0]), SHOOTS[1])
    if ends and max(*ends, high) - min(*ends, high) > rises * band:
        return True
    if gave_1(run, usual) > rises:
        return (
            True  # runs of a sample or two show no rise; what went before this one, the run before had filled
        )
    return high > switch.cut_out_pa - 0.35 * band
