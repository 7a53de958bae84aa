"""SenML packs (RFC 8428, JSON): base fields, relative times, units; nothing of ours in it.

`records` resolves a decoded pack: names joined, base values added, times absolute. Units follow
the SenML units registry as the RFC and its secondary units (RFC 8798) give it.
"""

from __future__ import annotations

from math import isfinite
from typing import Any, NamedTuple

#: Times below this are relative to the moment of receipt (RFC 8428, 4.5.3).
_RELATIVE_BELOW_S = 2**28

#: Version 10 is RFC 8428; RFC 9100 makes it a set of bits, of which 16 says secondary units.
_FEATURES_KNOWN = 10 | 16

#: The year 2500. A later time is an error, and would not fit the readings' microseconds for long.
_LATEST_S = 16_725_225_600

_VALUES = ("v", "vs", "vb", "vd")
_NUMBERS = ("bt", "bv", "bs", "t", "s", "ut")
_TEXTS = ("bn", "bu", "n", "u")

#: SenML's symbols for the units of our measures, where they are spelled otherwise here.
SPELLED: dict[str, str] = {
    "Cel": "degC",
    "m3/s": "m^3/s",
    "l/s": "L/s",
    "m3": "m^3",
    "l": "L",
    "VA": "W",
}


class Record(NamedTuple):
    """One resolved record: full name, its own part of it, unit or None, value, time."""

    name: str
    own_name: str
    unit: str | None
    value: float | str | bool
    time_us: int


class PackError(ValueError):
    """The pack as a whole cannot be used; the message says why."""


def records(pack: list[Any], received_us: int) -> tuple[list[Record], list[str]]:
    """The pack's records with a value, and what was wrong with each of the others.

    Raises PackError for a version or an extension that must be understood and is not.
    """
    found: list[Record] = []
    wrong: list[str] = []
    base: dict[str, Any] = {}
    for at, record in enumerate(pack, 1):
        if not isinstance(record, dict):
            wrong.append(f"record {at} is no object")
            continue
        if reason := _malformed(record):
            wrong.append(f"record {at}: {reason}")
            continue
        base |= {key: value for key, value in record.items() if key in ("bn", "bt", "bu", "bv")}
        resolved = _resolved(record, base, received_us)
        if isinstance(resolved, str):
            wrong.append(f"record {at}: {resolved}")
        elif resolved is not None:
            found.append(resolved)
    return found, wrong


def _malformed(record: dict[str, Any]) -> str | None:
    """What is wrong with a record's own fields. Raises PackError for what condemns the pack."""
    for key, value in record.items():
        if key in _NUMBERS:
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                return f"{key} is no number"
        elif key in _TEXTS:
            if not isinstance(value, str):
                return f"{key} is no text"
        elif key == "bver":
            _check_version(value)
        elif key.endswith("_"):
            raise PackError(f'the pack uses the extension "{key[:20]}", which must be understood and is not')
    return None


def _check_version(version: Any) -> None:
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise PackError("bver is no version")
    if version > 10 and version & ~_FEATURES_KNOWN:
        raise PackError(f"SenML version {str(version)[:20]} is newer than RFC 8428")


def _resolved(record: dict[str, Any], base: dict[str, Any], received_us: int) -> Record | str | None:
    """The record, or what is wrong with it, or None where it has no value of its own to give."""
    values = [key for key in _VALUES if key in record]
    if len(values) > 1:
        return "more than one value"
    if not values and (
        "s" in record or "bv" not in base or not record.keys() - {"bn", "bt", "bu", "bv", "bver", "bs"}
    ):
        return None  # a sum, or base fields only
    name = base.get("bn", "") + record.get("n", "")
    if not name:
        return "no name"
    value = record[values[0]] if values else 0
    if values and values[0] == "vd":
        return "binary data is not read"
    if values == ["v"] or not values:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return "v is no number"
        try:
            value = float(value) + base.get("bv", 0)
        except OverflowError:
            return "the value is too large"
        if not isfinite(value):
            return "the value is too large"
    elif not isinstance(value, str if values == ["vs"] else bool):
        return f"{values[0]} is of the wrong kind"
    time_us = _time_us(base.get("bt", 0), record.get("t", 0), received_us)
    if time_us is None:
        return "the time is out of range"
    return Record(name, record.get("n", ""), record.get("u", base.get("bu")), value, time_us)


def _time_us(base_s: float, time_s: float, received_us: int) -> int | None:
    """Absolute time; None where it is before 1970 or absurdly late."""
    try:
        seconds = float(base_s + time_s)
    except OverflowError:
        return None
    if not abs(seconds) < _LATEST_S:
        return None
    moment = round(seconds * 1e6)
    if seconds < _RELATIVE_BELOW_S:
        moment += received_us
    return moment if moment >= 0 else None
