"""From readings to events: everything that is seen before anything is judged.

No event here depends on what was found wrong, so that a year's events can be worked out in arrays.
"""

from __future__ import annotations

from dataclasses import asdict
from math import inf
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.physics.fits import fit_lines, median
from analytics.plant.description import Measure
from analytics.seeing.beats import Beat, BeatFold
from analytics.seeing.cycles import SETTLE_US, Start, measure_runs, measure_starts
from analytics.seeing.days import Days
from analytics.seeing.events import Day, Look, Rest, Run
from analytics.seeing.looks import Underway, look_into
from analytics.seeing.middles import unspiked
from analytics.seeing.motor import Motor, learns_level, motor_signal, running_level
from analytics.seeing.parting import part
from analytics.seeing.silences import Silence, Silences
from analytics.seeing.silent_looks import look_while_silent
from analytics.seeing.spells import TAIL_US, Piece, Spells
from analytics.seeing.stillness import Stood
from analytics.seeing.tracks import Track
from analytics.seeing.water import Water

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.seeing.events import Event

#: Of events due at one moment: what is over first, then what goes on, then the clock's.
RANK = {kind: rank for rank, kind in enumerate((Rest, Run, Stood, Look, Beat, Silence, Day))}
#: Of the switch's band: a rest whose pressures all lie so close together has no rise to tell of.
LITTLE = 0.1
OTHERS = {
    "discharge": Measure.DISCHARGE_PRESSURE,
    "suction": Measure.SUCTION_PRESSURE,
    "flow": Measure.SUPPLY_FLOW,
}


