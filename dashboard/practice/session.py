"""One exercise being played: a fault on a copy of the plant, and its healthy twin beside it.

Both go on from the same healthy moment with the same seed: until the fault begins they are the same
to the last digit. They are simulated in the background, a stretch at a time, and may be watched as
far as they have come.
"""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from contextlib import contextmanager
from typing import TYPE_CHECKING

from analytics.engine import Engine
from analytics.plant.description import Measure
from dashboard.practice.healthy import DAY_US, advance
from dashboard.practice.lessons import WELL
from simulator.onset import FaultPlan
from simulator.truth.labels import truths

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from analytics.plant.description import Plant
    from analytics.records import Finding
    from dashboard.practice.healthy import Healthy, Stretch
    from dashboard.practice.lessons import Lesson
    from dashboard.practice.tape import Tape
    from simulator.simulation import Simulation

HOUR_US = DAY_US // 24
#: Ten minutes before the misting at one o'clock: the pump is about to be wanted.
BEGINS_H = 12.83
#: Watched before the fault begins: at least ten minutes, and an hour for each day after it.
BEFORE_US = HOUR_US // 6
#: How finely the engine is fed: what it says of a run or a change of mind is known to that precision.
FINE_US, COARSE_US = 60_000_000, 300_000_000
FINE_FOR_US = 2 * HOUR_US
MOST_SESSIONS = 4
#: Watched after a repair: as long as the lesson itself, and at least as long as a finding may need to clear.
AFTER_REPAIR_DAYS = 0.5
#: A second fault comes after so much of the time that the first is worth watching: one alone, then both.
SECOND_AFTER = 0.5
#: Every blind exercise is as long, for its length would tell.
BLIND_DAYS = 3.0


class Turns:
    """One exercise is simulated at a time, for live pages are served by the same processor: the newest,
    since its person is looking; older ones go on when it is done."""

    def __init__(self) -> None:
        self._at = threading.Condition()
        self._here: list[int] = []
        self._count = 0

    @contextmanager
    def place(self) -> Iterator[Callable[[], None]]:
        """A place among those at work; the function given waits for its turn."""
        with self._at:
            self._count += 1
            mine = self._count
            self._here.append(mine)
        try:
            yield lambda: self._wait(mine)
        finally:
            with self._at:
                self._here.remove(mine)
                self._at.notify_all()

    def _wait(self, mine: int) -> None:
        with self._at:
            self._at.wait_for(lambda: mine == max(self._here))


_TURNS = Turns()


