"""MQTT payloads to readings: a bare number, a value by JSON Pointer, a SenML pack.

Which form a payload has is seen from the payload. A signal with a `pointer` is looked up in any
JSON document on its topic. A signal without one takes a bare value, or records of a SenML pack:

- a signal alone on its topic takes every record, so long as the pack holds one name only;
- otherwise a record belongs to the signal whose `record` (or else whose name) it is called, or
  whose name ends its full name after one of `:`, `/`, `.` or `-`: "urn:dev:42:pressure" belongs to
  "pressure", and "suction_pressure" does not;
- records nobody claims, and records in a unit of another kind, are other sensors' and passed over;
  where nothing at all is left the payload is rejected with the reason.

A bare or pointed-at value is of the moment of receipt and in the signal's declared unit. A SenML
record has its own time and, where it names a unit, is converted to the declared one. Whatever
cannot be read becomes a Reject with its reason; nothing raises.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec
from jsonpointer import JsonPointerException

from analytics.plant import senml
from analytics.plant.units import UnitError, ratio
from analytics.plant.values import Listener, Unreadable, bare_text, listen, read_value

if TYPE_CHECKING:
    from analytics.plant.description import Plant

#: A payload larger than this is no sensor's.
LARGEST = 1_000_000

#: At most so many rejects for one payload; the last says how many more there were.
MOST_REJECTS = 10

_EXCERPT = 80
_LONGEST_REASON = 240

_BOUNDARY = ":/.-"


class Reject(NamedTuple):
    """A payload, or a part of one, that gave no reading."""

    topic: str
    reason: str
    excerpt: str


@dataclass(slots=True)
class Rows:
    """Readings as parallel lists: position in `Plant.signals`, time, value in the declared unit."""

    signal: list[int] = field(default_factory=list)
    time_us: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)

    def add(self, signal: int, time_us: int, value: float) -> None:
        self.signal.append(signal)
        self.time_us.append(time_us)
        self.value.append(value)

    def __len__(self) -> int:
        return len(self.value)


@dataclass(slots=True)
class Decoded:
    """What one payload gave. Both may be empty: a pack of other sensors' records has neither."""

    readings: Rows = field(default_factory=Rows)
    rejects: list[Reject] = field(default_factory=list)


@dataclass(slots=True)
class _Plan:
    """The signals on one topic: those that point into JSON, and those that do not."""

    pointed: list[Listener] = field(default_factory=list)
    plain: list[Listener] = field(default_factory=list)


class Decoder:
    """Decodes the payloads of one plant's topics. Holds nothing but what the plant file says."""

    def __init__(self, plant: Plant) -> None:
        self._plans: dict[str, _Plan] = {}
        for at, signal in enumerate(plant.signals):
            plan = self._plans.setdefault(signal.topic, _Plan())
            (plan.plain if signal.pointer is None else plan.pointed).append(listen(at, signal))

    @property
    def topics(self) -> list[str]:
        """Every topic listened to, each once."""
        return list(self._plans)

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:
        """The readings in a payload, and what could not be read. Never raises."""
        decoded = Decoded()
        plan = self._plans.get(topic)
        if plan is None:
            decoded.rejects.append(Reject(topic, "no signal is on this topic", excerpt(payload)))
            return decoded
        reasons: list[str] = []
        if len(payload) > LARGEST:
            reasons.append(f"larger than {LARGEST} bytes")
        else:
            _decode(plan, payload, received_us, decoded.readings, reasons)
        if reasons:
            shown = reasons[:MOST_REJECTS]
            if len(reasons) > MOST_REJECTS:
                shown[-1] = (
                    f"and {len(reasons) - MOST_REJECTS + 1} more, such as: {reasons[MOST_REJECTS - 1]}"
                )
            begins = excerpt(payload)
            decoded.rejects.extend(Reject(topic, _harmless(reason), begins) for reason in shown)
        return decoded


def excerpt(payload: bytes) -> str:
    """The beginning of a payload, printable and bounded."""
    text = payload[: _EXCERPT + 1].decode("utf-8", "replace")
    clean = _printable(text[:_EXCERPT])
    return clean + "…" if len(payload) > _EXCERPT else clean


def _harmless(reason: str) -> str:
    """A reason may quote the payload: bounded, and with nothing in it that speaks to a terminal."""
    reason = _printable(reason)
    return reason if len(reason) <= _LONGEST_REASON else reason[: _LONGEST_REASON - 1] + "…"


def _printable(text: str) -> str:
    return text if text.isprintable() else "".join(char if char.isprintable() else "�" for char in text)


