"""Quantities as the owner writes them, to SI, by way of pint.

`quantity("30 psi")` is 206842.7 Pa; `unit("psi")` tells the kind, the factor and the offset, which
is all that a stream of readings needs. pint is loaded only for a unit that `trade_units` lacks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache
from math import isfinite
from typing import Any

from analytics.plant.dimensions import SI, Dimension
from analytics.plant.trade_units import ABSOLUTE, FACTORS, FOR_PINT, TEMPERATURES


class UnitError(ValueError):
    """A unit or quantity that cannot be read; the message says why, for the owner."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by what it does: SI value = value * factor + offset.

    `dimension` is None where the unit is sound but of none of our kinds (volts, counts, percent);
    factor and offset then mean nothing.
    """

    dimension: Dimension | None
    factor: float = 1.0
    offset: float = 0.0

    def to_si(self, value: float) -> float:
        return value * self.factor + self.offset


_KNOWN: dict[str, Unit] = {
    spelling: Unit(dimension, factor)
    for dimension, table in FACTORS.items()
    for spelling, factor in table.items()
} | {spelling: Unit(Dimension.TEMPERATURE, *both) for spelling, both in TEMPERATURES.items()}

#: A unit is names joined by *, / or a space, each with one small power at most. Anything else is
#: refused before pint sees it, which would work out "10**10**10 m" to the last digit.
_NAME = r"[^\W\d]\w*|[%°][^\W\d]*"
_FACTOR = rf"(?:{_NAME})(?:(?:\^|\*\*)-?[1-9])?"
_UNIT = re.compile(rf"{_FACTOR}(?:\s*[*/]\s*{_FACTOR}|\s+{_FACTOR})*")
#: "30", "2.1", "1e-3", and as motors are sold: "3/4", "1 1/2".
_NUMBER = re.compile(
    r"\s*(?:(?:(\d{1,4})\s+)?(\d{1,4})/(\d{1,4})|([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?))\s*(.*)",
    re.DOTALL | re.ASCII,
)
_LONGEST = 60


@cache
def registry() -> Any:
    """The one pint registry, with the trade's own units, built on first use."""
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=1024)
def unit(text: str) -> Unit:
    """The unit spelled `text`. UnitError where no unit is spelled so."""
    text = text.strip()
    known = _KNOWN.get(text)
    return known if known is not None else _by_pint(text)


def _for_pint(text: str) -> str:
    return FOR_PINT.get(text, text).replace("²", "^2").replace("³", "^3")


def _by_pint(text: str) -> Unit:
    if text in ABSOLUTE:
        raise UnitError(f'"{text}" is an absolute pressure; pressures are gauge: give "{text[:-1]}"')
    spelled = _for_pint(text)
    if len(spelled) > _LONGEST or not _UNIT.fullmatch(spelled):
        raise UnitError(f'"{text[:_LONGEST]}" is not a unit')
    import pint

    pint_registry = registry()
    try:
        units = pint_registry.parse_units(spelled)
        for dimension, si in SI.items():
            if units.is_compatible_with(si):
                zero, one, two = (float(pint_registry.Quantity(n, units).to(si).m) for n in (0.0, 1.0, 2.0))
                return _linear(dimension, zero, one, two)
    except (pint.PintError, ValueError, TypeError, AssertionError, KeyError, ArithmeticError) as error:
        # What pint raises on a name it cannot make sense of is not all of one family.
        raise UnitError(f'"{text}" is not a known unit') from error
    return Unit(None)


def _linear(dimension: Dimension, zero: float, one: float, two: float) -> Unit:
    """The unit whose 0, 1 and 2 fall there. UnitError where they are not in line (decibels)."""
    factor = one - zero
    if not isfinite(factor) or factor <= 0 or abs(two - one - factor) > 1e-9 * abs(two):
        raise UnitError("a logarithmic unit is not read")
    return Unit(dimension, factor, zero)


def split_quantity(text: str) -> tuple[float, str]:
    """A quantity's number and unit, as written. UnitError where there is no number or no unit."""
    match = _NUMBER.fullmatch(text) if len(text) <= 2 * _LONGEST else None
    if match is None:
        raise UnitError("it does not begin with a number")
    whole, above, below, decimal, spelled = match.groups()
    if below and int(below) == 0:
        raise UnitError("the number divides by nothing")
    number = float(decimal) if decimal else int(whole or 0) + int(above) / int(below)
    spelled = spelled.strip()
    if spelled.startswith(","):
        raise UnitError("a comma is not read in a number: write 1800, and 2.5 with a point")
    if not spelled:
        raise UnitError("it has no unit")
    if not isfinite(number):
        raise UnitError("the number is too large")
    return number, spelled


def quantity(text: str) -> tuple[float, Unit]:
    """SI value and unit of a quantity such as "30 psi". UnitError where it cannot be read."""
    number, spelled = split_quantity(text)
    found = unit(spelled)
    return found.to_si(number), found


def ratio(spelled: str, declared: str) -> tuple[float, float]:
    """Factor and offset that turn values in one unit into values in another of the same kind, be it
    one of ours (psi, dS/m) or not (mV to V). UnitError where the two are of different kinds."""
    one, other = unit(spelled), unit(declared)
    if one.dimension is None and other.dimension is None:
        source, target = (registry().parse_units(_for_pint(name.strip())) for name in (spelled, declared))
        if source.is_compatible_with(target):
            return float(registry().Quantity(1.0, source).to(target).m), 0.0
    elif one.dimension is other.dimension:
        return one.factor / other.factor, (one.offset - other.offset) / other.factor
    raise UnitError(f'"{spelled}" and "{declared}" are units of different kinds')
