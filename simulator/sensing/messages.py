"""Readings as MQTT payloads: what each sensor of the plant file would send.

A signal with a pointer speaks JSON: one object a topic and moment, filled in at every pointer. A
signal without one speaks SenML (RFC 8428), which carries the time of measurement, or a bare number
where one is asked for; a bare number and a JSON value are stamped by whoever receives them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from analytics.plant.description import Plant, Signal
    from simulator.simulation import Batch

_MOST_RECORDS = 60  # in one SenML pack


@dataclass(frozen=True, slots=True)
class Message:
    """One payload on its topic, with when it is sent: the arrival of the newest reading in it."""

    topic: str
    payload: bytes
    sent_us: int


def messages(
    plant: Plant, batch: Batch, decimals: list[int], bare: bool = False, pack_us: int = 1_000_000
) -> list[Message]:
    """The batch's readings as messages, in order of sending.

    bare: send signals without a pointer as bare numbers, one reading a message. pack_us: SenML
    records of one signal that arrived within so long travel in one pack.
    """
    sent: list[Message] = []
    for topic in dict.fromkeys(signal.topic for signal in plant.signals):
        here = [i for i, signal in enumerate(plant.signals) if signal.topic == topic]
        pointed = [i for i in here if plant.signals[i].pointer is not None]
        if pointed:
            sent += _objects(plant, topic, pointed, batch, decimals)
        for i in here:
            if plant.signals[i].pointer is None:
                mine = batch[batch.signal == i]
                said = _said(plant.signals[i], mine.value, decimals[i])
                make = _numbers if bare else _packs
                sent += make(plant.signals[i], mine, said, pack_us)
    return sorted(sent, key=lambda message: message.sent_us)


def _said(signal: Signal, stored: np.ndarray, decimals: int) -> list[float]:
    """Values as the sensor itself speaks: before its calibration, where that is not the stored unit."""
    if signal.calibration and not signal.raw:
        raw, si = np.array(sorted(signal.calibration, key=lambda pair: pair[1])).T
        return [round(float(v), 6) for v in np.interp(signal.to_si(stored), si, raw)]
    return [round(float(v), decimals) for v in stored]


def _numbers(signal: Signal, mine: Batch, said: list[float], pack_us: int) -> list[Message]:
    return [
        Message(signal.topic, _number(value).encode(), int(sent))
        for value, sent in zip(said, mine.arrived_us, strict=True)
    ]


def _number(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else repr(value)


def _packs(signal: Signal, mine: Batch, said: list[float], pack_us: int) -> list[Message]:
    """SenML packs; no unit, for the value is in the one the plant file declares."""
    packs: list[Message] = []
    first = 0
    for i in range(1, len(said) + 1):
        full = i - first >= _MOST_RECORDS
        if i < len(said) and not full and mine.arrived_us[i] - mine.arrived_us[first] < pack_us:
            continue
        records: list[dict[str, Any]] = [
            {"n": signal.record or signal.name, "t": int(t) / 1e6, "v": v}
            for t, v in zip(mine.time_us[first:i], said[first:i], strict=True)
        ]
        for record in records:
            record["n"] = _senml_name(record["n"])
        payload = json.dumps(records, separators=(",", ":")).encode()
        packs.append(Message(signal.topic, payload, int(mine.arrived_us[i - 1])))
        first = i
    return packs


def _senml_name(name: str) -> str:
    """A name within SenML's alphabet: RFC 8428 section 4.5.1 has no spaces."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-:./_") else "_" for c in name)
    return kept if kept[:1].isalnum() else f"s{kept}"


def _objects(
    plant: Plant, topic: str, pointed: list[int], batch: Batch, decimals: list[int]
) -> list[Message]:
    """JSON objects: what was measured at one instant, in one."""
    mine = batch[np.isin(batch.signal, pointed)]
    rounds: dict[tuple[int, int], dict[int, float]] = {}
    for signal, value, at, sent in zip(
        mine.signal.tolist(), mine.value, mine.time_us.tolist(), mine.arrived_us.tolist(), strict=True
    ):
        values = rounds.setdefault((at, sent), {})
        values[signal] = _said(plant.signals[signal], np.array([value]), decimals[signal])[0]
    return [_object(plant, topic, values, sent) for (_, sent), values in rounds.items()]


def _object(plant: Plant, topic: str, values: dict[int, float], sent_us: int) -> Message:
    document: Any = {}
    for signal, value in values.items():
        parts = [
            part.replace("~1", "/").replace("~0", "~")
            for part in (plant.signals[signal].pointer or "").split("/")[1:]
        ]
        document = _with(document, parts, value)
    return Message(topic, json.dumps(document, separators=(",", ":")).encode(), sent_us)


def _with(document: Any, parts: list[str], value: float) -> Any:
    """A document that holds the value at a pointer's parts (RFC 6901); digits index an array."""
    if not parts:
        return value
    head, rest = parts[0], parts[1:]
    if head.isdigit() and not (isinstance(document, dict) and document):
        items = list(document) if isinstance(document, list) else []
        items += [None] * (int(head) + 1 - len(items))
        items[int(head)] = _with(items[int(head)] if items[int(head)] is not None else {}, rest, value)
        return items
    held = document if isinstance(document, dict) else {}
    return held | {head: _with(held.get(head, {}), rest, value)}
