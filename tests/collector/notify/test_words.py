"""What a message says: cause, first step with its caution, proof; and how several become a digest."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.advice import ADVICE
from analytics.alarms.rationale import ALARMS
from analytics.alarms.records import Change
from analytics.alarms.states import Event, State
from analytics.records import Finding
from collector.notify.words import MOST_IN_DIGEST, Message, compose, worded
from tests.collector.store.plants import plant

T = 1_778_616_000_000_000  # 2026-05-12 14:00 in Boise
FOUND = Finding("lost_prime", None, T, T - 60_000_000, "high", 0.9, "The motor runs and no water moves.")
CHANGE = Change(T, "lost_prime", None, T, Event.RAISED, State.NORMAL, State.UNACKNOWLEDGED, "high", True)
OVER = replace(
    CHANGE, time_us=T + 7200_000_000, event=Event.CLEARED, before=State.ACKNOWLEDGED, after=State.NORMAL
)


def composed(change: Change = CHANGE, fault: str = "lost_prime", **more: str) -> Message:
    """A message on a finding of this fault."""
    finding = replace(FOUND, fault=fault, of=more.get("of"))
    return compose(plant(), replace(change, fault=fault, **more), finding)


def test_one_alarm_is_told_whole() -> None:
    one = compose(plant(), CHANGE, FOUND)
    title, text = worded([one], "http://shed.local:8050")
    assert title == f"See to it now: {one.headline} ({plant().title})"
    assert text.startswith("The motor runs and no water moves.")
    assert f"First: {one.step}" in text
    assert one.caution in text
    assert "What would prove it mended: " in text
    assert "no safety device" in text
    assert text.endswith(f"http://shed.local:8050/at/{plant().name}/findings/lost_prime.-.{T}")


@pytest.mark.parametrize("key", [key for key in ADVICE if key[0] in ALARMS], ids=str)
def test_the_first_step_never_goes_without_its_caution(key: tuple[str, str | None]) -> None:
    fault, cause = key
    finding = replace(FOUND, fault=fault, cause=cause)
    _, text = worded([compose(plant(), replace(CHANGE, fault=fault), finding)])
    first = ADVICE[key].steps[0]
    assert first.do in text
    assert first.caution is None or f"Caution: {first.caution}" in text


def test_over_and_came_and_went() -> None:
    came, over = compose(plant(), CHANGE, FOUND), compose(plant(), OVER, FOUND)
    title, text = worded([over])
    assert title.startswith("Over: ")
    assert "It lasted 2 hours." in text
    assert "First:" not in text
    assert worded([came, over])[0].startswith("Came and went: ")


def test_many_become_a_digest_with_the_most_urgent_first() -> None:
    stories = [composed(fault="switch_drift", priority="low"), composed(), composed(OVER, "pump_wear")]
    title, text = worded(stories)
    assert title == f"3 alarms have changed ({plant().title})"
    lines = text.splitlines()
    assert lines[0].startswith("- See to it now: ")
    assert lines[1].startswith("- When you pass by: ")
    assert lines[2].startswith("- Over: ")
    assert stories[1].step in text
    assert stories[1].caution in text


def test_a_digest_is_bounded() -> None:
    many = [composed(fault="sensor_fault", of=f"s{n}") for n in range(40)]
    title, text = worded(many)
    assert title.startswith("40 alarms")
    assert f"and {40 - MOST_IN_DIGEST} more" in text
    assert len(text) < 3000


def test_chattering_is_said() -> None:
    title, text = worded([compose(plant(), replace(CHANGE, chattering=True), FOUND)])
    assert "comes and goes" in title
    assert "when it has kept away" in text
