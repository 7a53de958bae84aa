"""How a trial goes: waiting, leaving out, a pump that runs, and that only taps and readings matter."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.readings import Readings
from analytics.trials.course import TRIALS, Course, Mark, course
from tests.analytics.trials.plants import BEGUN_US, plant, readings

S_US = 1_000_000


def at(key: str, ends: list[tuple[float, bool]], said: Readings, now_s: float) -> Course:
    marks = [Mark(BEGUN_US + round(end * S_US), out) for end, out in ends]
    return course(plant(), TRIALS[key], BEGUN_US, marks, said, BEGUN_US + round(now_s * S_US))


def still(psi: float, seconds: float = 4000.0, amps: float = 0.0, fall_psi_h: float = 0.0) -> Readings:
    time_s = np.arange(0.0, seconds)
    return readings(time_s, psi - fall_psi_h * time_s / 3600.0, amps)


PIPE = [(1.0, False), (2.0, False), (3.0, False)]


def test_a_quiet_system_is_tight() -> None:
    ends = [*PIPE, (640.0, False), (650.0, False), (2200.0, False)]
    found = at("leak_down", ends, still(48.0), 2300.0)
    assert found.conclusion is not None
    assert (found.conclusion.outcome, found.conclusion.said) == ("good", "tight")
    assert found.step is not None
    assert "Open what was open" in found.step.do
    assert found.conclusion.figures["leak_m3_s"].high > 0.0


def test_pipe_and_tank_are_told_apart() -> None:
    """Falls with the tank only; falls in the pipe only; the tank's fall needs less to be seen."""
    falling = still(48.0, fall_psi_h=12.0)
    late = falling[falling.time_us > BEGUN_US + 650 * S_US]
    early = still(48.0, 649.0)
    ends = [*PIPE, (640.0, False), (650.0, False), (2200.0, False)]
    at_tank = at("leak_down", ends, Readings.concatenate([early, late]), 2300.0).conclusion
    in_pipe = at("leak_down", ends, falling, 2300.0).conclusion
    assert at_tank is not None
    assert in_pipe is not None
    assert (at_tank.said, in_pipe.said) == ("at_tank", "in_pipe")


def test_a_clear_leak_does_not_keep_the_owner_waiting() -> None:
    ends = [(1.0, False), (2.0, False), (3.0, True)]
    assert not seen(at("leak_down", ends, still(48.0, fall_psi_h=40.0), 700.0)).over
    assert seen(at("leak_down", ends, still(48.0, fall_psi_h=40.0), 900.0)).over
    assert not seen(at("leak_down", ends, still(48.0), 900.0)).over


def seen(found: Course) -> object:
    assert found.sighting is not None
    return found.sighting


def test_a_part_left_out_is_gone_over() -> None:
    found = at("leak_down", [(1.0, False), (2.0, False), (3.0, True)], still(48.0), 10.0)
    assert found.step is not None
    assert found.step.name == "tank"


@pytest.mark.parametrize(("out", "said"), [(False, "goes_back"), (True, "somewhere")])
def test_check_valve_with_and_without_a_valve_to_the_garden(out: bool, said: str) -> None:
    ends = [(1.0, False), (2.0, False), (3.0, out), (1600.0, False)]
    found = at("check_valve", ends, still(48.0, fall_psi_h=20.0), 1700.0)
    assert found.conclusion is not None
    assert found.conclusion.said == said


@pytest.mark.parametrize("key", ["leak_down", "check_valve"])
def test_a_pump_that_runs_makes_the_trial_unclear(key: str) -> None:
    ends = [(1.0, False), (2.0, False), (3.0, True), (1600.0, False)]
    found = at(key, ends, still(48.0, amps=6.0), 1700.0)
    assert found.conclusion is not None
    assert (found.conclusion.outcome, found.conclusion.said) == ("unclear", "pump_ran")


@pytest.mark.parametrize("key", sorted(TRIALS))
def test_a_step_ended_too_early_tells_nothing(key: str) -> None:
    ends = [(k + 1.0, False) for k in range(len(TRIALS[key].steps))]
    found = at(key, ends, still(48.0, 60.0), 70.0)
    assert found.conclusion is not None
    assert (found.conclusion.outcome, found.conclusion.said) == ("unclear", "too_early")
    assert TRIALS[key].words("too_early")
    with pytest.raises(KeyError):
        TRIALS[key].words("perhaps")


def test_silence_is_no_holding() -> None:
    ends = [(1.0, False), (2.0, False), (3.0, False), (1600.0, False)]
    found = at("check_valve", ends, still(48.0, 5.0), 1700.0)
    assert found.conclusion is not None
    assert found.conclusion.said == "unheard"


@pytest.mark.parametrize("key", sorted(TRIALS))
def test_order_and_repeats_of_readings_do_not_matter(key: str) -> None:
    said = still(48.0, 1200.0, fall_psi_h=30.0)
    mixed = Readings.concatenate([said[600:], said[:900]])
    ends = [(1.0, False), (2.0, False), (3.0, False)]
    assert at(key, ends, said, 1100.0) == at(key, ends, mixed, 1100.0)


@pytest.mark.parametrize("trial", TRIALS.values(), ids=TRIALS)
def test_every_trial_is_worded_and_puts_things_back(trial: object) -> None:
    from analytics.trials.shapes import Trial

    assert isinstance(trial, Trial)
    assert all(words.endswith(".") for words in trial.says.values())
    assert all(step.do.endswith(".") for step in trial.steps)
    off = [k for k, step in enumerate(trial.steps) if "off at its breaker" in step.do]
    on = [k for k, step in enumerate(trial.steps) if "breaker on" in step.do]
    assert len(off) == len(on)
    assert all(trial.steps[k].caution for k in off + on)
    for step in trial.steps:
        assert not step.skip or step.part
