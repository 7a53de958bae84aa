"""Recorded readings through engine and store: cut, killed, begun again, it comes to the same."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import msgspec
import numpy as np
import pytest

from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from analytics.records import Finding
from collector.backfill import backfill, resumed
from collector.store import Batch, Writer
from collector.store.signals import in_si
from simulator.onset import FaultPlan
from simulator.recording import simulate
from simulator.scenario import Scenario

ROOT = Path(__file__).parents[2]
START_US = 1_935_532_800_000_000
PLANT = parse_plant((ROOT / "simulator/plants/juniper-bench.toml").read_text(), "juniper-bench")


@pytest.fixture(scope="module", params=["lost_prime", "short_cycling"])
def recorded(request) -> Readings:
    """Two thirds of a day in which something breaks and is mended, in order of arrival, stored values."""
    broken = FaultPlan(request.param, None, severity=0.9, from_s=6 * 3600.0, until_s=14 * 3600.0)
    found = simulate(PLANT, Scenario("x", "x", faults=(broken,)), 0.67, 3, START_US)
    return Readings.of(found.signal, found.time_us, found.value)


def parts(found: Readings, count: int) -> list[Readings]:
    return [found[piece] for piece in np.array_split(np.arange(len(found)), count)]


def told(history) -> tuple:
    series = [history.readings(signal.name, 0, 2**62) for signal in PLANT.signals]
    stored = [(one.time_us.tobytes(), one.value.tobytes()) for one in series]
    return history.findings(), history.cycles(), history.outlooks(), stored


@pytest.fixture
def undisturbed(recorded, tmp_path):
    with Writer(tmp_path / "undisturbed", PLANT) as history:
        done = backfill(history, parts(recorded, 3))
        assert done.stored == len(recorded)
        assert len(history.findings()) >= 1
        return told(history)


def test_stopped_at_any_commit_and_started_again_the_findings_are_the_same(recorded, undisturbed, tmp_path):
    """Invariant 1: the process ends without a last snapshot, and what was not acknowledged comes again."""
    history = Writer(tmp_path, PLANT)
    engine = resumed(history)
    for number, part in enumerate(parts(recorded, 120)):
        fresh = history.admit(part)
        outcome = engine.feed(in_si(fresh, PLANT))
        said = Batch(
            fresh,
            outcome.cycles,
            outcome.findings,
            outcome.outlooks,
            snapshot=engine.snapshot() if number % 11 == 10 else None,
        )
        if number % 7 == 3:  # it dies before the commit, comes back, and hears the same again
            history.close()
            history = Writer(tmp_path, PLANT)
            engine = resumed(history)
            fresh = history.admit(part)
            again = engine.feed(in_si(fresh, PLANT))
            said = Batch(fresh, again.cycles, again.findings, again.outlooks)
        history.commit(said)
        if number % 7 == 5:  # and after it, before the acknowledgement
            history.close()
            history = Writer(tmp_path, PLANT)
            engine = resumed(history)
            assert len(history.admit(part)) == 0
    with history:
        last = engine.finish()
        history.commit(Batch(Readings.none(), last.cycles, last.findings, last.outlooks))
        assert told(history) == undisturbed


def test_a_backfill_begun_again_goes_on_where_it_stopped(recorded, undisturbed, tmp_path):
    class Stopped(Exception):
        pass

    def stop(_: object) -> None:
        raise Stopped

    with Writer(tmp_path, PLANT) as history, pytest.raises(Stopped):
        backfill(history, parts(recorded, 4), stop)
    with Writer(tmp_path, PLANT) as history:
        done = backfill(history, parts(recorded, 4))
        assert 0 < done.repeated < len(recorded)
        assert done.stored + done.repeated == len(recorded)
        assert done.not_examined == 0
        assert told(history) == undisturbed
        done = backfill(history, parts(recorded, 4))
        assert (done.stored, done.repeated) == (0, len(recorded))
        assert told(history) == undisturbed


def test_readings_before_what_was_examined_are_stored_and_said_to_be_unexamined(recorded, tmp_path):
    later, earlier = recorded[len(recorded) // 2 :], recorded[: len(recorded) // 2 - 1000]
    with Writer(tmp_path, PLANT) as history:
        backfill(history, [later])
        done = backfill(history, [earlier])
        assert (done.stored, done.not_examined) == (len(earlier), len(earlier))
        assert history.counts()["readings"] == len(later) + len(earlier)


def broken_at_the_end(recorded) -> Readings:
    return recorded[recorded.time_us < START_US + 13 * 3_600_000_000]


def test_with_other_signals_the_plant_is_learned_anew_and_what_is_open_stays_one_finding(recorded, tmp_path):
    with Writer(tmp_path, PLANT) as history:
        backfill(history, [broken_at_the_end(recorded)])
        before = history.findings(open_only=True)
        assert before
    turned = dataclasses.replace(PLANT, signals=PLANT.signals[::-1])
    with Writer(tmp_path, turned) as history:
        engine = resumed(history)
        assert [finding.key for finding in history.findings(open_only=True)] == [f.key for f in before]
        assert all(engine.is_open(finding.fault, finding.of) for finding in before)
        assert history.resume().fits


@pytest.mark.parametrize("state", [msgspec.msgpack.encode({"version": 0})])
def test_an_engine_state_of_another_version_is_learned_anew(recorded, tmp_path, state):
    """And what was open but is not known again does not stay open for ever."""
    found = broken_at_the_end(recorded)
    ghost = Finding("burst_line", None, START_US, START_US, "high", 0.9, "It was told by an older version.")
    with Writer(tmp_path, PLANT) as history:
        backfill(history, [found])
        before = history.findings(open_only=True)
        history.commit(Batch(findings=[ghost], snapshot=state))
        resumed(history)
        assert [finding.key for finding in history.findings(open_only=True)] == [f.key for f in before]
        assert next(f for f in history.findings() if f.key == ghost.key).cleared_us == found.time_us.max()
