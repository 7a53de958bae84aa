"""Whose finding speaks, and which of its words later claims may change."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from analytics.alarms.annunciation import Annunciator
from analytics.alarms.states import Event
from analytics.findings_json import finding_line
from analytics.judging.arbitration import BY_MOTOR, BY_PRESSURE, Ledger, follows
from analytics.judging.watch import AllClear, Claim

MIN = 60_000_000
DRY = Claim(
    "storage_depletion", 5 * MIN, "medium", 0.85, "Empty in two days.", None, "rain", {"level_m": 0.5}
)


def test_the_first_words_stay_and_the_newest_are_shown() -> None:
    ledger = Ledger()
    (raised,) = ledger.hear([DRY], 10 * MIN)
    words = {"priority": "high", "summary": "Empty in a day.", "cause": "leak", "confidence": 0.99}
    worse = replace(DRY, onset_us=MIN, **words)
    (later,) = ledger.hear([worse], 20 * MIN)
    (over,) = ledger.hear([AllClear("storage_depletion", "rain", "It rained.")], 30 * MIN)
    assert (later.priority, later.summary) == ("high", "Empty in a day.")
    assert over.summary == "Empty in a day. It rained."
    lines = [json.loads(finding_line(one)) for one in (raised, later, over)]
    for name in ("fault", "of", "priority", "summary", "onset", "raised"):
        assert len({line[name] for line in lines}) == 1, name
    assert [line["cause"] for line in lines] == [None, "leak", "leak"]
    assert [line["confidence"] for line in lines] == [0.85, 0.99, 0.99]


def test_the_alarm_desk_hears_of_a_worsening() -> None:
    ledger, desk, changes = Ledger(), Annunciator(), []
    for at_us, claim in ((10 * MIN, DRY), (400 * MIN, replace(DRY, priority="high"))):
        for finding in ledger.hear([claim], at_us):
            changes += desk.hear(finding, at_us)
        changes += desk.pass_time(at_us + 300 * MIN)
    assert [(change.event, change.priority) for change in changes] == [
        (Event.RAISED, "medium"),
        (Event.WORSENED, "high"),
    ]


@pytest.mark.parametrize(
    ("name", "before", "after", "told"),
    [
        ("level_m", 0.50, 0.505, False),  # half a centimetre
        ("level_m", 0.50, 0.40, True),
        ("loss_m3_s", 1.0e-6, 1.02e-6, False),
        ("loss_m3_s", 1.0e-6, 1.2e-6, True),
        ("pressure_start_pa", 2.0e5, 2.04e5, False),
        ("pressure_start_pa", 2.0e5, 2.4e5, True),
        ("apparent_delivery_share_1", 1.40, 1.44, False),
        ("apparent_delivery_share_1", 1.40, 1.60, True),
        ("empty_p90_s", float("inf"), 9e5, True),
        ("empty_p90_s", float("nan"), float("nan"), False),
    ],
)
def test_new_figures_are_told_where_a_person_would_notice(
    name: str, before: float, after: float, told: bool
) -> None:
    ledger = Ledger()
    ledger.hear([replace(DRY, evidence={name: before})], 10 * MIN)
    changed = ledger.hear([replace(DRY, evidence={name: after})], 20 * MIN)
    assert [finding.evidence for finding in changed] == ([{name: after}] if told else [])


def test_a_slow_drift_of_a_figure_is_told_in_steps() -> None:
    """Against what was last told, not against the last claim: many small steps are not lost."""
    ledger = Ledger()
    levels = [0.5 - 0.002 * step for step in range(100)]
    told = [f for level in levels for f in ledger.hear([replace(DRY, evidence={"level_m": level})], 10 * MIN)]
    assert abs(told[-1].evidence["level_m"] - levels[-1]) <= 0.025
    assert len(told) < 30


def test_a_new_figure_is_told_and_what_hangs_on_it_is_kept() -> None:
    ledger = Ledger()
    burst = Claim("burst_line", MIN, "high", 0.9, "It bursts.", evidence={"flow_m3_s": 1e-3})
    ledger.hear([burst], 10 * MIN)
    ledger.hear([replace(DRY, of=None)], 11 * MIN)
    (later,) = ledger.hear([replace(burst, evidence={"flow_m3_s": 1e-3, "pressure_low_pa": 4e4})], 12 * MIN)
    assert later.evidence == {"flow_m3_s": 1e-3, "pressure_low_pa": 4e4, "with_storage_depletion": 1.0}
    ledger.hear([AllClear("burst_line")], 13 * MIN)
    (own,) = ledger.hear([replace(DRY, of=None)], 14 * MIN)
    assert (own.fault, own.raised_us) == ("storage_depletion", 14 * MIN)


@pytest.mark.parametrize("fault", ["clogged_filter", "pump_wear"])
@pytest.mark.parametrize(
    ("cause", "hangs"),
    [
        ("lost_air_charge", True),
        ("switch_chatter", True),
        (None, True),
        ("undersized_tank", False),
        ("leak", False),
    ],
)
def test_less_delivery_hangs_on_short_runs_that_spoil_its_figures_only(
    fault: str, cause: str | None, hangs: bool
) -> None:
    """A tank too small makes runs short and leaves their delivery to be read as ever."""
    assert follows(fault, "short_cycling", cause) is hangs


@pytest.mark.parametrize(
    ("cause", "raised"),
    [("undersized_tank", True), ("leak", True), ("lost_air_charge", False), (None, False)],
)
def test_a_tank_that_is_only_too_small_hides_no_clog(cause: str | None, raised: bool) -> None:
    """It makes runs short, and shows what the pump delivers as well as any; a tank without air does not."""
    ledger = Ledger()
    ledger.hear([Claim("short_cycling", MIN, "medium", 0.85, "Short.", cause)], 10 * MIN)
    for fault in ("clogged_filter", "pump_wear"):
        ledger.hear([Claim(fault, MIN, "medium", 0.9, "Less comes.")], 20 * MIN)
        assert ledger.is_open(fault) is raised
        ledger.hear([AllClear(fault)], 30 * MIN)


@pytest.mark.parametrize(
    ("rest", "cause", "fault", "told"),
    [
        (BY_PRESSURE, "silent", "lost_prime", True),
        (BY_PRESSURE, "silent", "clogged_filter", False),
        (BY_PRESSURE, "stuck", "lost_prime", False),
        (BY_MOTOR, "silent", "lost_prime", False),
    ],
)
def test_a_gauge_that_was_silent_hides_nothing_that_its_new_words_show(
    rest: frozenset[str], cause: str, fault: str, told: bool
) -> None:
    """It is not said to be well before it has spoken for a while; a motor's last word may be an old one."""
    ledger = Ledger(resting_on={"s": rest})
    ledger.hear([Claim("sensor_fault", MIN, "medium", 0.95, "Nothing.", cause, of="s")], 10 * MIN)
    ledger.hear([Claim(fault, 11 * MIN, "high", 0.85, "No water.")], 12 * MIN, MIN)
    assert ledger.is_open(fault) is told


