"""Advice: there is some for every fault and cause, and no dangerous step goes without its caution."""

from __future__ import annotations

import re
from dataclasses import astuple
from itertools import chain

import pytest

from analytics.advice import ADVICE, SENSOR_STATION, Advice, Step, advice, shapes, station
from analytics.plant.description import Measure

#: The contract's table, section 3.
CAUSES: dict[str, tuple[str, ...]] = {
    "short_cycling": (
        "lost_air_charge",
        "overcharged_tank",
        "narrow_switch_band",
        "switch_chatter",
        "leak",
        "undersized_tank",
    ),
    "lost_prime": (),
    "dry_supply": (),
    "clogged_filter": (),
    "storage_depletion": ("demand", "leak"),
    "storage_leak": (),
    "storage_overflow": (),
    "supply_leak": ("downstream", "check_valve"),
    "burst_line": (),
    "blocked_discharge": ("closed_valve", "frozen"),
    "overpressure": ("switch_stuck",),
    "switch_drift": (),
    "pump_wear": (),
    "motor_overload": ("locked_rotor",),
    "freeze_risk": (),
    "salinity_high": (),
    "sensor_fault": ("out_of_range", "stuck", "silent", "implausible"),
}
EVERY = [(fault, cause) for fault, causes in CAUSES.items() for cause in (None, *causes)]
STEPS = [(one, step) for one in ADVICE.values() for step in one.steps]

#: What a step says, and a word that its caution must then hold.
HAZARDS = {
    r"breaker|voltage|contacts|capacitor|windings|\bfuse|nut\b|[Rr]enew the switch": r"[Mm]ains",
    r"[Rr]elief": r"[Rr]elief|Mains",
    r"[Dd]ig\b": r"buried",
    r"another source|rain or the next|mixing valve|next tank": r"cross-connection",
    r"[Tt]haw\b|[Ww]arm it|the ice": r"flame",
    r"[Aa]ir charge|Let air out|[Pp]ump in air|[Tt]op it up|tyre gauge": r"Stored pressure|[Mm]ains",
    r"pressure out|[Ll]oosen|open the line|[Cc]ut out|\bunions\b|its port|under the switch": r"pressure",
    r"priming plug|[Pp]rime the pump": r"scalding|Mains",
    r"from inside|Seal from": r"climb into",
}
#: Where a step only looks at, or warns of, what the words name.
HARMLESS = ("Then the air charge is wrong", "Is it only a hose", "with the same air charge")


def words(one: Advice) -> str:
    """Everything an advice says."""
    return " ".join(str(part) for part in chain(astuple(one), *(astuple(step) for step in one.steps)))


@pytest.mark.parametrize(("fault", "cause"), EVERY)
def test_every_fault_and_cause_has_its_own(fault: str, cause: str | None) -> None:
    found = advice(fault, cause)
    assert (found.fault, found.cause) == (fault, cause)
    assert found.steps
    assert found.meaning
    assert found.proof


def test_there_is_none_for_what_is_no_fault() -> None:
    assert set(ADVICE) == set(EVERY)
    with pytest.raises(KeyError):
        advice("bad_luck")
    assert advice("lost_prime", "a cause of a later version") == advice("lost_prime")


@pytest.mark.parametrize("pattern", HAZARDS)
def test_a_dangerous_step_has_its_caution(pattern: str) -> None:
    met = [
        (one, step)
        for one, step in STEPS
        if re.search(pattern, step.do) and not any(words in step.do for words in HARMLESS)
    ]
    assert met, "no step says so: the pattern is out of date"
    for one, step in met:
        assert step.caution is not None, f"{one.fault}/{one.cause}: {step.do}"
        assert re.search(HAZARDS[pattern], step.caution), f"{one.fault}/{one.cause}: {step.do}"


CAUTIONS = {name: text for name, text in vars(shapes).items() if name.isupper()}


@pytest.mark.parametrize("name", sorted(set(CAUTIONS) - {"LADDER"}))
def test_cautions_are_short_and_defer_to_codes_and_licensed_practice(name: str) -> None:
    text = CAUTIONS[name]
    assert text.count(". ") <= 2
    assert len(text) < 260
    assert re.search(r"local (code|rules)|required by law", text)
    assert re.search(r"licensed|electrician|plumber|trained", text)


@pytest.mark.parametrize("one", ADVICE.values(), ids=lambda one: f"{one.fault}-{one.cause}")
def test_it_reads_well_on_a_phone(one: Advice) -> None:
    assert len(one.title) <= 60
    assert not one.title.endswith(".")
    for step in one.steps:
        assert len(step.do) <= 170, step.do
        assert step.do.endswith((".", "?"))
    text = words(one)
    assert not re.search(r"[{}]|  |!", text)
    sentences = re.split(
        r"(?<=[.?:;])\s", " ".join([one.meaning, *(step.do for step in one.steps), one.proof])
    )
    assert max(len(sentence.split()) for sentence in sentences) <= 27


def test_ambiguous_causes_have_a_test_that_separates_them() -> None:
    """Where the contract knows causes that one gauge cannot tell apart."""
    for fault in (
        "short_cycling",
        "supply_leak",
        "storage_depletion",
        "storage_leak",
        "pump_wear",
        "clogged_filter",
    ):
        assert advice(fault).isolating
    assert advice("short_cycling", "leak").isolating


def test_what_endangers_the_pump_begins_at_the_breaker() -> None:
    for fault, cause in [
        ("lost_prime", None),
        ("dry_supply", None),
        ("burst_line", None),
        ("overpressure", None),
        ("overpressure", "switch_stuck"),
        ("motor_overload", "locked_rotor"),
    ]:
        first: Step = advice(fault, cause).steps[0]
        assert "breaker" in first.do
        assert first.caution


def test_stations() -> None:
    assert set(SENSOR_STATION) == set(Measure)
    assert {one.station for one in ADVICE.values()} == {"storage", "pump", "filter", "tank", "line"}
    assert station("supply_leak", "check_valve") == "pump"
    assert station("sensor_fault", "silent", Measure.STORAGE_LEVEL) == "storage"
