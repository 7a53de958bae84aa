"""When a channel's messages go: at once, gathered, or in the morning. Pure: no clock, no network.

High priority goes at once, and takes along what waits. The rest is gathered for GATHER, since one cause
changes several alarms within seconds, and keeps GAP from the message before: a phone that buzzes every
minute is put in a drawer. What is low, and what is over, waits out the quiet hours. Nothing is dropped.
Common practice, no source.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.notify.words import Message

S_US = 1_000_000
GATHER_US = 20 * S_US
GAP_US = 5 * 60 * S_US
#: Even the most urgent: what comes within these seconds is one message.
LEAST_GAP_US = 10 * S_US
_FIRST_WAIT_S = 5.0
_LONGEST_WAIT_S = 900.0

Quiet = tuple[int, int] | None


def is_quiet(quiet: Quiet, zone: str, now_us: int) -> bool:
    """Whether it is within the quiet hours (minutes after midnight, from and to) in that zone."""
    if quiet is None:
        return False
    local = datetime.fromtimestamp(now_us / 1e6, UTC).astimezone(ZoneInfo(zone))
    minute, (begin, end) = 60 * local.hour + local.minute, quiet
    return begin <= minute < end if begin <= end else minute >= begin or minute < end


def going(messages: Sequence[Message], quiet: Quiet, now_us: int, last_us: int) -> list[int]:
    """Positions of the messages that are to be sent now, together; none while they wait.

    `last_us`: when this channel last sent something.
    """
    ready = [
        position
        for position, message in enumerate(messages)
        if not (_patient(message) and is_quiet(quiet, message.zone, now_us))
    ]
    since_us = _passed(last_us, now_us)
    if not ready or since_us < LEAST_GAP_US:
        return []
    if any(_urgent(messages[position]) for position in ready):
        return ready
    oldest_us = min(messages[position].at_us for position in ready)
    return ready if _passed(oldest_us, now_us) >= GATHER_US and since_us >= GAP_US else []


def _passed(then_us: int, now_us: int) -> int:
    """How long ago; long enough for anything where the clock was set back since."""
    return now_us - then_us if now_us >= then_us else GAP_US


def _urgent(message: Message) -> bool:
    return message.told == "test" or (message.priority == "high" and message.told != "cleared")


def _patient(message: Message) -> bool:
    """What need not wake anybody."""
    return message.told == "cleared" or (message.priority == "low" and message.told != "test")


def wait_s(failures: int) -> float:
    """How long to wait after so many failures in a row: doubling, bounded, and never all at once."""
    longest = min(_FIRST_WAIT_S * 2.0 ** min(failures - 1, 20), _LONGEST_WAIT_S)
    return longest * random.uniform(0.5, 1.0)
