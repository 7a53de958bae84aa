"""Sensors of one node that fall silent together are one finding, and each is disbelieved all the same."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from holding import DAY_S, START_US, Holding, at_s, last_words

from analytics.engine import Engine
from analytics.judging.arbitration import BY_PRESSURE, Ledger
from analytics.judging.watch import AllClear, Claim
from analytics.records import Outcome

FELL_S = 4 * DAY_S


def silent(*, until_s: dict[str, float], from_s: dict[str, float] | None = None) -> list:
    """Findings where the named signals say nothing from FELL_S (or `from_s`) until `until_s`."""
    begins = dict.fromkeys(until_s, FELL_S) | (from_s or {})
    hush = {
        name: (lambda t, a=begins[name], b=end_s: (t >= FELL_S - DAY_S) & (t >= a) & (t < b))
        for name, end_s in until_s.items()
    }
    return last_words(Holding(hush=hush).outcome(6.0))


def test_two_of_one_node_are_one_finding() -> None:
    found = silent(until_s={"pressure": FELL_S + 3_600.0, "motor": FELL_S + 3_600.0})
    (one,) = [one for one in found if one.fault == "sensor_fault"]
    assert (one.cause, one.of, one.evidence["silent_signals_1"]) == ("silent", "pressure", 2.0)
    assert '"pressure" and "motor"' in one.summary
    assert FELL_S + 120.0 < at_s(one.raised_us) < FELL_S + 300.0
    assert one.cleared_us is not None
    assert at_s(one.cleared_us) < FELL_S + 3 * 3_600.0


def test_one_that_stays_silent_is_told_when_the_other_speaks() -> None:
    found = silent(until_s={"pressure": FELL_S + 3_600.0, "motor": 9 * DAY_S})
    assert [(one.of, one.cleared_us is None) for one in found] == [("pressure", False), ("motor", True)]
    assert found[1].raised_us == found[0].cleared_us
    assert at_s(found[1].onset_us) == pytest.approx(FELL_S, abs=60.0)


def test_one_that_falls_silent_an_hour_later_is_a_finding_of_its_own() -> None:
    found = silent(until_s={"pressure": 9 * DAY_S, "motor": 9 * DAY_S}, from_s={"motor": FELL_S + 3_600.0})
    assert sorted(one.of for one in found) == ["motor", "pressure"]


def test_a_restart_meanwhile_changes_nothing() -> None:
    plain = Holding(
        hush={name: lambda t: (t >= FELL_S) & (t < FELL_S + DAY_S) for name in ("pressure", "motor")}
    )
    plant, readings = plain.plant(), plain.readings(6.0, 1)
    cut = int(np.searchsorted(readings.time_us, START_US + int((FELL_S + 7_200.0) * 1e6)))
    before, whole = Engine(plant), Engine(plant).feed(readings)
    first = before.feed(readings[:cut])
    after = Engine.restore(plant, before.snapshot())
    assert after.is_open("sensor_fault", "motor")
    findings = (*first.findings, *after.feed(readings[cut:]).findings)
    assert last_words(Outcome((), findings, ())) == last_words(whole)


def test_what_another_finding_tells_of_is_known_to_lie() -> None:
    claims = [
        Claim("sensor_fault", onset_us, "high", 0.95, f"{of} is silent.", "silent", of, joins=joins)
        for onset_us, of, joins in ((1, "level", None), (2, "pressure", "level"))
    ]
    ledger = Ledger(resting_on={"pressure": BY_PRESSURE})
    assert [one.of for one in ledger.hear(claims, 5)] == ["level"]
    assert ledger.lying() == {"level": 1, "pressure": 2}
    assert ledger.is_open("sensor_fault", "pressure")
    assert ledger.raised_us("sensor_fault", "pressure") == 5
    leak = Claim("supply_leak", 3, "medium", 0.9, "It leaks.")
    (hung,) = ledger.hear([leak], 6)
    assert hung.of == "level"
    assert hung.evidence == {"with_supply_leak": 1.0}
    ledger.hear([AllClear("sensor_fault", "level")], 7)
    assert not ledger.is_open("sensor_fault", "pressure")
    assert ledger.lying() == {}
    assert [one.fault for one in ledger.hear([leak], 8)] == ["supply_leak"]
