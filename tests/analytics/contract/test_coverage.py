"""What the fitted sensors can show, fault by fault: coverage is held against what the engine then does.

What is said to be shown is raised; two faults said to look alike are called by one name, and the sensor or
test that would part them is named, in the coverage or in the finding; with that sensor each has its own.
"""

from __future__ import annotations

import pytest

from analytics.faults import FAULTS, coverage
from analytics.plant.description import Measure
from tests.analytics.contract.recordings import fitted, recorded, told

P, A, D, L = (
    Measure.LINE_PRESSURE,
    Measure.PUMP_CURRENT,
    Measure.DISCHARGE_PRESSURE,
    Measure.STORAGE_LEVEL,
)
#: (measures, the motor told by a mere contact)
SETS = {
    "pressure and current": ({P, A}, False),
    "pressure and contact": ({P, A}, True),
    "pressure, current, level": ({P, A, L}, False),
    "contact and level": ({A, L}, True),
    "contact": ({A}, True),
    "level": ({L}, False),
}
#: Not shown by a recording in which nobody else speaks: a hole in it is not a sensor's silence.
ALONE = {"contact", "level", "contact and level"}


def said(fault: str, kept: set[Measure], contact: bool = False) -> dict[str, tuple[str | None, str]]:
    """What is raised of a fault's recording with these sensors: its cause and words."""
    plant, readings = fitted(*recorded(fault), kept, contact)
    return {one.fault: (one.cause, one.summary) for one in told(plant, [readings]).values()}


def promised(fault: str, kept: set[Measure], contact: bool = False) -> str:
    plant, _ = fitted(*recorded(fault), kept, contact)
    return coverage(plant)[fault].sentence


@pytest.mark.parametrize("name", SETS)
def test_what_is_said_to_be_shown_is_raised(name: str) -> None:
    kept, contact = SETS[name]
    for fault in FAULTS:
        plant, _ = fitted(*recorded(fault), kept, contact)
        if fault == "sensor_fault" and name in ALONE:
            continue
        if fault == "blocked_discharge" and D not in kept:
            continue  # before the gauge it is said not to show: see below
        assert coverage(plant)[fault].can == (fault in said(fault, kept, contact)), fault


def test_a_dry_storage_and_a_lost_prime_look_alike_without_a_level() -> None:
    for contact in (False, True):
        for fault in ("lost_prime", "dry_supply"):
            found = said(fault, {P, A}, contact)
            assert set(found) == {"lost_prime"}
            assert "level" in found["lost_prime"][1]
            assert "storage level would tell" in promised(fault, {P, A}, contact)
    assert "dry_supply" not in said("lost_prime", {P, A, L})
    assert "lost_prime" not in said("dry_supply", {P, A, L})


def test_a_valve_shut_before_the_gauge_looks_like_a_lost_prime_without_an_outlet_gauge() -> None:
    for contact in (False, True):
        assert set(said("blocked_discharge", {P, A}, contact)) == {"lost_prime"}
        assert "outlet gauge" in promised("blocked_discharge", {P, A}, contact)
        assert set(said("blocked_discharge", {P, A}, contact)) == {"lost_prime"}
        assert set(said("blocked_discharge", {P, A, D}, contact)) == {"blocked_discharge"}
        assert set(said("lost_prime", {P, A, D}, contact)) == {"lost_prime"}


def test_filter_and_pump_are_parted_by_the_drop_across_the_filter() -> None:
    for fault in ("clogged_filter", "pump_wear"):
        assert "outlet gauge or power meter would tell" in promised(fault, {P, A})
        assert "would tell" not in promised(fault, {P, A, D})
        found = said(fault, {P, A, D})
        assert set(found) == {fault}


def test_where_a_leak_goes_is_told_by_level_or_by_shutting_a_valve() -> None:
    cause, words = said("supply_leak", {P, A})["supply_leak"]
    assert cause is None
    assert "downstream" in words
    assert "check valve" in words
    assert "shut the valve after the tank" in words
    assert "shutting the valve" in promised("supply_leak", {P, A})
    assert said("supply_leak", {P, A, L})["supply_leak"][0] in ("downstream", None)


def test_the_cause_of_short_runs_wants_a_pressure() -> None:
    """A motor that trips on its overload runs as briefly as one whose tank has lost its air."""
    for fault in ("short_cycling", "motor_overload"):
        cause, words = said(fault, {A}, True)["short_cycling"]
        assert cause is None
        assert "without a pressure signal" in words
        assert "air charge" in words
    assert "line pressure would tell the cause" in promised("short_cycling", {A}, True)
    assert said("short_cycling", {P, A}, True)["short_cycling"][0] == "lost_air_charge"
    assert said("short_cycling", {P, A})["short_cycling"][0] == "lost_air_charge"


def test_whether_a_tank_empties_by_demand_or_leak_wants_a_motor() -> None:
    for fault in ("storage_depletion", "storage_leak"):
        found = said(fault, {L})
        cause, words = found.get("storage_depletion", (None, "would tell"))
        assert cause is None
        assert "would tell" in words  # and which two are open: use, and a leak
        assert "storage_leak" not in found
    assert "motor signal would tell a leak from demand" in promised("storage_depletion", {L})
    assert said("storage_depletion", {A, L}, True)["storage_depletion"][0] == "demand"
    assert "storage_leak" in said("storage_leak", {A, L}, True)