class Session:
    """An exercise: the lesson, how bad, from when; its two tapes; whether it is played blind."""

    def __init__(
        self,
        plant: Plant,
        lesson: Lesson,
        level: int,
        *,
        second: Lesson | None = None,
        begins_h: float | None = None,
        choices: tuple[str, ...] = (),
        days: float | None = None,
        mended_after_us: int | None = None,
    ) -> None:
        """`second`: a fault that comes on top of the first, SECOND_AFTER of the first's time later.
        `mended_after_us`: how long after its beginning all is mended; not at all where None."""
        self.id = secrets.token_urlsafe(9)
        self.plant, self.lesson, self.level, self.second = plant, lesson, level, second
        self.lessons = (lesson,) if second is None else (lesson, second)
        self.choices = choices  # names of lessons to choose from; empty: not blind
        self._own_days = max(lesson.days, 0.0 if second is None else SECOND_AFTER * lesson.days + second.days)
        self.days = self._own_days if days is None else days
        if begins_h is None:
            begins_h = BEGINS_H if lesson.begins_h is None else lesson.begins_h
        self.mended_after_us = mended_after_us
        self.answer: str | None = None
        self._begins_us = round(begins_h * HOUR_US)
        self.begin_us = self.onset_us = self.end_us = 0
        self.shows_us: dict[str, int] = {}  # by lesson: from when a fitted sensor could show it, once known
        self._over = False
        self.tape: Tape | None = None
        self.twin: Tape | None = None
        self.failed = ""
        self.ready = threading.Event()
        self.stopped = threading.Event()

    @property
    def blind(self) -> bool:
        """Played blind and not answered yet."""
        return bool(self.choices) and self.answer is None

    @property
    def mended_us(self) -> int | None:
        """When the fault is mended, in an exercise that mends it."""
        return None if self.mended_after_us is None else self.onset_us + self.mended_after_us

    def mended(self, at_us: int) -> Session:
        """The same exercise again, mended at this moment, and watched on."""
        after_us = max(at_us - self.onset_us, HOUR_US // 60)
        days = after_us / DAY_US + max(self._own_days, AFTER_REPAIR_DAYS)
        begins_h = self._begins_us / HOUR_US
        return Session(
            self.plant,
            self.lesson,
            self.level,
            second=self.second,
            begins_h=begins_h,
            days=days,
            mended_after_us=after_us,
        )

    def began_us(self, lesson: Lesson) -> int:
        """When this one of its faults begins."""
        later = round(SECOND_AFTER * self.lesson.days * DAY_US) if lesson is self.second else 0
        return self.onset_us + later

    @property
    def until_us(self) -> int:
        """Up to where it can be watched."""
        return min(self.tape.until_us, self.twin.until_us) if self.tape and self.twin else 0

    @property
    def done(self) -> bool:
        return self._over

    def start(self, stretch: Stretch) -> None:
        threading.Thread(target=self._make, args=(stretch,), name=f"practice {self.id}", daemon=True).start()

    def _make(self, stretch: Stretch) -> None:
        healthy = stretch.ready()
        with _TURNS.place() as my_turn:
            self._simulate(healthy, my_turn)

    def _simulate(self, healthy: Healthy, my_turn: Callable[[], None]) -> None:
        at_us = healthy.simulation.now_us
        onset_us = at_us + self._begins_us
        pressure = [self.plant.signals[i].name for i in self.plant.measuring(Measure.LINE_PRESSURE)]
        plans = self._plans(healthy, onset_us)
        faulty, well = healthy.simulation.forked(*plans), healthy.simulation.forked()
        engines = [Engine.restore(self.plant, healthy.state) for _ in range(2)]
        before_us = max(BEFORE_US, round(self.days * HOUR_US))
        self.begin_us, self.onset_us = onset_us - before_us, onset_us
        self.end_us = onset_us + round(self.days * DAY_US)
        self.tape, self.twin = healthy.tape.copy(), healthy.tape.copy(pressure)
        while at_us < self.end_us and not self.stopped.is_set():
            my_turn()
            if at_us < self.begin_us:  # nobody watches yet
                at_us = min(at_us + 6 * HOUR_US, self.begin_us)
            else:
                at_us = min(at_us + (FINE_US if at_us < onset_us + FINE_FOR_US else COARSE_US), self.end_us)
            advance(faulty, engines[0], self.tape, at_us)
            advance(well, engines[1], self.twin, at_us)
            if at_us >= self.begin_us:
                self.ready.set()
        if not self.stopped.is_set() and plans:
            my_turn()
            self.shows_us = self._shows(faulty)
        self._over = not self.stopped.is_set()

    def _shows(self, faulty: Simulation) -> dict[str, int]:
        """When each practised fault left what the sensors' noise hides: the simulator's own truth."""
        told = {(one.fault, one.cause): one.symptomatic_us for one in truths(faulty) if not one.follows}
        shown = {lesson.name: told.get(lesson.key) for lesson in self.lessons}
        return {name: at_us for name, at_us in shown.items() if at_us is not None}

    def _plans(self, healthy: Healthy, onset_us: int) -> tuple[FaultPlan, ...]:
        if self.lesson is WELL:
            return ()
        first_s = (onset_us - healthy.simulation.start_us) / 1e6
        mended_s = None if self.mended_after_us is None else first_s + self.mended_after_us / 1e6
        plans = []
        for lesson in self.lessons:
            from_s = first_s + (self.began_us(lesson) - self.onset_us) / 1e6
            if mended_s is not None and mended_s <= from_s:
                continue  # it was mended before this one came: then it does not come
            plan = FaultPlan(
                lesson.fault,
                lesson.cause,
                lesson.levels[self.level],
                from_s,
                mended_s,
                onset="ramp" if lesson.over_days else "sudden",
                over_s=lesson.over_days * 86_400.0,
                signal=practised_signal(self.plant) if lesson.fault == "sensor_fault" else None,
            )
            plans.append(plan)
        return tuple(plans)

    def first_words(self, finding: Finding) -> str:
        """What was said of it as it was raised: a finding's words grow with it."""
        known = self.tape.findings(finding.raised_us + FINE_US) if self.tape else []
        return next((one.summary for one in known if one.key == finding.key), finding.summary)

    def found(self) -> list[Finding]:
        """Findings raised since the fault began, as far as it has been played out, first one first."""
        if self.tape is None:
            return []
        return [one for one in self.tape.findings(self.until_us) if one.raised_us >= self.onset_us]

    def detection(self, lesson: Lesson | None = None) -> Finding | None:
        """The finding that names the fault (of the first lesson, unless told of which); None while there is
        none. Of two of one name, such as two causes of short cycling, the one with the right cause."""
        one = self.lesson if lesson is None else lesson
        named = [f for f in self.found() if f.fault == one.fault and f.raised_us >= self.began_us(one)]
        if self.second is not None and self.second.fault == self.lesson.fault:
            named = [f for f in named if f.cause == one.cause]
        return named[0] if named else None


def practised_signal(plant: Plant) -> str:
    """The sensor that lies when a sensor's fault is practised."""
    at = plant.measuring(Measure.LINE_PRESSURE) or range(1)
    return plant.signals[at[0]].name


class Sessions:
    """The exercises that are open on one plant; the one longest untouched makes room."""

    def __init__(self, most: int = MOST_SESSIONS) -> None:
        self._most = most
        self._held: OrderedDict[str, Session] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, session: Session) -> None:
        with self._lock:
            self._held[session.id] = session
            while len(self._held) > self._most:
                _, oldest = self._held.popitem(last=False)
                oldest.stopped.set()

    def get(self, identity: str) -> Session | None:
        with self._lock:
            if identity in self._held:
                self._held.move_to_end(identity)
            return self._held.get(identity)

    def __len__(self) -> int:
        return len(self._held)


def chosen(lessons: list[Lesson], mastered: Callable[[Lesson], int]) -> tuple[Lesson, tuple[str, ...], float]:
    """A blind exercise: the lesson, the names to choose from, the hour at which it begins.

    What has been answered right least often comes most often; nothing at all comes one time in eight.
    """
    dice = secrets.SystemRandom()
    weights = [1.0 / (1 + mastered(lesson)) for lesson in lessons]
    lesson = dice.choices(lessons, weights)[0] if dice.random() > 0.125 else WELL
    there = {one.key: one for one in lessons}
    others = [there[key].name for key in lesson.doubles if key in there]
    rest = [one.name for one in lessons if one is not lesson and one.name not in others]
    names = {lesson.name, WELL.name, *others, *dice.sample(rest, min(len(rest), 4 - len(others)))}
    shuffled = sorted(names - {WELL.name})
    dice.shuffle(shuffled)
    # what comes in the small hours comes among others that do, for the hour would tell
    early = lesson.begins_h is not None or dice.random() < 0.2
    begins_h = 4.0 + dice.random() if early else 6.0 + 12.0 * dice.random()
    return lesson, (*shuffled, WELL.name), begins_h
