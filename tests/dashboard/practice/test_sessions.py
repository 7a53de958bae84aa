"""An exercise: the same plant twice, one of them with a fault, watched as of any moment."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults import FAULTS
from dashboard.pages.practice import possible
from dashboard.practice import frames, strip
from dashboard.practice.healthy import Stretch, advance
from dashboard.practice.lessons import LESSONS, WELL, by_key, by_name
from dashboard.practice.record import IN_A_ROW, Record
from dashboard.practice.session import BEGINS_H, MOST_SESSIONS, Session, Sessions, Turns, chosen
from dashboard.telling.status import status
from simulator.works.faults import MECHANISMS
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path


def played(stretch: Stretch, name: str, days: float, **how: object) -> Session:
    """An exercise simulated to its end."""
    session = Session(stretch.plant, by_name(name), 2, days=days, **how)  # type: ignore[arg-type]
    session.start(stretch)
    until = time.monotonic() + 60
    while not session.done:
        assert time.monotonic() < until
        time.sleep(0.02)
    return session


@pytest.fixture(scope="module")
def stretch() -> Stretch:
    return Stretch(made.juniper())


@pytest.fixture(scope="module")
def prime(stretch: Stretch) -> Session:
    return played(stretch, "lost_prime", 0.1)


def test_every_fault_is_taught_and_every_double_is_a_lesson() -> None:
    assert {lesson.fault for lesson in LESSONS} == set(FAULTS)
    known = {(one.fault, one.cause) for one in MECHANISMS}
    for lesson in LESSONS:
        assert lesson.key in known
        assert all(by_key(key) is not lesson for key in lesson.doubles)
        assert len(lesson.doubles) == 3


def test_the_twin_is_the_same_until_the_fault_begins(prime: Session) -> None:
    assert prime.tape is not None
    assert prime.twin is not None
    span = prime.begin_us - 10**10, prime.onset_us
    mine, well = (tape.series("pressure", *span) for tape in (prime.tape, prime.twin))
    assert len(mine) > 5_000
    assert np.array_equal(mine.value, well.value)
    after = prime.onset_us, prime.end_us
    mine, well = (tape.series("pressure", *after) for tape in (prime.tape, prime.twin))
    assert not np.array_equal(mine.value, well.value[: len(mine)])


def test_the_fault_is_called_while_it_lasts_and_not_before(prime: Session) -> None:
    detection = prime.detection()
    assert detection is not None
    assert prime.onset_us < detection.raised_us < prime.end_us
    before = frames.told(prime, detection.raised_us - 2_000_000, twin=False)
    after = frames.told(prime, detection.raised_us + 1_000_000, twin=False)
    assert before.mood == "well"
    assert after.mood == "wrong"
    assert after.verdict == "The pump runs but moves no water."
    began, shows, called = frames.marks(prime)
    assert [mark["kind"] for mark in (began, shows, called)] == ["onset", "shows", "called"]
    assert began["at"] <= shows["at"] < called["at"]  # nobody calls what no sensor shows yet
    assert prime.first_words(detection) in called["says"]
    assert frames.summary(prime).startswith("Called ")


def test_scrubbing_back_forgets_what_came_later(prime: Session) -> None:
    """A moment is the same whether it was reached from before or from the end."""
    assert prime.tape is not None
    early, late = prime.onset_us, prime.end_us
    first = status(prime.tape.facts(early))
    status(prime.tape.facts(late))
    assert status(prime.tape.facts(early)) == first
    facts = prime.tape.facts(early)
    assert all(run.stop_us <= early for run in facts.cycles)
    assert all(one.time_us <= early for one in facts.latest.values())


def test_played_blind_nothing_tells(stretch: Stretch) -> None:
    session = played(stretch, "lost_prime", 0.1, choices=("lost_prime", "dry_supply", WELL.name))
    for at_us in range(session.onset_us, session.end_us, 1_200_000_000):
        message = frames.frame(session, at_us, "/x", "", twin=True)
        assert message["mood"] == "well"
        assert "moves no water" not in str(message)
    assert frames.marks(session) == []
    assert frames.summary(session) == ""
    session.answer = "dry_supply"
    assert frames.marks(session)


def test_the_healthy_stretch_has_no_findings(stretch: Stretch) -> None:
    """What stood before the fault would be taken for it."""
    healthy = stretch.ready()
    assert healthy.tape.findings(healthy.simulation.now_us) == []


def test_every_look_is_drawn_with_its_twin(prime: Session) -> None:
    for look, _ in strip.looks(prime.plant):
        one = frames.overview(prime, look, twin=True)  # type: ignore[arg-type]
        assert one["words"].endswith(".")
        assert any("mine" in role for role, _ in one["paths"]), look
    assert any("twin" in role for role, _ in frames.overview(prime, "pressure", twin=True)["paths"])


@pytest.mark.parametrize(
    "name",
    [
        "short_cycling.overcharged_tank",
        "short_cycling.switch_chatter",
        "storage_depletion.demand",
        "storage_overflow",
        "blocked_discharge.frozen",
        "motor_overload",
        "freeze_risk",
        "salinity_high",
        "sensor_fault.stuck",
    ],
)
def test_a_lesson_at_its_plain_level_is_found(stretch: Stretch, name: str) -> None:
    """An exercise that nobody calls teaches that the tool is blind. Those that were missed once, and the
    cheap ones; all of them take a minute and a half of processor."""
    lesson, healthy = by_name(name), stretch.ready()
    session = Session(stretch.plant, lesson, 1)
    at_us = healthy.simulation.now_us
    session.onset_us = at_us + round((BEGINS_H if lesson.begins_h is None else lesson.begins_h) * 3_600e6)
    world = healthy.simulation.forked(*session._plans(healthy, session.onset_us))
    engine, session.tape = Engine.restore(stretch.plant, healthy.state), healthy.tape.copy(())
    session.twin = session.tape
    end_us = session.onset_us + round(lesson.days * 86_400e6)
    while at_us < end_us and session.detection() is None:
        at_us = min(at_us + 6 * 3_600_000_000, end_us)
        advance(world, engine, session.tape, at_us)
    found = session.detection()
    assert found is not None
    assert found.cause == lesson.cause


def test_sessions_are_bounded_in_number_and_memory(stretch: Stretch, prime: Session) -> None:
    held = Sessions()
    several = [Session(stretch.plant, by_name("lost_prime"), 1) for _ in range(MOST_SESSIONS + 2)]
    for session in several:
        held.add(session)
    assert len(held) == MOST_SESSIONS
    assert several[0].stopped.is_set()
    assert held.get(several[0].id) is None
    assert held.get(several[-1].id) is several[-1]
    assert prime.tape is not None
    assert prime.twin is not None
    assert prime.tape.nbytes + prime.twin.nbytes < 12_000_000


def test_blind_exercises_come_from_what_is_least_known() -> None:
    lessons = list(LESSONS)
    seen = [chosen(lessons, lambda one: 0 if one.fault == "lost_prime" else 10_000) for _ in range(60)]
    picked = [lesson.fault for lesson, _, _ in seen]
    assert picked.count("lost_prime") > 30
    for lesson, names, begins_h in seen:
        assert lesson.name in names
        assert names[-1] == WELL.name
        assert len(set(names)) == len(names) >= 4
        assert 4.0 <= begins_h <= 18.0


def test_the_record_remembers_what_was_mastered(tmp_path: Path) -> None:
    record = Record(tmp_path / "plant")
    assert record.read() == {}
    for _ in range(IN_A_ROW):
        record.answered("lost_prime", right=True)
    assert Record(tmp_path / "plant").read()["lost_prime"].mastered
    record.answered("lost_prime", right=False)
    marks = record.read()["lost_prime"]
    assert (marks.asked, marks.right, marks.mastered) == (4, 3, False)
    (tmp_path / "plant" / "practice.json").write_text("{broken")
    assert record.read() == {}


def test_the_newest_exercise_goes_first() -> None:
    turns, done = Turns(), []

    def work(name: str, begun: threading.Event, go: threading.Event) -> None:
        with turns.place() as my_turn:
            begun.set()
            go.wait(10)
            my_turn()
            done.append(name)

    go, threads = threading.Event(), []
    for name in ("first", "second"):
        begun = threading.Event()
        threads.append(threading.Thread(target=work, args=(name, begun, go)))
        threads[-1].start()
        assert begun.wait(10)
    go.set()
    for thread in threads:
        thread.join(10)
    assert done == ["second", "first"]


def test_a_repair_shows_and_the_finding_clears(stretch: Stretch, prime: Session) -> None:
    """The same readings until the repair; then the healthy signature, and the finding taken back."""
    called = prime.detection()
    assert called is not None
    assert prime.tape is not None
    again = prime.mended(called.raised_us + 600_000_000)
    again.start(stretch)
    until = time.monotonic() + 90
    while not again.done:
        assert time.monotonic() < until
        time.sleep(0.02)
    assert again.tape is not None
    assert again.mended_us == called.raised_us + 600_000_000
    span = prime.begin_us, again.mended_us - 60_000_000
    first, second = (tape.series("pressure", *span) for tape in (prime.tape, again.tape))
    assert np.array_equal(first.value, second.value)
    detection = again.detection()
    assert detection is not None
    assert detection.raised_us == called.raised_us
    assert detection.cleared_us is not None
    assert detection.cleared_us > again.mended_us
    kinds = [mark["kind"] for mark in frames.marks(again)]
    assert kinds[-2:] == ["mended", "cleared"]
    assert "the finding cleared" in frames.summary(again)
    assert frames.told(again, again.end_us, twin=False).mood == "well"
    assert "cleared" not in [mark["kind"] for mark in frames.marks(prime)]


def test_two_faults_come_one_after_the_other_and_both_are_told(stretch: Stretch) -> None:
    """A sensor that falls silent, and frost: neither hides the other."""
    first, second = by_name("sensor_fault.silent"), by_name("freeze_risk")
    both = Session(stretch.plant, first, 2, second=second, begins_h=18.0)
    assert both.days == 0.5 * first.days + second.days
    both.start(stretch)
    until = time.monotonic() + 120
    while not both.done:
        assert time.monotonic() < until
        time.sleep(0.05)
    assert both.began_us(second) - both.onset_us == round(0.5 * first.days * 86_400e6)
    told = [both.detection(one) for one in both.lessons]
    assert [one and one.fault for one in told] == ["sensor_fault", "freeze_risk"]
    assert set(both.shows_us) == {first.name, second.name}
    marks = frames.marks(both)
    assert [mark["at"] for mark in marks] == sorted(mark["at"] for mark in marks)
    assert {mark["word"] for mark in marks} >= {"began", "second", "called"}
    assert [mark["kind"] for mark in marks].count("called") == 2
    assert frames.summary(both).count(": Called ") == 2


def test_a_mark_quotes_what_was_said_then(prime: Session) -> None:
    """A finding's words grow with it; its mark is of the moment of the call."""
    detection = prime.detection()
    assert detection is not None
    called = next(mark["says"] for mark in frames.marks(prime) if mark["kind"] == "called")
    assert prime.first_words(detection) in called
    assert "hour" not in prime.first_words(detection)


def test_no_leak_starts_a_pump_too_often_whose_tank_is_large_enough() -> None:
    juniper = made.juniper()
    assert juniper.pressure_tank is not None
    leak = by_name("short_cycling.leak")
    assert leak not in possible(juniper)
    small = replace(juniper.pressure_tank, volume_m3=0.2 * juniper.pressure_tank.volume_m3)
    assert leak in possible(replace(juniper, pressure_tank=small))
