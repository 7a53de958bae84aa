"""Labels and marks."""

from __future__ import annotations

import json

import pytest
from conftest import DAY_S, START_US

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.scenario import Scenario
from simulator.simulation import Simulation
from simulator.truth.labels import truths
from simulator.truth.score import Found, Labelled, read_findings, read_truths, score

_H = 3_600_000_000


def _truths(plant: Plant, *plans: FaultPlan, days: float = 2.0, **changes: object):
    simulation = Simulation(plant, Scenario("t", "t", faults=plans, **changes), 3, START_US)  # type: ignore[arg-type]
    simulation.advance(START_US + round(days * DAY_S * 1e6))
    return truths(simulation)


def _at(truth_us: int | None) -> float | None:
    return None if truth_us is None else (truth_us - START_US) / 1e6 / DAY_S


def test_a_fault_shows_with_the_next_run_not_before(juniper: Plant) -> None:
    (truth,) = _truths(juniper, FaultPlan("pump_wear", None, 0.8, 0.6 * DAY_S))
    assert _at(truth.from_us) == pytest.approx(0.6)
    assert 0.6 < _at(truth.symptomatic_us) < 1.2
    assert truth.until_us is None


def test_a_slow_fault_shows_later_than_a_sudden_one(juniper: Plant) -> None:
    sudden, slow = (
        _truths(juniper, FaultPlan("clogged_filter", None, 0.9, 0.1 * DAY_S, None, onset, 6 * DAY_S), days=3)[
            0
        ]
        for onset in ("sudden", "ramp")
    )
    assert slow.symptomatic_us > sudden.symptomatic_us


def test_a_fault_too_small_never_shows(juniper: Plant) -> None:
    (truth,) = _truths(juniper, FaultPlan("pump_wear", None, 1e-6, 0.2 * DAY_S), days=1)
    assert truth.symptomatic_us is None


def test_planned_and_followed(juniper: Plant) -> None:
    """A storage that runs dry unplanned is labelled too, and a repair ends a truth."""
    truths = _truths(
        juniper, FaultPlan("lost_prime", None, 1.0, 0.2 * DAY_S, 0.5 * DAY_S), storage_share=0.06, dry=True
    )
    kinds = {(truth.fault, truth.follows) for truth in truths}
    assert ("lost_prime", False) in kinds
    assert ("storage_depletion", True) in kinds
    prime = next(truth for truth in truths if truth.fault == "lost_prime")
    assert _at(prime.until_us) == pytest.approx(0.5)


def test_silent_sensor_shows_when_it_is_missed(juniper: Plant) -> None:
    plan = FaultPlan("sensor_fault", "silent", 1.0, 0.2 * DAY_S, signal="rain tank")
    (truth,) = _truths(juniper, plan, days=0.5)
    # ten times its interval of a minute, the contract's rule
    assert truth.symptomatic_us - truth.from_us == 600_000_000
    assert truth.of == "rain tank"


def _label(
    fault: str, cause: str | None, start_h: float, end_h: float | None = None, **more: bool
) -> Labelled:
    until = None if end_h is None else round(end_h * _H)
    return Labelled(
        fault, cause, None, round(start_h * _H), round((start_h + 1) * _H), until, more.get("follows", False)
    )


def test_marks() -> None:
    truths = [
        _label("short_cycling", "lost_air_charge", 10),
        _label("lost_prime", None, 20, 30),
        _label("dry_supply", None, 200, 210),
        _label("storage_overflow", None, 5, 6, follows=True),
    ]
    findings = [
        Found("short_cycling", "leak", None, 13 * _H),
        Found("short_cycling", "lost_air_charge", None, 90 * _H),
        Found("dry_supply", None, None, 22 * _H),
        Found("storage_overflow", None, "rain", 6 * _H),
    ]
    marks = score(truths, findings)
    assert marks.delays_s == {"short_cycling": [7_200.0], "storage_overflow": [0.0]}
    assert marks.missed == {"lost_prime": 1, "dry_supply": 1}
    assert marks.false == {("dry_supply", "lost_prime and short_cycling and storage_overflow"): 1}
    assert marks.repeated == {"short_cycling": 1}
    assert marks.confusion == {
        ("short_cycling", "short_cycling"): 1,
        ("storage_overflow", "storage_overflow"): 1,
        ("lost_prime", "dry_supply"): 1,  # the fault that began last is what it was mistaken for
        ("dry_supply", "nothing"): 1,
    }
    # the last word on the cause counts
    assert marks.causes[("short_cycling", "lost_air_charge", "lost_air_charge")] == 1
    total = score([], [Found("burst_line", None, None, 1)])
    total += marks
    assert total.false[("burst_line", "nothing")] == 1
    assert total.confusion[("nothing", "burst_line")] == 1
    assert {row[0] for row in total.rows()} >= {"burst_line", "lost_prime"}


def test_an_unplanned_fault_missed_is_no_miss() -> None:
    assert not score([_label("storage_overflow", None, 1, follows=True)], []).missed


def test_files_read_back(juniper: Plant) -> None:
    (truth,) = _truths(juniper, FaultPlan("lost_prime", None, 1.0, 0.2 * DAY_S), days=0.5)
    (back,) = read_truths(json.dumps({"faults": [truth.as_json()]}))
    assert back.from_us == truth.from_us
    assert back.symptomatic_us == pytest.approx(truth.symptomatic_us, abs=1_000)
    line = (
        '{"fault": "lost_prime", "cause": null, "of": null, "raised": "2026-06-01T05:00:00Z", "onset": "x"}'
    )
    (found,) = read_findings(line + "\n\n")
    assert found.raised_us == START_US + 5 * _H
