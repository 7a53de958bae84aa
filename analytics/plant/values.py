"""One value out of a payload: a number, a numeric text, a boolean, or nothing of use."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any

from jsonpointer import JsonPointer

from analytics.plant.calibration import through
from analytics.plant.description import Measure, Signal

if TYPE_CHECKING:
    from collections.abc import Callable

#: A longer text is no number.
_LONGEST = 80
_SWITCHED = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0}


class Unreadable(ValueError):
    """A value that is none; the message is the reason."""


@dataclass(slots=True)
class Listener:
    """A signal on its topic, with what is worked out once."""

    at: int
    signal: Signal
    pointer: JsonPointer | None
    #: finishes a number in the declared unit: calibration, or nothing
    finish: Callable[[float], float] | None
    switch: bool


def listen(at: int, signal: Signal) -> Listener:
    """What is worked out once for a signal."""
    pointer = None if signal.pointer is None else JsonPointer(signal.pointer)
    calibrated = bool(signal.calibration) and not signal.raw
    finish = through(signal.calibration, signal.si_factor, signal.si_offset) if calibrated else None
    return Listener(at, signal, pointer, finish, signal.measures is Measure.PUMP_RUNNING)


def bare_text(text: bytes) -> str:
    """A bare payload that is no plain number, as text without JSON's quotes."""
    if not text:
        raise Unreadable("empty")
    if len(text) > _LONGEST or not text.isascii():
        raise Unreadable("not a number")
    decoded = text.decode()
    quoted = len(decoded) >= 2 and decoded[0] == decoded[-1] == '"'
    return decoded[1:-1] if quoted else decoded


def read_value(listener: Listener, value: Any) -> float:
    """A value in the declared unit as a reading's. Raises Unreadable with the reason."""
    if isinstance(value, str):
        value = _from_text(value, listener.switch)
    if isinstance(value, bool):
        if not listener.switch:
            raise Unreadable("true or false where a number is wanted")
        return float(value)
    if not isinstance(value, (int, float)):
        raise Unreadable("null" if value is None else "not a number")
    try:
        number = float(value)
    except OverflowError:
        raise Unreadable("the number is too large") from None
    if not isfinite(number):
        raise Unreadable("not a finite number")
    if listener.switch:
        if number not in (0.0, 1.0):
            raise Unreadable("neither 0 nor 1")
        return number
    if listener.finish is not None:
        number = listener.finish(number)
        if not isfinite(number):
            raise Unreadable("the number is too large")
    return number


def _from_text(text: str, switch: bool) -> float:
    word = text.strip()
    if switch and word.lower() in _SWITCHED:
        return _SWITCHED[word.lower()]
    try:
        if word.isascii() and "_" not in word:
            return float(word)
    except ValueError:
        pass
    if word.count(",") == 1 and word.replace(",", "").lstrip("+-").isdigit():
        raise Unreadable("a comma in a number is not read; send a decimal point")
    raise Unreadable("neither on nor off" if switch else "not a number")
