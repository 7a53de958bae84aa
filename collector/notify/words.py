"""An alarm's change in plain words: the cause, the first thing to do with its caution, what would prove it.

A `Message` is composed when the alarm changes and is committed with it; how it is worded for a channel,
alone or in a digest, is settled when it is sent. Pure.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from analytics.advice import advice
from analytics.alarms.rationale import URGENCY
from analytics.records import Priority
from analytics.words import duration

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.alarms.records import Change
    from analytics.plant.description import Plant
    from analytics.records import Finding

#: A digest names so many alarms; the rest are counted.
MOST_IN_DIGEST = 12
NO_DEVICE = "Holdwater watches and advises; it is no safety device."


class Message(msgspec.Struct, frozen=True, omit_defaults=True):
    """What is to be told of one change of one alarm. Times in microseconds UTC."""

    plant: str
    title: str  # the plant's
    zone: str
    told: str  # "raised", "worse", "cleared", "test"
    at_us: int
    priority: Priority
    headline: str
    fault: str = ""
    of: str | None = None
    raised_us: int = 0
    onset_us: int = 0
    summary: str = ""
    step: str = ""
    caution: str = ""
    proof: str = ""
    chattering: bool = False

    @property
    def alarm(self) -> tuple[str, str, str | None]:
        return (self.plant, self.fault, self.of)


def compose(plant: Plant, change: Change, finding: Finding) -> Message:
    """The message of a change that is told, from the finding as it is now."""
    assert change.told is not None
    one = advice(finding.fault, finding.cause)
    first = one.steps[0]
    return Message(
        plant=plant.name,
        title=plant.title,
        zone=plant.timezone,
        told=change.told,
        at_us=change.time_us,
        priority=change.priority,
        headline=one.title.rstrip("."),
        fault=finding.fault,
        of=finding.of,
        raised_us=finding.raised_us,
        onset_us=finding.onset_us,
        summary=finding.summary,
        step=first.do,
        caution=first.caution or "",
        proof=one.proof,
        chattering=change.chattering,
    )


def worded(messages: Sequence[Message], address: str = "") -> tuple[str, str]:
    """(title, text) of what is sent: one alarm whole, several as a digest."""
    alarms: dict[tuple[str, str, str | None], list[Message]] = {}
    for message in messages:
        alarms.setdefault(message.alarm, []).append(message)
    if len(alarms) == 1:
        return _whole(next(iter(alarms.values())), address)
    return _digest(list(alarms.values()), address)


def head(story: Sequence[Message]) -> str:
    """What one alarm has come to, in a line."""
    last = story[-1]
    if last.told == "test":
        return last.headline
    if last.told == "cleared":
        came = any(one.told == "raised" for one in story)
        return f"{'Came and went' if came else 'Over'}: {last.headline}"
    if last.chattering:
        return f"{URGENCY[last.priority]}, comes and goes: {last.headline}"
    return f"{'Worse. ' if last.told == 'worse' else ''}{URGENCY[last.priority]}: {last.headline}"


def _whole(story: Sequence[Message], address: str) -> tuple[str, str]:
    last = story[-1]
    parts = [last.summary]
    if last.told == "cleared":
        parts = [f"{_clock(last)}: the readings are as they should be. {_lasted(last)}"]
    elif last.told != "test":
        parts.append(f"First: {last.step}" + (f" Caution: {last.caution}" if last.caution else ""))
        parts.append(f"What would prove it mended: {last.proof}")
        if last.chattering:
            parts.append("It has come three times in six hours. It is told again when it has kept away.")
        parts.append(NO_DEVICE)
    if address:
        parts.append(_link(last, address))
    return f"{head(story)} ({last.title})", "\n\n".join(part for part in parts if part)


def _digest(stories: list[list[Message]], address: str) -> tuple[str, str]:
    order = {"high": 0, "medium": 1, "low": 2}
    stories = sorted(stories, key=lambda story: (story[-1].told == "cleared", order[story[-1].priority]))
    plants = sorted({story[-1].title for story in stories})
    lines = [f"- {head(story)}. {_clock(story[-1])}." for story in stories[:MOST_IN_DIGEST]]
    if len(stories) > MOST_IN_DIGEST:
        lines.append(f"- and {len(stories) - MOST_IN_DIGEST} more")
    first = stories[0][-1]
    if first.told in ("raised", "worse"):
        caution = f" Caution: {first.caution}" if first.caution else ""
        lines += ["", f"First, for the first of these: {first.step}{caution}", "", NO_DEVICE]
    if address:
        lines += ["", f"{address}/at/{first.plant}/findings"]
    return f"{len(stories)} alarms have changed ({', '.join(plants)})", "\n".join(lines)


def _clock(message: Message) -> str:
    """Day and time of the change, in the owner's zone."""
    local = datetime.fromtimestamp(message.at_us / 1e6, UTC).astimezone(ZoneInfo(message.zone))
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _lasted(message: Message) -> str:
    span = (message.at_us - message.onset_us) / 1e6
    return f"It lasted {duration(span)}." if message.onset_us and span > 0 else ""


def _link(message: Message, address: str) -> str:
    if not message.fault:
        return address
    return f"{address}/at/{message.plant}/findings/{message.fault}.{message.of or '-'}.{message.raised_us}"
