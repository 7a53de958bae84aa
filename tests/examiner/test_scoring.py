"""The rules by which findings are held against truths."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from tests.examiner.cutting import fixed
from tests.examiner.scoring import Score, score
from tests.examiner.truth import Seen, Truth, resolve

BURST = Truth("burst_line", 1000.0, 9000.0, "burst", deadline_s=1300.0, symptom_s=1100.0)
CYCLING = Truth(
    "short_cycling", 0.0, 9000.0, "short", ("lost_air_charge",), deadline_s=4000.0, symptom_s=100.0
)


def told(*truths: Truth, possible: tuple[dict[str, Any], ...] = ()) -> dict[str, Any]:
    return {"epoch": 0.0, "truths": [asdict(t) for t in truths], "possible": list(possible), "wrong": ""}


def found(
    fault: str, at: float, cause: str | None = None, of: str | None = None, until: float | None = None
) -> Any:
    def iso(s: float) -> str:
        return datetime.fromtimestamp(s, UTC).isoformat()

    cleared = None if until is None else iso(until)
    return {"fault": fault, "cause": cause, "of": of, "raised": iso(at), "cleared": cleared}


def verdicts(result: Score) -> list[str]:
    return [line.verdict for line in result.lines]


@pytest.mark.parametrize(("at", "verdict"), [(1200.0, "hit"), (1400.0, "late")])
def test_in_time_or_late(at: float, verdict: str) -> None:
    assert verdicts(score(told(BURST), [found("burst_line", at)])) == [verdict]


def test_nothing_said_is_a_miss_and_before_the_fault_is_false() -> None:
    assert verdicts(score(told(BURST), [])) == ["miss"]
    assert verdicts(score(told(BURST), [found("burst_line", 500.0, until=700.0)])) == ["false", "miss"]


def test_same_again_is_a_repeat_and_counts_against_precision() -> None:
    result = score(told(BURST), [found("burst_line", 1200.0), found("burst_line", 5000.0)])
    assert sorted(verdicts(result)) == ["hit", "repeat"]
    assert "true findings 1/2" in result.totals()


def test_consequence_counts_neither_way() -> None:
    result = score(told(BURST), [found("burst_line", 1200.0), found("storage_depletion", 1500.0)])
    assert verdicts(result) == ["consequence", "hit"]
    assert "true findings 1/1" in result.totals()


def test_consequence_before_its_cause_is_false() -> None:
    assert "false" in verdicts(score(told(BURST), [found("storage_depletion", 500.0)]))


@pytest.mark.parametrize(
    ("cause", "verdict"), [("lost_air_charge", "right"), ("leak", "wrong"), (None, "wrong")]
)
def test_cause(cause: str | None, verdict: str) -> None:
    assert score(told(CYCLING), [found("short_cycling", 200.0, cause)]).lines[-1].cause == verdict


def test_sensor_fault_must_name_its_signal() -> None:
    stuck = Truth("sensor_fault", 0.0, 9000.0, "after:600", of="gauge", deadline_s=600.0)
    assert verdicts(score(told(stuck), [found("sensor_fault", 100.0, "stuck", "motor")])) == ["false", "miss"]


def test_what_may_be_told_is_neither_false_nor_asked_for() -> None:
    frost = {"fault": "freeze_risk", "of": None, "start_s": 0.0, "end_s": 500.0}
    result = score(told(possible=(frost,)), [found("freeze_risk", 100.0), found("freeze_risk", 600.0)])
    assert verdicts(result) == ["extra", "false"]


def test_one_that_stands_already_need_not_be_said_again() -> None:
    frost = {"fault": "freeze_risk", "of": None, "start_s": 0.0, "end_s": 500.0}
    night = Truth("freeze_risk", 5000.0, 9000.0, "after:600", deadline_s=5600.0)
    assert verdicts(score(told(night, possible=(frost,)), [found("freeze_risk", 100.0)])) == ["extra"]


def seen(runs: list[tuple[float, float]]) -> Seen:
    log = np.array([[a, b, 0.0, 0.0, 0.0] for a, b in runs])
    return Seen(log, np.zeros((20000, 10)), 5.0, 1.0, 1, 0.0, 30.0, 60.0, 2e5, 3.5e5, (), 259200.0)


def test_short_cycling_is_due_at_the_fifth_short_run() -> None:
    runs = [(1000.0 + 100 * i, 1010.0 + 100 * i) for i in range(9)]
    truth = replace(CYCLING, start_s=1150.0, deadline_s=float("nan"))
    resolve(truth, seen(runs))
    assert (truth.symptom_s, truth.deadline_s, truth.required) == (1210.0, 1610.0, True)


def test_what_never_shows_is_not_asked_for() -> None:
    runs = [(1000.0 + 100 * i, 1050.0 + 100 * i) for i in range(9)]
    truth = replace(CYCLING, start_s=1150.0, deadline_s=float("nan"))
    resolve(truth, seen(runs))
    assert not truth.required


def test_a_cut_may_change_only_what_the_contract_lets_change() -> None:
    early, late = found("burst_line", 100.0), found("burst_line", 900.0)
    assert fixed([early, late], 0.0, 500.0) == fixed(
        [early | {"cleared": "2030-01-01T00:00:00Z"}], 0.0, 500.0
    )
    assert fixed([early], 0.0, 500.0) != fixed([early | {"priority": "low"}], 0.0, 500.0)


def test_times_after_a_clock_was_set_are_held_against_the_truth() -> None:
    case = told(BURST) | {"steps": [(1150.0, 3600.0)]}
    assert verdicts(score(case, [found("burst_line", 4850.0)])) == ["hit"]
    assert verdicts(score(told(BURST), [found("burst_line", 4850.0)])) == ["late"]
