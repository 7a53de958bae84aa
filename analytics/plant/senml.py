"""SenML packs (RFC 8428, JSON): base fields, relative times, units; nothing of ours in it.

`records` resolves a decoded pack: names joined, base values added, times absolute. Units follow
the SenML units registry as the RFC and its secondary units (RFC 8798) give it.
"""

from __future__ import annotations

from math import isfinite
from typing import Any, NamedTuple, cast

import msgspec

#: Times below this are relative to the moment of receipt (RFC 8428, 4.5.3).
_RELATIVE_BELOW_S = 2**28

#: Version 10 is RFC 8428; RFC 9100 makes it a set of bits, of which 16 says secondary units.
_FEATURES_KNOWN = 10 | 16

#: The year 2500. A later time is an error, and would not fit the readings' microseconds for long.
_LATEST_S = 16_725_225_600

_BASES = ("bn", "bt", "bu", "bv")
_BASE_ONLY = {*_BASES, "bs", "bver"}
_NUMBER, _TEXT = frozenset((int, float)), frozenset((str,))
_TYPES_OF_VALUE = {"v": _NUMBER, "vs": _TEXT, "vb": frozenset((bool,))}
_VALUES = (*_TYPES_OF_VALUE, "vd")
#: The types that JSON may have for a field, exactly: true is no number.
_TYPES = dict.fromkeys(("bt", "bv", "bs", "t", "s", "ut"), _NUMBER) | dict.fromkeys(
    ("bn", "bu", "n", "u"), _TEXT
)

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


class _Plain(msgspec.Struct, forbid_unknown_fields=True):
    """A record as nearly all are: a name, a number, perhaps its unit and time, and nothing else."""

    n: str
    v: float
    u: str | msgspec.UnsetType = msgspec.UNSET
    t: float = 0.0


_PLAIN = msgspec.json.Decoder(list[_Plain])


class PackError(ValueError):
    """The pack as a whole cannot be used; the message says why."""


class _RecordError(ValueError):
    """One record cannot be used; the message says why."""


def records(pack: list[Any], received_us: int) -> tuple[list[Record], list[str]]:
    """The pack's records with a value, and what was wrong with each of the others.

    Raises PackError for a version or an extension that must be understood and is not.
    """
    found: list[Record] = []
    wrong: list[str] = []
    base: dict[str, Any] = {}
    for at, record in enumerate(pack, 1):
        try:
            _check_fields(record)
            for key in _BASES:
                if key in record:
                    base[key] = record[key]
            resolved = _resolved(record, base, received_us)
        except _RecordError as reason:
            wrong.append(f"record {at}: {reason}")
            continue
        if resolved is not None:
            found.append(resolved)
    return found, wrong


def plain_records(text: bytes, received_us: int) -> list[Record] | None:
    """What `records` gives for a pack of plain records, several times as fast; None for any other."""
    try:
        pack = _PLAIN.decode(text)
        if not all(record.n and isfinite(record.v) for record in pack):
            return None
        return [
            Record(
                record.n,
                record.n,
                None if record.u is msgspec.UNSET else record.u,
                record.v,
                _time_us(0, record.t, received_us),
            )
            for record in pack
        ]
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, _RecordError):
        return None


def _check_fields(record: Any) -> None:
    """Types of a record's own fields. Raises PackError for what condemns the pack."""
    if not isinstance(record, dict):
        raise _RecordError("no object")
    for key, value in record.items():
        types = _TYPES.get(key)
        if types is not None:
            if type(value) not in types:
                raise _RecordError(f"{key} is no {'number' if types is _NUMBER else 'text'}")
        elif key == "bver":
            _check_version(value)
        elif key.endswith("_"):
            raise PackError(f'the pack uses the extension "{key[:20]}", which must be understood and is not')


def _check_version(version: Any) -> None:
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise PackError("bver is no version")
    if version > 10 and version & ~_FEATURES_KNOWN:
        raise PackError(f"SenML version {str(version)[:20]} is newer than RFC 8428")


def _resolved(record: dict[str, Any], base: dict[str, Any], received_us: int) -> Record | None:
    """The record with its base fields worked in; None where it has no value of its own to give."""
    kinds = [key for key in _VALUES if key in record]
    if not kinds and ("s" in record or "bv" not in base or record.keys() <= _BASE_ONLY):
        return None  # a sum, or base fields for the records after it
    name = base.get("bn", "") + record.get("n", "")
    if not name:
        raise _RecordError("no name")
    if len(kinds) > 1:
        raise _RecordError("more than one value")
    # RFC 8428, 4.5.4: of base value and value the one that is missing is zero.
    value = _value(kinds[0], record[kinds[0]], base) if kinds else _value("v", 0, base)
    time_us = _time_us(base.get("bt", 0), record.get("t", 0), received_us)
    return Record(name, record.get("n", ""), record.get("u", base.get("bu")), value, time_us)


def _value(kind: str, value: Any, base: dict[str, Any]) -> float | str | bool:
    if kind == "vd":
        raise _RecordError("binary data is not read")
    if type(value) not in _TYPES_OF_VALUE[kind]:
        raise _RecordError("v is no number" if kind == "v" else f"{kind} is of the wrong kind")
    if kind != "v":
        return cast("str | bool", value)
    try:
        number: float = float(value) + base.get("bv", 0)
    except OverflowError:
        raise _RecordError("the value is too large") from None
    if not isfinite(number):
        raise _RecordError("the value is too large")
    return number


def _time_us(base_s: float, time_s: float, received_us: int) -> int:
    """Absolute time. Refuses one before 1970 or absurdly late."""
    try:
        seconds = float(base_s + time_s)
    except OverflowError:
        raise _RecordError("the time is out of range") from None
    if not abs(seconds) < _LATEST_S:
        raise _RecordError("the time is out of range")
    moment = round(seconds * 1e6) + (received_us if seconds < _RELATIVE_BELOW_S else 0)
    if moment < 0:
        raise _RecordError("the time is out of range")
    return moment
