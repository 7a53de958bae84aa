"""From the motor's runs and rests to what is due to be measured, and when.

Runs are due a minute after their stop (for the slope of tank water there) or at the next start;
rests in pieces; looks into an open run at fixed ages. All of it follows from reading times alone.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from analytics.seeing.motor import Motor, Spell

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.seeing.tracks import Track

#: The air in the tank comes to rest in ten minutes after a stop (trial figures); later pieces are
#: half an hour, long enough for a slope of a litre an hour, short enough to bound memory.
FIRST_PIECE_US = 600_000_000
PIECE_US = 1_800_000_000
#: A run is measured with what follows its stop for so long.
AFTER_US = 60_000_000
#: Of a long run no more than its last part is kept.
TAIL_US = 1_200_000_000
#: What lies before a spell is wanted for the slopes there: eight samples at one a minute.
MARGIN_US = 600_000_000

#: Ages of a run at which it is looked into [s]: each 5 s at first, for a call within half a minute.
AGES_S = np.concatenate((np.arange(5.0, 120.0, 5.0), np.arange(120.0, 21_600.0, 10.0)))
LATER_US = 60_000_000
FIRST_AGES_US = (AGES_S * 1e6).astype(np.int64)
FEW_HOURS_US = 21_600_000_000


def ages_us(upto_us: int) -> NDArray[np.int64]:
    """All ages up to one [us]; each minute after six hours."""
    ages = FIRST_AGES_US
    if upto_us > FEW_HOURS_US:
        ages = np.concatenate((ages, np.arange(FEW_HOURS_US, upto_us + LATER_US, LATER_US)))
    return ages[: np.searchsorted(ages, upto_us, side="right")]


@dataclass(frozen=True, slots=True)
class Ended:
    """A run that is over and waits to be measured."""

    before_us: int  # last motor sample at rest
    from_us: int  # first motor sample that runs
    last_us: int  # last motor sample that runs
    to_us: int  # first motor sample at rest again
    seen: bool
    ended: bool
    before_stop_us: int | None  # stop of the run before
    due_us: int
    next_us: int | None = None  # start of the run after, where it came first


class Piece(msgspec.Struct, frozen=True):
    at_us: int
    stop_us: int
    from_us: int
    to_us: int
    seen: bool


class Spells:
    def __init__(self, motor: Motor) -> None:
        self.motor = motor
        self._waiting: list[Ended] = []
        self.ended: list[Spell] = []  # runs that ended in this feed
        self.stops_before: dict[int, int | None] = {}  # of those and the open run, by first sample
        self._stop_us: int | None = None  # of the newest run, if seen
        self._rest_from_us: int | None = None  # where the open rest's open piece begins
        self._rest_stop_us = 0
        self._rest_seen = False

    def feed(
        self, track: Track, instants_us: NDArray[np.int64]
    ) -> tuple[list[tuple[int, Ended]], list[Piece]]:
        """Runs now due, each with the time that made it so, and pieces of rest now over."""
        pieces: list[Piece] = []
        due: list[tuple[int, Ended]] = []
        timed: list[Ended] = []  # due by time alone: nothing can come before that any more
        self.ended = []
        open_run = self.open_run()
        self.stops_before = {k: v for k, v in self.stops_before.items() if open_run and k == open_run.from_us}
        for spell in self.motor.feed(track):
            if spell.on:
                self._run_ended(spell, track)
            else:
                self._rest_ended(spell, pieces, instants_us)
                self._next_start(spell, due, timed)
        now = self.motor.now
        if now is not None:
            self._waiting = [run for run in self._waiting if not (now.on and run.from_us == now.from_us)]
            if not now.on:
                self._cut_rest(now, pieces, instants_us, None)
            else:
                self._rest_from_us = None
                self.stops_before.setdefault(now.from_us, self._stop_us)
        self._due_by_time(due, timed, instants_us)
        return due, pieces

    def _run_ended(self, spell: Spell, track: Track) -> None:
        assert spell.to_us is not None
        self._due_run_again(spell)
        self.ended.append(replace(spell))
        self.stops_before.setdefault(spell.from_us, self._stop_us)
        wait = max(AFTER_US, int(4e6 * track.pace.typical_s(spell.to_us)))
        self._waiting.append(
            Ended(
                spell.before_us,
                spell.from_us,
                spell.last_us,
                spell.to_us,
                spell.seen,
                spell.ended,
                self._stop_us,
                spell.to_us + min(wait, 4 * AFTER_US),
            )
        )

    def _due_run_again(self, spell: Spell) -> None:
        """A run that a hiccup had ended too early is forgotten; its stop too."""
        for run in self._waiting:
            if run.from_us == spell.from_us:
                self._stop_us = run.before_stop_us
        self._waiting = [run for run in self._waiting if run.from_us != spell.from_us]

    def _rest_ended(self, spell: Spell, pieces: list[Piece], instants_us: NDArray[np.int64]) -> None:
        assert spell.to_us is not None
        self._cut_rest(spell, pieces, instants_us, spell.to_us)
        self._rest_from_us = None

    def _next_start(self, rest: Spell, due: list[tuple[int, Ended]], timed: list[Ended]) -> None:
        """The start that ended this rest makes the waiting runs due."""
        assert rest.to_us is not None
        still = []
        for run in self._waiting:
            if run.to_us >= rest.to_us or not rest.ended:
                still.append(run)
            elif run.due_us > rest.to_us:
                due.append((rest.to_us, replace(run, next_us=rest.to_us)))
            else:
                timed.append(run)
        self._waiting = still

    def _due_by_time(
        self, due: list[tuple[int, Ended]], timed: list[Ended], instants_us: NDArray[np.int64]
    ) -> None:
        still = []
        for run in [*timed, *self._waiting]:
            position = int(np.searchsorted(instants_us, run.due_us))
            if position < len(instants_us):
                due.append((int(instants_us[position]), run))
            else:
                still.append(run)
        self._waiting = still
        due.sort(key=lambda each: each[1].from_us)

    def _cut_rest(
        self, rest: Spell, pieces: list[Piece], instants_us: NDArray[np.int64], end_us: int | None
    ) -> None:
        """Pieces of one rest that are over: by its own clock, or by its end."""
        if self._rest_from_us is None or self._rest_stop_us != rest.from_us:
            self._rest_from_us, self._rest_stop_us, self._rest_seen = rest.from_us, rest.from_us, rest.seen
            self._stop_us = rest.from_us if rest.seen else None
        limit = end_us if end_us is not None else (int(instants_us[-1]) if len(instants_us) else -(2**62))
        while True:
            length = FIRST_PIECE_US if self._rest_from_us == rest.from_us else PIECE_US
            boundary = self._rest_from_us + length
            if boundary > limit:
                break
            position = int(np.searchsorted(instants_us, boundary))
            if position >= len(instants_us):
                break
            at_us = int(instants_us[position])
            if at_us - boundary < length:
                pieces.append(Piece(at_us, rest.from_us, self._rest_from_us, boundary, self._rest_seen))
                self._rest_from_us = boundary
            else:  # a long silence: pieces within it hold nothing
                steps = (at_us - boundary) // PIECE_US
                self._rest_from_us = boundary + steps * PIECE_US
        # between the last word of rest and the first of the run the pump may have started already
        last_us = min(rest.last_us + 1, end_us) if end_us is not None else 0
        if end_us is not None and last_us > self._rest_from_us:
            pieces.append(Piece(end_us, rest.from_us, self._rest_from_us, last_us, self._rest_seen))

    def open_run(self) -> Spell | None:
        """The run that is going on, if one is."""
        return self.motor.now if self.motor.now is not None and self.motor.now.on else None

    def needs_from_us(self, now_us: int) -> int:
        """Samples before this are of no more use."""
        needs = [now_us - AFTER_US]
        needs += [max(run.from_us, run.to_us - TAIL_US) - MARGIN_US for run in self._waiting]
        now = self.motor.now
        if now is not None and now.on:
            needs.append(max(now.from_us, now_us - TAIL_US) - MARGIN_US)
        elif self._rest_from_us is not None:
            needs.append(max(self._rest_from_us, now_us - PIECE_US) - MARGIN_US)
        return min(needs)

    def saved(self) -> dict[str, Any]:
        return {
            "motor": self.motor.saved(),
            "waiting": [asdict(run) for run in self._waiting],
            "stop_us": self._stop_us,
            "stops_before": list(self.stops_before.items()),
            "rest": [self._rest_from_us, self._rest_stop_us, self._rest_seen],
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self.motor.restore(saved["motor"])
        self._waiting = [Ended(**run) for run in saved["waiting"]]
        self._stop_us = saved["stop_us"]
        self.stops_before = dict(saved["stops_before"])
        self._rest_from_us, self._rest_stop_us, self._rest_seen = saved["rest"]