@pytest.mark.parametrize("cause", ["lost_air_charge", "narrow_switch_band", None])
def test_short_runs_are_told_beside_a_clog_which_makes_runs_longer(cause: str | None) -> None:
    ledger = Ledger()
    ledger.hear([Claim("clogged_filter", MIN, "medium", 0.85, "Clogs.")], 10 * MIN)
    (found,) = ledger.hear([Claim("short_cycling", 11 * MIN, "high", 0.9, "Short.", cause)], 20 * MIN)
    assert (found.fault, found.cause) == ("short_cycling", cause)


@pytest.mark.parametrize(
    "fault", ["lost_prime", "dry_supply", "burst_line", "clogged_filter", "switch_drift"]
)
def test_a_motor_that_drags_hides_no_other_fault(fault: str) -> None:
    """It pumps all the same; one whose rotor is jammed moves no water, which others would be blamed for."""
    assert not follows(fault, "motor_overload", None)
    assert follows(fault, "motor_overload", "locked_rotor")


@pytest.mark.parametrize("fault", ["lost_prime", "dry_supply", "blocked_discharge"])
def test_a_line_that_has_burst_explains_a_pump_that_works_less(fault: str) -> None:
    """One whose work goes with the pressure that it makes, as a piston pump's: no outlet is shut besides."""
    assert follows(fault, "burst_line", None)


@pytest.mark.parametrize("fault", ["motor_overload", "switch_drift", "blocked_discharge"])
def test_a_tank_too_small_hides_no_fault_of_motor_switch_or_outlet(fault: str) -> None:
    assert not follows(fault, "short_cycling", "undersized_tank")
    assert not follows(fault, "short_cycling", "leak")
    assert follows(fault, "short_cycling", "switch_chatter")


@pytest.mark.parametrize(
    ("standing", "hangs_min"), [("short_cycling", 3), ("clogged_filter", 60), ("pump_wear", 60)]
)
def test_a_run_against_a_shut_outlet_outlasts_what_only_slows_the_pump(standing: str, hangs_min: int) -> None:
    """For a while a choked pump looks like that; one that goes on so is told, for it boils its water."""
    ledger = Ledger()
    ledger.hear([Claim(standing, MIN, "medium", 0.85, "Less comes.")], 10 * MIN)
    shut = Claim("blocked_discharge", 20 * MIN, "high", 0.9, "Nothing comes.", "closed_valve")
    ledger.hear([shut], (20 + hangs_min) * MIN, hangs_min * MIN)
    ledger.hear([shut], (21 + hangs_min) * MIN)  # of short runs, one after the other
    assert not ledger.is_open("blocked_discharge")
    (told,) = ledger.hear([shut], (22 + hangs_min) * MIN, (hangs_min + 2) * MIN)
    assert (told.fault, told.onset_us) == ("blocked_discharge", 20 * MIN)