def _decode(plan: _Plan, payload: bytes, received_us: int, rows: Rows, reasons: list[str]) -> None:
    text = payload.strip()
    if text[:1] not in (b"{", b"["):
        _decode_bare(plan, text, received_us, rows, reasons)
        return
    if plan.plain and not plan.pointed and text[:1] == b"[":
        plain = senml.plain_records(text, received_us)
        if plain is not None:
            _take_records(plan.plain, plain, rows, reasons)
            return
    try:
        document = msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        reasons.append(f"not JSON: {error}")
        return
    except RecursionError:
        reasons.append("JSON nested too deeply")
        return
    _decode_pointed(plan.pointed, document, received_us, rows, reasons)
    if plan.plain and isinstance(document, list):
        _decode_pack(plan.plain, document, received_us, rows, reasons)
    elif plan.plain and not plan.pointed:
        names = ", ".join(listener.signal.name for listener in plan.plain)
        reasons.append(f"a JSON object, and {names} has no pointer into it")


def _decode_bare(plan: _Plan, text: bytes, received_us: int, rows: Rows, reasons: list[str]) -> None:
    takers = [*plan.plain, *(one for one in plan.pointed if one.signal.pointer == "")]
    if len(takers) != 1:
        wanted = "several signals share this topic: a bare value cannot be told apart"
        reasons.append(wanted if takers else "a bare value, and every signal here has a pointer into JSON")
        return
    try:
        # Almost every message is a plain number; what else float() takes is looked at more closely.
        value: Any = float(text) if b"_" not in text else None
    except ValueError:
        value = None
    try:
        if value is None or not isfinite(value):
            value = bare_text(text)
        rows.add(takers[0].at, received_us, read_value(takers[0], value))
    except Unreadable as reason:
        reasons.append(f"{takers[0].signal.name}: {reason}")


def _decode_pointed(
    listeners: list[Listener], document: Any, received_us: int, rows: Rows, reasons: list[str]
) -> None:
    """Values by pointer. A pointer that leads nowhere counts only where none leads anywhere: one
    topic may carry documents of several kinds."""
    nowhere: list[str] = []
    for listener in listeners:
        assert listener.pointer is not None
        try:
            value = listener.pointer.resolve(document)
        except JsonPointerException:
            nowhere.append(f"{listener.signal.name}: nothing at {listener.signal.pointer}")
            continue
        try:
            rows.add(listener.at, received_us, read_value(listener, value))
        except Unreadable as reason:
            reasons.append(f"{listener.signal.name}: {reason} at {listener.signal.pointer}")
    if len(nowhere) == len(listeners):
        reasons.extend(nowhere)


def _decode_pack(
    listeners: list[Listener], pack: list[Any], received_us: int, rows: Rows, reasons: list[str]
) -> None:
    try:
        records, wrong = senml.records(pack, received_us)
    except senml.PackError as error:
        reasons.append(f"SenML: {error}")
        return
    reasons.extend(f"SenML: {reason}" for reason in wrong)
    _take_records(listeners, records, rows, reasons)


def _take_records(
    listeners: list[Listener], records: list[senml.Record], rows: Rows, reasons: list[str]
) -> None:
    before = len(rows)
    foreign: list[str] = []
    alone = len(listeners) == 1 and listeners[0].signal.record is None
    everything = alone and len({record.name for record in records}) <= 1
    for record in records:
        listener = listeners[0] if everything else _claimant(listeners, record)
        if listener is None:
            foreign.append(f'no signal is called as the record "{record.name[:_EXCERPT]}"')
            continue
        try:
            value = _in_declared_unit(listener, record)
        except UnitError as error:
            foreign.append(f"{listener.signal.name}: {error}")
            continue
        try:
            rows.add(listener.at, record.time_us, read_value(listener, value))
        except Unreadable as reason:
            reasons.append(f"{listener.signal.name}: {reason}")
    if len(rows) == before and not reasons:
        reasons.extend(f"SenML: {reason}" for reason in foreign or ["no record with a value"])


def _claimant(listeners: list[Listener], record: senml.Record) -> Listener | None:
    """The signal that a record belongs to; the longest name where several fit."""
    fitting = [
        listener for listener in listeners if _called(record, listener.signal.record or listener.signal.name)
    ]
    return max(
        fitting, key=lambda listener: len(listener.signal.record or listener.signal.name), default=None
    )


def _called(record: senml.Record, name: str) -> bool:
    if name in (record.own_name, record.name):
        return True
    return record.name.endswith(name) and record.name[-len(name) - 1] in _BOUNDARY


def _in_declared_unit(listener: Listener, record: senml.Record) -> float | str | bool:
    """The record's value in the signal's unit. UnitError where the units are of two kinds."""
    unit, declared = record.unit, listener.signal.unit
    if unit is None or declared is None or listener.switch or not isinstance(record.value, float):
        return record.value
    factor, offset = _conversion(unit, declared)
    return record.value * factor + offset


@lru_cache(maxsize=256)
def _conversion(unit: str, declared: str) -> tuple[float, float]:
    """Factor and offset from a SenML unit, or a trade unit that a device puts in its place."""
    if unit == declared:
        return 1.0, 0.0
    return ratio(senml.SPELLED.get(unit, unit), declared)
