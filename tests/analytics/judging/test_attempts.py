"""Starts that bring nothing, each soon over: runs made by hand, at a plant that a trace has taught."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from analytics.faults.dry_supply import DrySupply
from analytics.faults.lost_prime import LostPrime
from analytics.judging.attempts import Attempts
from analytics.judging.reference import Reference
from analytics.judging.watch import Claim, Known
from analytics.plant.description import Measure
from analytics.records import Cycle
from analytics.seeing.events import Run
from tests.analytics import traces
from tests.analytics.faults.test_heavy_draws import learned

MINUTE_US = 60_000_000
ENGINE = learned(motor=Measure.PUMP_CURRENT)
USUAL: Reference = ENGINE.judge.usual


def tried(
    at: int, *, begins: float = 0.0, lifts: float = 0.0, lasts_s: float = 20.0, drawn: float = 0.0,
    works: float | None = 0.7, every_min: float = 20.0, seeps: float = 0.001, drop_pa: float | None = None,
) -> Run:  # fmt: skip
    """A run that begins so far above cut-in (each less by `seeps` than the one before) and lifts pressure by
    so much, of the band; what was drawn before it, of the delivery; the motor's level, of the usual."""
    start_us = traces.START_US + int(at * every_min * MINUTE_US)
    low_pa = USUAL.start_pa + (begins - seeps * at) * USUAL.band_pa
    high_pa = low_pa + lifts * USUAL.band_pa
    level = None if works is None else works * (USUAL.motor_level or 0.0)
    stop_us = start_us + int(lasts_s * 1e6)
    cycle = Cycle(
        start_us, stop_us, lasts_s, 1200.0, low_pa, high_pa, None, None, None, None, None, level, drop_pa
    )
    return Run(
        stop_us + MINUTE_US, cycle, True, 1.0, slope_before_m3_s=-drawn * USUAL.delivery_m3_s,
        pressure_low_pa=low_pa, pressure_high_pa=high_pa, motor_words=level,
    )  # fmt: skip


def told(*runs: Run) -> int | None:
    """After how many of the runs they tell."""
    attempts = Attempts()
    return next((at for at, run in enumerate(runs, 1) if attempts.hear(run, USUAL)), None)


def test_three_starts_that_lift_nothing_tell_and_two_at_a_line_that_has_gone_down() -> None:
    assert told(*[tried(at) for at in range(5)]) == 3
    assert told(tried(0), *[tried(at, begins=-1.0) for at in range(1, 5)]) == 2


@pytest.mark.parametrize(
    "other",
    [
        {"lifts": 0.05},  # it brings water
        {"begins": 0.4},  # where no switch starts a pump: the signal lies
        {"lasts_s": 4.0},  # a sound pump would not have shown either
        {"lasts_s": 90.0},  # as long as the switch would let it run: the gauge is deaf
        {"drawn": 0.8},  # a tap takes what it brings
        {"works": 1.6},  # a rotor that drags
        {"every_min": 600.0},
        {"seeps": 0.0},  # a gauge that is stuck
        {"drop_pa": 40_000.0},  # the outlet stands above the line
    ],
)
def test_what_else_makes_short_runs_that_lift_nothing(other: dict[str, float]) -> None:
    assert told(*[tried(at, **other) for at in range(6)]) is None


def test_after_a_start_where_no_switch_makes_one_a_contact_is_not_believed_for_a_day() -> None:
    rest = [tried(at) for at in range(1, 100)]
    assert told(tried(0, begins=0.4), *rest) == 1 + 72 + 2  # three in an hour


def test_a_run_that_delivers_ends_the_row() -> None:
    assert told(tried(0), tried(1), tried(2, lifts=1.0), tried(3), tried(4), tried(5)) == 6


@pytest.mark.parametrize(("level_m", "fault"), [(1.5, LostPrime), (0.1, DrySupply)])
@pytest.mark.parametrize("contact", [False, True])
def test_the_level_says_whether_prime_or_water_is_missing(level_m: float, fault: type, contact: bool) -> None:
    engine = learned(motor=Measure.PUMP_RUNNING if contact else Measure.PUMP_CURRENT, extra={"level": 1.0})
    plant = engine.plant
    known = cast(
        Known,
        SimpleNamespace(
            plant=plant, usual=engine.judge.usual, is_open=lambda fault, of=None: False,
            last=lambda position: (0, level_m), raised_us=lambda fault, of: None,
        ),
    )  # fmt: skip
    for kind in (LostPrime, DrySupply):
        said = []
        detector = kind(plant)
        for at in range(3):
            said += detector.run(tried(at, works=None if contact else 0.7), known)
        claims = [word for word in said if isinstance(word, Claim)]
        assert bool(claims) is (kind is fault)
        assert all(("jammed rotor" in claim.summary) is contact for claim in claims)