class Observer:
    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.water = Water.of(plant)
        self.tracks = [Track(plant, signal) for signal in plant.signals]
        self.motor_at = motor_signal(plant)
        motor = Motor(0.0)
        if self.motor_at is not None:
            motor = Motor(running_level(plant, self.motor_at), learns_level(plant, self.motor_at))
        self.spells = Spells(motor)
        pressures = plant.measuring(Measure.LINE_PRESSURE)
        self.pressure = self.tracks[pressures[0]] if pressures else None
        self._little_pa = LITTLE * (plant.switch.cut_out_pa - plant.switch.cut_in_pa) if plant.switch else inf
        self.beats, self.silences, self.days = (
            BeatFold(plant, motor.levels),
            Silences(plant),
            Days(plant.timezone),
        )
        self._others = {
            name: self.tracks[found[0]]
            for name, measure in OTHERS.items()
            if (found := plant.measuring(measure))
        }
        if self.motor_at is not None and plant.signals[self.motor_at].measures is not Measure.PUMP_RUNNING:
            self._others["motor"] = self.tracks[self.motor_at]
        self._starts: dict[int, Start] = {}  # of the open run, once it is long
        self._looked: tuple[int, int, int] = (0, 0, 0)  # run (its first sample), ages looked at, ages past

    def feed(self, readings: Readings) -> list[Event]:
        """Events that readings, in order of time, have made due; in order."""
        if not len(readings):
            return []
        parted = part(readings, len(self.tracks))
        for track, words in zip(self.tracks, parted.of, strict=True):
            track.add(words)
        instants = readings.time_us
        events: list[Event] = []
        if self.motor_at is not None:
            due, pieces = self.spells.feed(self.tracks[self.motor_at], instants)
            events += self._looks(instants)
            events += measure_runs(self.pressure, self.water, due, self._starts, self._others)
            events += self._rests(pieces)
        for track in self.tracks:
            events += track.stood
        events += self.beats.feed(parted)
        events += self.silences.feed(parted)
        events += self.days.feed(instants)
        events.sort(key=_order)
        return events

    def _looks(self, instants_us: NDArray[np.int64]) -> list[Look]:
        """Into runs that ended in this feed and into the one that goes on."""
        if self.pressure is None:
            return []
        spells, open_run = list(self.spells.ended), self.spells.open_run()
        if open_run is not None:
            spells.append(open_run)
        stops = self.spells.stops_before
        underway = [
            Underway(
                spell.before_us,
                spell.from_us,
                spell.seen,
                stops.get(spell.from_us),
                spell.to_us if spell.to_us is not None else 2**62,
                self._looked[1] if self._looked[0] == spell.from_us else 0,
                tuple(spell.holes),
                self._looked[2] if self._looked[0] == spell.from_us else 0,
            )
            for spell in spells
        ]
        asked = (self.plant, self.pressure, self.water, underway, self._starts, self._others)
        looks, looked = look_into(*asked)
        silent, passed = look_while_silent(*asked, instants_us)
        if underway:
            self._looked = (underway[-1].from_us, looked[-1], passed[-1])
        return looks + silent

    def _rests(self, pieces: list[Piece]) -> list[Rest]:
        if not pieces or self.pressure is None:
            return []
        track = self.pressure
        settle = [piece.from_us + (SETTLE_US if piece.from_us == piece.stop_us else 0) for piece in pieces]
        first = np.searchsorted(track.time_us, settle)
        end = np.searchsorted(track.time_us, [piece.to_us for piece in pieces])
        lines = fit_lines(track.time_us, track.value, first, end, self.water.at)
        found = []
        for k, piece in enumerate(pieces):
            a, b = int(first[k]), int(end[k])
            gap = bool(track.gap[a:b].any())
            found.append(
                Rest(
                    at_us=piece.at_us,
                    stop_us=piece.stop_us,
                    from_us=piece.from_us,
                    to_us=piece.to_us,
                    samples=int(lines.count[k]),
                    entire=piece.seen and not gap,
                    slope_m3_s=_or_none(lines.slope[k]),
                    slope_error_m3_s=_or_none(lines.error[k]),
                    pressure_from_pa=_middle(track.value[a : min(a + 5, b)]),
                    pressure_to_pa=_middle(track.value[max(b - 5, a) : b]),
                    scatter_m3=_or_none(lines.scatter[k]),
                    rise_pa=_rise_pa(track.value[a:b], self._little_pa),
                )
            )
        return found

    def forget(self, now_us: int) -> None:
        """Let go of samples that no later event can need."""
        keep_us = self.spells.needs_from_us(now_us) if self.motor_at is not None else now_us
        run = self.spells.open_run()
        if run is None:
            self._starts = {}
        elif self.pressure is not None and now_us - run.from_us > TAIL_US and run.from_us not in self._starts:
            spacing = np.array([int(1e6 * self.pressure.pace.quick_s(run.from_us))], np.int64)
            stop = self.spells.stops_before.get(run.from_us)
            start = measure_starts(
                self.pressure, self.water, [(run.before_us, run.from_us, stop)], np.array([now_us]), spacing
            )
            self._starts = {run.from_us: start[0]}
        for track in self.tracks:
            track.trim(keep_us)

    def saved(self) -> dict[str, Any]:
        return {
            "tracks": [track.saved() for track in self.tracks],
            "spells": self.spells.saved(),
            "beats": self.beats.saved(),
            "silences": self.silences.saved(),
            "days": [self.days.from_us, self.days.to_us],
            "starts": [[run, asdict(start)] for run, start in self._starts.items()],
            "looked": list(self._looked),
        }

    def restore(self, saved: dict[str, Any]) -> None:
        for track, kept in zip(self.tracks, saved["tracks"], strict=True):
            track.restore(kept)
        self.spells.restore(saved["spells"])
        self.beats.restore(saved["beats"])
        self.silences.restore(saved["silences"])
        self.days.from_us, self.days.to_us = saved["days"]
        self._starts = {run: Start(**start) for run, start in saved["starts"]}
        run, looked, *passed = saved["looked"]
        self._looked = (run, looked, passed[0] if passed else 0)


def _order(event: Event) -> tuple[int, int]:
    return event.at_us, RANK[type(event)]


def _or_none(value: float) -> float | None:
    return float(value) if value == value else None


def _rise_pa(values: NDArray[np.float64], little_pa: float) -> float:
    if len(values) < 2 or values.max() - values.min() < little_pa:
        return 0.0  # of most, which is soon told
    shown = unspiked(values)
    return float(np.max(shown - np.minimum.accumulate(shown)))


def _middle(values: NDArray[np.float64]) -> float | None:
    return median(values) if len(values) else None
