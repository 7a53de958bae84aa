"""One row of a readings file, read exactly: the reference for the fast reader, and its fallback.

The fast reader (`readings_blocks`) takes only the plainest rows and leaves every other to this, so
what a row means is said here alone.
"""

from __future__ import annotations

import csv
import re
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.plant.description import Plant

#: RFC 3339, 5.6, with its allowance of a space for the T and of lower case.
_RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:[Zz]|([+-])(\d\d):(\d\d))", re.ASCII
)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
#: What a switch may say instead of 1 and 0, in letters of either case.
SWITCHED = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0}

_EPOCH = date(1970, 1, 1).toordinal()
#: Year 10000. Milliseconds since 1970 are refused by this, for any date after 1978.
_LATEST_S = 253_402_300_800
_EXCERPT = 40

#: A longer line is no row.
LONGEST_LINE = 65_536


class Malformed(ValueError):
    """A row that cannot be read; the message says why."""


class Rows:
    """Reads rows of one plant."""

    def __init__(self, plant: Plant) -> None:
        self.positions = {signal.name: at for at, signal in enumerate(plant.signals)}
        self.switches = {
            at for at, signal in enumerate(plant.signals) if signal.measures is Measure.PUMP_RUNNING
        }

    def read(self, line: bytes) -> tuple[int, int, float]:
        """Signal position, time [us] and value [declared unit] of a line. Raises Malformed."""
        if len(line) > LONGEST_LINE:
            raise Malformed(f"the line is longer than {LONGEST_LINE} bytes")
        try:
            text = line.decode()
        except UnicodeDecodeError:
            raise Malformed("not UTF-8") from None
        time, name, value = _fields(text)
        time_us = time_of(time)
        signal = self.positions.get(name)
        if signal is None:
            raise Malformed(f'unknown signal "{_short(name)}"')
        return signal, time_us, value_of(value, switch=signal in self.switches)


def _fields(text: str) -> list[str]:
    if '"' in text:
        try:
            fields = next(csv.reader([text], strict=True), [])
        except csv.Error as error:
            raise Malformed(f"quotes: {error}") from None
    else:
        fields = text.split(",")
    if len(fields) != 3:
        raise Malformed(f"{len(fields)} field{'s' if len(fields) != 1 else ''} where 3 are wanted")
    return [field.strip() for field in fields]


def time_of(text: str) -> int:
    """Microseconds since the epoch of an RFC 3339 time or of seconds. Raises Malformed.

    Digits beyond the microsecond are dropped from an RFC 3339 time, and rounded from seconds.
    """
    if match := _RFC3339.fullmatch(text):
        return _rfc3339(match)
    if _NUMBER.fullmatch(text):
        seconds = Decimal(text)
        if not -_LATEST_S < seconds < _LATEST_S:
            raise Malformed(f'time "{_short(text)}" is out of range; it is in seconds since 1970')
        return int((seconds * 1_000_000).to_integral_value(ROUND_HALF_EVEN))
    raise Malformed(f'time "{_short(text)}" is neither RFC 3339 with an offset nor seconds since 1970')


def _rfc3339(match: re.Match[str]) -> int:
    year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
    fraction, sign, off_hour, off_minute = match.groups()[6:]
    try:
        days = date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        raise Malformed(f'no such date: "{_short(match[0])}"') from None
    offset = int(off_hour or 0) * 60 + int(off_minute or 0)
    # A leap second (:60) is taken for the second after it, as POSIX time does.
    if hour > 23 or minute > 59 or second > 60 or offset > 1439 or int(off_minute or 0) > 59:
        raise Malformed(f'no such time of day: "{_short(match[0])}"')
    seconds = days * 86_400 + hour * 3600 + minute * 60 + second
    seconds -= -offset * 60 if sign == "-" else offset * 60
    return seconds * 1_000_000 + int(((fraction or "") + "000000")[:6])


def value_of(text: str, switch: bool) -> float:
    """A finite number; for an on/off signal 0 or 1, also in words. Raises Malformed."""
    if switch and text.lower() in SWITCHED:
        return SWITCHED[text.lower()]
    if not _NUMBER.fullmatch(text):
        raise Malformed(f'value "{_short(text)}" is not a number' if text else "no value")
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise Malformed(f'value "{_short(text)}" is too large')
    if switch and value not in (0.0, 1.0):
        raise Malformed(f'value "{_short(text)}" is neither 0 nor 1')
    return value


def _short(text: str) -> str:
    clean = "".join(char if char.isprintable() else "?" for char in text[: _EXCERPT + 1])
    return clean[:_EXCERPT] + "…" if len(clean) > _EXCERPT else clean
